"""What limits a recording that was decoded: one sentence each, with the sounds it blocks."""

from __future__ import annotations

from typing import Any

from listen.decode.mix import MAX_LEVEL, Mixer
from listen.decode.sniff import Found
from listen.decode.words import at
from listen.types import Limit

_SUDDEN = ("click", "click_train", "thump", "bang", "burst")
_SEND_AGAIN = "Send the original file again, as the phone stored it."


def notes_of(mixer: Mixer, found: Found, ended: dict[str, Any], duration_s: float) -> tuple[Limit, ...]:
    """Return the notes of a clip.

    Parameters
    ----------
    mixer : Mixer
        After the last block.
    found : Found
    ended : dict
        The child's last word; nothing in it is trusted.
    duration_s : float
        Decoded duration.
    """
    notes = [_cut(found, ended, duration_s), _damage(ended, duration_s), *_repairs(mixer, duration_s)]
    return tuple(note for note in notes if note is not None)


def _seconds(value: Any) -> float | None:
    good = isinstance(value, int | float) and not isinstance(value, bool) and 0.0 <= value < 1e7
    return float(value) if good else None


def _falls_short(duration_s: float, declared_s: float) -> bool:
    return declared_s - duration_s > max(0.25, 0.01 * declared_s)


def _bad(ended: dict[str, Any]) -> int:
    bad = ended.get("bad")
    return bad if isinstance(bad, int) and not isinstance(bad, bool) else 0


def _cut(found: Found, ended: dict[str, Any], duration_s: float) -> Limit | None:
    """Note a file that ends before it should."""
    declared_s = _seconds(ended.get("declared_s"))
    full_s = None
    cut = found.cut_share is not None
    if found.cut_share and found.demuxer in ("wav", "aiff", "caf", "au"):
        full_s = duration_s / found.cut_share
    elif cut and found.demuxer == "mov":
        full_s = declared_s
    elif found.header_duration and declared_s is not None and _falls_short(duration_s, declared_s):
        full_s, cut = declared_s, True
    if _bad(ended) and not ended.get("good_after_bad"):
        cut = True
    if ended.get("rate_changes"):
        return Limit(
            "truncated",
            f"The file changes its sample rate at {at(duration_s)}; it was heard up to there.",
            retake=_SEND_AGAIN,
        )
    if not cut:
        return None
    of = f" of about {full_s:.1f} s" if full_s and full_s > duration_s + 0.05 else ""
    return Limit(
        "truncated",
        f"The file ends too early: {duration_s:.1f} s{of} could be decoded and were heard.",
        retake=_SEND_AGAIN,
    )


def _damage(ended: dict[str, Any], duration_s: float) -> Limit | None:
    """Note places that could not be decoded although later ones could."""
    first_s = _seconds(ended.get("first_bad_s"))
    if first_s is None or not ended.get("good_after_bad"):
        return None
    last_s = _seconds(ended.get("last_bad_s"))
    last_s = duration_s if last_s is None else last_s
    bad = _bad(ended)
    places = "one place" if bad == 1 else f"{bad} places"
    return Limit(
        "damaged",
        f"The file is damaged in {places}, the first at {at(first_s)}; sudden sounds there may be false, "
        "and times after it may be early.",
        blocks=_SUDDEN,
        start_s=max(0.0, first_s - 0.1),
        end_s=min(duration_s, last_s + 0.1),
        retake=_SEND_AGAIN,
    )


def _repairs(mixer: Mixer, duration_s: float) -> list[Limit]:
    notes = []
    if mixer.not_numbers and mixer.not_numbers_s is not None:
        first_s, last_s = mixer.not_numbers_s
        notes.append(
            Limit(
                "not_a_number",
                f"{mixer.not_numbers} samples from {at(first_s)} on are not numbers and count as silence.",
                blocks=("*",),
                start_s=first_s,
                end_s=min(last_s, duration_s),
                retake=_SEND_AGAIN,
            )
        )
    if mixer.over_range:
        notes.append(
            Limit(
                "over_range",
                f"{mixer.over_range} samples lie more than {MAX_LEVEL:.0f} times above full scale; "
                "the levels of this file mean nothing.",
                blocks=("*",),
                retake=_SEND_AGAIN,
            )
        )
    if mixer.cancels_from_s is not None:
        notes.append(
            Limit(
                "channels_cancel",
                f"The two channels cancel each other from {at(mixer.cancels_from_s)} on; "
                "the louder one was heard alone.",
            )
        )
    return notes
