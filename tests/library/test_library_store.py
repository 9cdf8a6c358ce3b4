"""What goes in comes out, on SQLite and on a real PostgreSQL; what cannot be is refused in plain words."""

import hashlib
import io

import numpy as np
import pytest
import soundfile

import listen
from listen.errors import LibraryError, UnreadableClip, UnusableClip
from listen.library import open_library
from listen.types import StoryMark
from tests.library.sounds import RATE_HZ, samples, wav

TOLD = {
    "story": [StoryMark(1.2, "brew_off"), (0.2, "brew_on")], "gauges": {"boiler": 1.1}, "said": "it hisses\x00", "by": "Kim",
    "capture": {"phone": "A", "noise_suppression": False}, "recorded_at": "2026-03-01 10:30+01:00", "ticket": "J-7",
    "consent": "learn", "keep_until": "2031-01-01", "answers": {"steam_from_wrong_place": "no"},
}  # fmt: skip


def test_a_clip_comes_out_as_it_went_in(library):
    machine = library.machines.add("front bar", profile="generic-vibratory", by="Kim")
    data = wav(1)
    clip = library.add_clip(data, machine=machine.id, name="a.wav", **TOLD)
    assert clip == library.clip(clip.sha256[:8]) == library.clips()[0]
    assert clip.sha256 == hashlib.sha256(data).hexdigest() and library.original(clip.sha256) == data
    assert [(m.at_s, m.word) for m in clip.story] == [(0.2, "brew_on"), (1.2, "brew_off")]
    assert (
        clip.gauges == {"boiler": 1.1}
        and clip.said == "it hisses"
        and clip.recorded_at == "2026-03-01T09:30:00Z"
    )
    assert clip.capture == {"phone": "A", "noise_suppression": False} and clip.consent_by == "Kim"
    assert clip.duration_s == pytest.approx(2.0) and clip.machine == "front-bar"
    # The copy for playing: the same samples, and nothing of the original's metadata.
    sound, rate_hz = soundfile.read(library.playable(clip.sha256), dtype="float32")
    assert rate_hz == RATE_HZ and np.max(np.abs(sound - samples(1))) < 2.0 / 32768
    assert library.machines.profile(machine.id).pump == "vibratory"


def test_the_same_bytes_again_are_the_clip_that_is_there(library):
    first = library.add_clip(wav(2), by="Kim", said="first")
    again = library.add_clip(wav(2), by="Lou", said="second")
    assert again.was_known and not first.was_known
    assert again.said == "first" and len(library.clips()) == 1
    assert library.verify().fine


def test_what_cannot_be_decoded_leaves_nothing(library, tmp_path):
    for source, error in (
        (b"not a clip", UnreadableClip),
        (wav(3, 0.3), UnusableClip),
        (tmp_path / "no.wav", UnreadableClip),
    ):
        with pytest.raises(error):
            library.add_clip(source, by="Kim")
    assert library.clips() == () and list(library.vault.names()) == []


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"machine": "nobody"}, "no machine 'nobody'"),
        ({"story": [(1.0, "explode")]}, "neither a state nor an action"),
        ({"story": [(-1.0, "brew_on")]}, "seconds from the start"),
        ({"gauges": {"boiler": float("nan")}}, "gauge cannot read"),
        ({"gauges": {"tyre": 2.0}}, "no gauge 'tyre'"),
        ({"consent": "all"}, "Consent is one of"),
        ({"recorded_at": "yesterday"}, "is no date"),
        ({"capture": {"x": [1]}}, "must be a text"),
        ({"before_clip": "abcdef"}, "no clip 'abcdef'"),
        ({"came_from": "moon"}, "comes from one of"),
    ],
)
def test_what_is_told_is_checked_before_anything_is_kept(small, told, words):
    with pytest.raises(LibraryError, match=words):
        small.add_clip(wav(4, 0.6), by="Kim", **told)
    assert small.clips() == () and list(small.vault.names()) == []


