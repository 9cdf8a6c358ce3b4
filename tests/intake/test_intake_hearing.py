"""Messages are heard in the background: clips into the library, refusals noted, an answer drafted."""

import io
import time
import wave

import numpy as np
import pytest

from listen.bench import first_minute_questions
from listen.intake.hearing import Listener, hear_message


@pytest.fixture(scope="module")
def clip():
    from synthetic_audio import draw, render

    scene = render(draw(11, family="normal_brew", split="train"))
    out = io.BytesIO()
    with wave.open(out, "wb") as writer:
        writer.setnchannels(1)
        writer.setsampwidth(2)
        writer.setframerate(scene.rate_hz)
        writer.writeframes(np.round(np.clip(scene.samples, -1, 1) * 32767).astype("<i2").tobytes())
    return out.getvalue()


def test_clips_are_kept_and_what_is_none_is_noted(library, clip, jpeg):
    sent = library.intake.add(
        said="it hisses", consent="learn", sender="Kim",
        files=(("voice note", clip, "audio"), ("letter", b"Dear shop, " * 40, "audio"), ("g", jpeg, "picture"), ("p", b"\xff\xd8\xff!", "picture")),
    )  # fmt: skip
    record = hear_message(library, sent)
    assert record.status == "heard" and record.level
    assert [bool(file.refused) for file in record.files] == [False, True, False, True]
    (kept,) = library.clips()
    assert (kept.came_from, kept.consent, kept.ticket) == ("customer", "learn", record.receipt)
    assert library.opinions(kept.sha256)[0].verdict
    assert "Thank you" in record.draft
    again = hear_message(library, record)
    assert len(library.clips()) == 1 and again.level == record.level


def test_a_stop_by_answer_never_falls_when_the_clip_sounds_fine(library, clip):
    question = first_minute_questions()[0]
    sent = library.intake.add(answers={question.id: "yes"}, level="stop", files=(("a", clip, "audio"),))
    assert hear_message(library, sent).level == "stop"


def test_a_message_without_files_keeps_its_level(library):
    sent = library.intake.add(answers={first_minute_questions()[1].id: "yes"}, level="stop")
    record = hear_message(library, sent)
    assert (record.status, record.level) == ("heard", "stop") and record.draft


def test_the_listener_hears_what_comes_and_survives_what_breaks(library, monkeypatch):
    import listen.intake.hearing as hearing

    bad = library.intake.add(said="bad").receipt
    real = hearing.hear_message

    def sometimes(lib, record, *, worker=None, crew=None):
        if record.receipt == bad:
            raise RuntimeError("broken on purpose")
        return real(lib, record, worker=worker, crew=crew)

    monkeypatch.setattr(hearing, "hear_message", sometimes)
    listener = Listener(lambda: library, every_s=30.0)
    listener.start()
    try:
        good = library.intake.add(said="good").receipt
        listener.wake()
        deadline = time.monotonic() + 20
        while library.intake.get(good).status == "new" and time.monotonic() < deadline:
            time.sleep(0.05)
    finally:
        listener.stop()
    assert library.intake.get(good).status == "heard" and library.intake.get(bad).status == "new"


def test_a_crew_hears_messages_as_well(library, clip):
    from listen.crew import Crew

    receipt = library.intake.add(said="it hums", files=(("a.wav", clip, "audio"),)).receipt
    with Crew(1) as crew:
        heard = hear_message(library, library.intake.get(receipt), crew=crew)
    assert heard.status == "heard" and heard.level
    (kept,) = library.clips()
    assert library.opinions(kept.sha256)[0].level == heard.level
