"""Hand-made reports for the tests of the faces. Invented; no machine was heard."""

from __future__ import annotations

import dataclasses
import hashlib

from listen.types import (
    Cause,
    Check,
    ClipInfo,
    Expected,
    Finding,
    Limit,
    Mains,
    ModelInfo,
    Quality,
    Report,
    SoundEvent,
    StorySpan,
)

MODEL = ModelInfo("test-1", "synthesised scenes only", "0" * 64)


def clip(name: str, duration_s: float = 24.0, rate_hz: int = 48000) -> ClipInfo:
    return ClipInfo(
        name,
        hashlib.sha256(name.encode("utf-8", "surrogatepass")).hexdigest(),
        duration_s,
        rate_hz,
        1,
        "mov,mp4,m4a",
        "aac",
    )


def normal_brew() -> Report:
    events = (
        SoundEvent(
            "e1", "click", 3.02, 3.05, 0.97, {"level_db": 24.1, "decay_ms": 8.0, "centroid_hz": 3100.0}
        ),
        SoundEvent(
            "e2", "motor_run", 3.21, 21.4, 0.93, {"shaft_hz": 24.31, "slip": 0.0276, "level_db": 18.0}
        ),
        SoundEvent("e3", "click", 21.3, 21.33, 0.88, {"level_db": 17.0}),
        SoundEvent("e4", "burst", 21.42, 22.3, 0.91, {"level_db": 22.0, "decay_ms": 410.0}),
        SoundEvent("e5", "drip", 22.5, 24.0, 0.62, {"rate_hz": 2.5}, open_end=True),
    )
    return Report(
        clip=clip("normal brew.m4a"),
        level="fine",
        say_first=None,
        verdict="normal",
        because="The click, the pump and the discharge of a brew were all heard, and nothing else.",
        retake=None,
        quality=Quality(True, (60.0, 16500.0), 0.0, -61.0, -34.0),
        mains=Mains(50, "heard", 49.98),
        events=events,
        story=(StorySpan("brew", 3.0, 21.3, "given"), StorySpan("brew_end", 21.3, 24.0, "given")),
        expected=(
            Expected("brew", "click", "heard", ("e1",), "a click when the brew starts"),
            Expected("brew", "motor_run", "heard", ("e2",)),
            Expected("brew_end", "burst", "heard", ("e4",), "a short discharge after the brew"),
        ),
        findings=(),
        model=MODEL,
    )


def lasting_hiss() -> Report:
    finding = Finding(
        code="lasting_hiss",
        symptom="A hiss goes on although the boiler is at pressure",
        level="service",
        strength="strong",
        speaks_for=(
            "hiss from 0:00.0 to 0:20.0, without an end in this clip",
            "boiler gauge given as 1.1 bar",
        ),
        speaks_against=("no refill was heard in this clip",),
        event_ids=("e1",),
        parts=("vacuum_valve",),
        causes=(Cause("the vacuum relief valve does not seal", 1), Cause("a fitting near it leaks", 2)),
        checks=(
            Check(
                "Is the lid or the tray wet?",
                "look",
                "customer",
                ("Steam can come out there: keep your face away.",),
                "Switch off and let it cool before anything else.",
                "Read the boiler gauge from where you stand.",
            ),
            Check(
                "With covers off: is the valve's seat wet or scaled?",
                "covers_off_unplugged",
                "technician",
                ("Unplugged, cold and without pressure.",),
                "Renew the valve.",
                "Look at the fittings around it.",
            ),
        ),
        rests_on="common practice",
    )
    return Report(
        clip=clip("hiss at 45 min.wav", 20.0),
        level="service",
        say_first="Keep clear of the top of the machine.",
        verdict="abnormal",
        because="A hiss that belongs to warming up is still there at working pressure.",
        retake=None,
        quality=Quality(True, (70.0, 17000.0), 0.0, -48.0, -31.0),
        mains=Mains(60, "given", 60.01),
        events=(
            SoundEvent(
                "e1",
                "hiss",
                0.0,
                20.0,
                0.95,
                {"level_db": 14.0, "low_hz": 2100.0, "high_hz": 15800.0},
                open_start=True,
                open_end=True,
            ),
        ),
        story=(StorySpan("idle_hot", 0.0, 20.0, "given"),),
        expected=(),
        findings=(finding,),
        model=MODEL,
    )


def stop_by_gauge() -> Report:
    finding = Finding(
        code="gauge_in_red",
        symptom="The boiler gauge stands in the red",
        level="stop",
        strength="strong",
        speaks_for=("boiler gauge given as 2.1 bar",),
        causes=(Cause("the heater does not stop", 1),),
        checks=(
            Check(
                "Is the plug within reach without passing the steam?",
                "look",
                "customer",
                (),
                "Pull it.",
                "Switch off the breaker.",
            ),
        ),
        stop_kinds=("stand_clear", "power"),
        rests_on="common practice",
    )
    return Report(
        clip=clip("silence.amr", 6.0, 8000),
        level="stop",
        say_first="Stand clear. Switch off at the plug or breaker. Leave the machine alone until it is cold.",
        verdict="cannot_tell",
        because="Nothing of a machine was heard; the gauge alone decides.",
        retake=None,
        quality=Quality(
            False,
            (300.0, 3400.0),
            0.0,
            float("-inf"),
            float("-inf"),
            (Limit("silent", "Nothing was recorded in this clip.", ("*",)),),
        ),
        mains=Mains(None, "unknown"),
        events=(),
        story=(),
        expected=(),
        findings=(finding,),
        model=MODEL,
    )


def telephone_band() -> Report:
    return Report(
        clip=clip("call.3gp", 11.0, 8000),
        level="watch",
        say_first=None,
        verdict="cannot_tell",
        because="The recording carries 300 to 3400 Hz only: hum and most of a hiss are cut off.",
        retake="Record with the phone's recorder, not in a call, and send it as a file.",
        quality=Quality(
            True,
            (300.0, 3400.0),
            0.012,
            -52.0,
            -30.0,
            (
                Limit(
                    "narrow_band",
                    "A telephone line cut this clip to 300–3400 Hz.",
                    ("mains_hum", "hiss"),
                    retake="Record with the phone's recorder.",
                ),
                Limit("masked", "A grinder covers part of it.", ("*",), 2.0, 4.5),
            ),
        ),
        mains=Mains(None, "unknown"),
        events=(SoundEvent("e1", "speech", 1.0, 9.0, 0.8, {"level_db": float("nan")}),),
        story=(StorySpan("brew", 2.0, 9.0, "drafted", "pump sound"),),
        expected=(Expected("brew", "mains_hum", "cannot_tell"), Expected("brew", "burst", "missing")),
        findings=(),
        model=MODEL,
        question="What did the brew gauge show, in one try of at most five seconds?",
    )


ALL = {
    "normal_brew": normal_brew,
    "lasting_hiss": lasting_hiss,
    "stop_by_gauge": stop_by_gauge,
    "telephone_band": telephone_band,
}


def named(report: Report, name: str) -> Report:
    """Return the report with another clip name (and therefore another hash)."""
    return dataclasses.replace(report, clip=clip(name))