def test_labels_keep_their_history(library):
    clip = library.add_clip(wav(5), by="Kim").sha256
    first = library.labels.add(clip, "hiss", 0.5, 1.0, by="Kim")
    second = library.labels.correct(first.id, by="Lou", sound="fan", offset_s=1.2)
    third = library.labels.add(clip, "click", 0.1, 0.1, by="Kim", present=False)
    assert [x.id for x in library.labels.of(clip)] == [third.id, second.id]
    history = library.labels.of(clip, history=True)
    assert [(x.sound, x.withdrawn_by) for x in history] == [("hiss", "Lou"), ("fan", None), ("click", None)]
    assert second.replaces == first.id and (second.onset_s, second.offset_s) == (0.5, 1.2)
    library.labels.withdraw(third.id, by="Kim")
    assert len(library.labels.of(clip)) == 1 and len(library.labels.of(clip, history=True)) == 3
    with pytest.raises(LibraryError, match="withdrawn by Lou"):
        library.labels.correct(first.id, by="Kim", sound="burst")
    for bad, words in (
        (("wheeze", 0.1, 0.2), "no word of the ear"), (("hiss", 1.0, 9.0), "does not lie in the clip"), (("hiss", 1.0, 0.5), "does not lie"),
    ):  # fmt: skip
        with pytest.raises(LibraryError, match=words):
            library.labels.add(clip, *bad, by="Kim")
    with pytest.raises(LibraryError, match="who says so"):
        library.labels.add(clip, "hiss", 0.1, 0.2, by=" ")


def test_outcome_label_and_opinion_are_three_things(library):
    data = wav(6)
    machine = library.machines.add("bar", by="Kim").id
    report = listen.hear(data)
    clip = library.add_clip(data, machine=machine, by="Kim", ticket="J-1", report=report).sha256
    other = library.add_clip(wav(7), machine=machine, by="Kim", ticket="J-1").sha256
    library.labels.add(clip, "hiss", 0.1, 0.5, by="Kim")
    library.outcomes.add(clip=clip, part="valve", by="Lou", state="unresolved")
    made = library.outcomes.add(
        clip=clip, part="vacuum relief valve", cause="scale", evidence="in hand", by="Lou"
    )
    assert library.outcomes.of(clip=clip)[0] == made and len(library.outcomes.of(machine=machine)) == 2
    (opinion,) = library.opinions(clip)
    assert (opinion.verdict, opinion.level, opinion.model_sha256) == (
        report.verdict,
        report.level,
        report.model.sha256,
    )
    assert opinion.report["clip"]["sha256"] == clip
    with pytest.raises(LibraryError, match="about another recording"):
        library.add_opinion(other, report)
    with pytest.raises(LibraryError, match="names the part or the cause"):
        library.outcomes.add(clip=clip, by="Lou")
    with pytest.raises(LibraryError, match="not of"):
        library.outcomes.add(
            clip=clip, machine=library.machines.add("other", by="Kim").id, part="x", by="Lou"
        )


def test_a_message_is_stored_at_once_and_moves_through_the_queue(library):
    machine = library.machines.add("bar", by="Kim").id
    quiet = library.intake.add(machine=machine, said="drips a little", sender="A. Guest")
    files = (("Ärger.m4a", b"not even sound", "audio"), ("wet.jpg", b"picture", "picture"))
    urgent = library.intake.add(
        machine=machine, said="steam from below", level="stop", files=files, consent="learn"
    )
    assert [m.receipt for m in library.intake.queue()] == [urgent.receipt, quiet.receipt]
    assert len(urgent.receipt) == 6 and not set(urgent.receipt) & set("01OIL")
    assert (
        library.intake.read_file(urgent.files[0]) == b"not even sound" and urgent.files[0].name == "Ärger.m4a"
    )
    library.intake.refuse_file(urgent.files[0], "It is no recording.")
    library.intake.set_status(urgent.receipt, "heard", level="stop", draft="Switch it off.")
    done = library.intake.answer(urgent.receipt.lower(), "Switch it off at the wall.", by="Kim")
    assert (done.status, done.answered_by, done.files[0].refused) == (
        "answered",
        "Kim",
        "It is no recording.",
    )
    assert [m.receipt for m in library.intake.queue(search="STEAM below")] == [urgent.receipt]
    assert [m.receipt for m in library.intake.queue()] == [quiet.receipt, urgent.receipt]
    assert library.verify().fine
    with pytest.raises(LibraryError, match="no message"):
        library.intake.get("ZZZZZZ")


