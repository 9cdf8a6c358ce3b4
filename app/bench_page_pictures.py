"""The technician's own pictures beside a clip: gauge, rating plate, sight glass, wet spot."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from functools import lru_cache

import bench_page_cards as cards
import streamlit as st

from listen.errors import ListenError
from listen.intake.pictures import redrawn
from listen.library.records import PICTURES
from listen.report.words import PICTURE_WORDS

_TAKEN, _ROUND, _TROUBLE = "bench_page_pictures", "bench_page_pictures_round", "bench_page_pictures_trouble"
MOST = 8
_LARGEST_MB = 25


@dataclass(frozen=True)
class Taken:
    """One picture of this job: drawn anew, without place, device and date."""

    id: str
    jpeg: bytes
    shows: str

    @property
    def words(self) -> str:
        return PICTURE_WORDS[self.shows]


def taken() -> list[Taken]:
    """Return the pictures of this job, with what the form says they show."""
    pictures: list[Taken] = st.session_state.setdefault(_TAKEN, [])
    return [replace(one, shows=st.session_state.get(_key(one), one.shows)) for one in pictures]


def forget() -> None:
    """Another job: its pictures are others."""
    st.session_state.pop(_TAKEN, None)


def form() -> None:
    """Draw the pictures so far and the way to add some."""
    pictures = taken()
    n = len(pictures)
    title = f"Pictures: {n}" if n else "Add pictures: gauge, rating plate, sight glass, a wet spot"
    with st.expander(title, key="bench_page_pictures_form"):
        for one in pictures:
            _one(one)
        if n < MOST:
            # A new key after each round empties the field.
            key = f"bench_page_pictures_{st.session_state.setdefault(_ROUND, 0)}"
            st.file_uploader(
                "Pictures from the phone, place and device are taken out",
                accept_multiple_files=True, max_upload_size=_LARGEST_MB, key=key, on_change=_add, args=(key,),
            )  # fmt: skip
        for name, sentence in st.session_state.pop(_TROUBLE, []):
            cards.show("trouble", name=name, sentence=sentence)


def _one(one: Taken) -> None:
    picture, about = st.columns([1, 2], vertical_alignment="center")
    picture.image(one.jpeg, width="stretch", caption=one.words, alt=one.words)
    st.session_state.setdefault(_key(one), one.shows)
    about.selectbox("It shows", list(PICTURES), format_func=PICTURE_WORDS.__getitem__, key=_key(one))
    about.button("Remove", key=f"bench_page_picture_gone_{one.id}", on_click=_remove, args=(one.id,))


def _key(one: Taken) -> str:
    return f"bench_page_picture_shows_{one.id}"


def _add(key: str) -> None:
    have: list[Taken] = taken()
    trouble = []
    for file in st.session_state.get(key) or ():
        if len(have) >= MOST:
            trouble.append((file.name, f"{MOST} pictures are enough for one job: remove one first."))
            continue
        try:
            jpeg = _redrawn(file.getvalue())
        except ListenError as error:
            trouble.append((file.name, str(error)))
            continue
        id = hashlib.sha256(jpeg).hexdigest()[:12]
        if all(one.id != id for one in have):
            have.append(Taken(id, jpeg, "other"))
    st.session_state[_TAKEN] = have
    st.session_state[_TROUBLE] = trouble
    st.session_state[_ROUND] = st.session_state.get(_ROUND, 0) + 1


def _remove(id: str) -> None:
    st.session_state[_TAKEN] = [one for one in taken() if one.id != id]


@lru_cache(maxsize=32)
def _redrawn(data: bytes) -> bytes:
    return redrawn(data)