def test_search_takes_words_as_they_are(library):
    library.add_clip(wav(8, 0.6), name="boiler_50%.wav", by="Kim", said="loud")
    library.add_clip(wav(9, 0.6), name="boilerX505.wav", by="Kim")
    assert [c.name for c in library.clips(search="boiler_50%")] == ["boiler_50%.wav"]
    assert len(library.clips(search="BOILER")) == 2 and library.clips(search="boiler quiet") == ()


def test_every_fourth_machine_is_kept_for_tests_and_stays_so(library):
    folds = [library.machines.add(f"m {n}", by="Kim").fold for n in range(6)]
    assert folds == ["train", "test", "train", "train", "train", "test"]
    tested = library.add_clip(wav(10, 0.6), machine="m-1", by="Kim")
    assert tested.fold == "test" and library.change_clip(tested.sha256, machine="m-0").fold == "test"
    assert [library.add_clip(wav(20 + n, 0.6), by="Kim").fold for n in range(4)] == [
        "train",
        "test",
        "train",
        "test",
    ]


def test_deletion_leaves_a_tombstone_and_nothing_else(library):
    data, other = wav(11), wav(12)
    machine = library.machines.add("bar", by="Kim").id
    clip = library.add_clip(
        data, machine=machine, by="Kim", said="my name is Ann", report=listen.hear(data)
    ).sha256
    kept = library.add_clip(other, machine=machine, by="Kim", before_clip=clip).sha256
    library.labels.add(clip, "hiss", 0.1, 0.5, by="Kim")
    library.outcomes.add(clip=clip, part="pump", by="Kim")
    library.intake.add(files=(("a.wav", data, "audio"),), said="hello")
    done = library.delete(clip[:10], by="Kim", why="asked by the owner")
    assert done.clips == (clip,) and done.removed_files == 2
    assert [c.sha256 for c in library.clips()] == [kept] and library.clip(kept).before_clip is None
    assert library.outcomes.of(machine=machine)[0].clip is None
    assert library.vault.hash_of(clip) is None and library.intake.queue()[0].files == ()
    with pytest.raises(LibraryError, match="deleted on request"):
        library.clip(clip)
    with pytest.raises(LibraryError, match="deleted on request"):
        library.add_clip(data, by="Kim")
    assert library.verify().fine
    again = library.add_clip(data, by="Kim", again=True)
    assert library.labels.of(again.sha256) == () and library.opinions(again.sha256) == ()
    assert library.verify().fine


def test_deleted_words_leave_the_files_of_the_database(small):
    """SQLite overwrites what it deletes: the text is in no file any more."""
    clip = small.add_clip(wav(13, 0.6), by="Kim", said="xylophone-secret-words").sha256
    small.delete(clip, by="Kim", why="asked")
    small.close()
    for path in small.place.home.glob("library.db*"):
        assert b"xylophone-secret-words" not in path.read_bytes(), path.name


def test_an_expired_clip_is_found(small):
    clip = small.add_clip(wav(14, 0.6), by="Kim", keep_until="2026-01-31")
    assert small.expired("2026-01-31") == () and small.expired("2026-02-01") == (clip,)


def test_places_and_their_sentences(tmp_path, monkeypatch):
    monkeypatch.setenv("LISTEN_LIBRARY", str(tmp_path / "here"))
    with pytest.raises(LibraryError, match="no library"):
        open_library(create=False)
    with open_library() as library:
        assert library.place.home == tmp_path / "here"
    with pytest.raises(LibraryError, match="begins with 'mysql'"):
        open_library("mysql://x/y")
    with pytest.raises(LibraryError, match="LISTEN_VAULT"):
        open_library("postgresql://x/y")
    with pytest.raises(LibraryError, match="cannot be reached"):
        open_library("postgresql://nobody@127.0.0.1:9/none", vault=str(tmp_path / "v"))
    (tmp_path / "bad").mkdir()
    (tmp_path / "bad" / "library.db").write_bytes(io.BytesIO(b"not a database" * 100).getvalue())
    with pytest.raises(LibraryError, match="damaged"):
        open_library(tmp_path / "bad")
