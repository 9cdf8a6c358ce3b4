"""The scenes that measure stops: on their true sounds the bench stops, on those of a twin it does not."""

from __future__ import annotations

import pytest

from listen.bench import judge, load_knowledge
from listen.bench.machine import machine_from
from listen.types import Mains, SoundEvent, StoryMark
from synthetic_audio.render import stem_name
from synthetic_audio.spec import Spec
from synthetic_audio.stop_scenes import FAMILIES, StopFamily, draw_stop
from tests.bench_judgement.scenes import GOOD
from tests.measure.stop_words import SENTENCES, Told, cases

#: Facts that take a sound to be there or not; a stop pattern without one rests on words or gauges.
TOLD_FACTS = {"said", "not_said", "gauge_above", "gauge_not_read", "state_given"}
#: What the ear would measure beside times (ordinary values of the synthesiser).
USUAL = {"level_db": 35.0, "growth_db_per_min": 6.0, "centroid_hz": 2500.0, "rise_ms": 20.0, "fall_ms": 200.0}


def _true_events(spec: Spec) -> list[SoundEvent]:
    """Return what is played of the machine, as a faultless ear would hear it."""
    played = [
        e
        for e in spec.events
        if e.sound
        and not e.absent
        and not stem_name(e).startswith("background:")
        and e.at_s < spec.duration_s
    ]
    out = []
    for n, e in enumerate(sorted(played, key=lambda e: e.at_s)):
        span = max(0.0, e.at_s), min(spec.duration_s, e.at_s + e.for_s)
        out.append(
            SoundEvent(
                f"e{n}", e.sound or "", *span, 0.95, USUAL, e.at_s <= 0.0, e.at_s + e.for_s >= spec.duration_s
            )
        )
    return out


def _stops(family: StopFamily, seed: int, wrong: bool) -> list[str]:
    spec, said = draw_stop(family, seed, wrong, "train")
    judged = judge(
        events=_true_events(spec), quality=GOOD, mains=Mains(spec.machine["mains_hz"], "given"), duration_s=spec.duration_s,
        machine=machine_from(spec.machine), marks=[StoryMark(t, w) for t, w in spec.story], gauges=spec.gauges, said=said,
    )  # fmt: skip
    return [f.code for f in judged.findings if f.level == "stop"]


@pytest.mark.parametrize("seed", range(9_900_000, 9_900_006))
@pytest.mark.parametrize("family", FAMILIES, ids=lambda f: f.name)
def test_the_true_sounds_stop_and_those_of_the_twin_do_not(family: StopFamily, seed: int) -> None:
    assert family.code in _stops(family, seed, wrong=True)
    assert not _stops(family, seed, wrong=False)


@pytest.mark.parametrize("family", FAMILIES, ids=lambda f: f.name)
def test_without_its_sounds_a_scene_stops_nothing(family: StopFamily) -> None:
    """Story, gauges and words of these scenes alone stop nothing: only the sound can."""
    spec, said = draw_stop(family, 9_900_010, wrong=True, split="train")
    judged = judge(
        events=(), quality=GOOD, mains=Mains(50, "given"), duration_s=spec.duration_s, machine=machine_from(spec.machine),
        marks=[StoryMark(t, w) for t, w in spec.story], gauges=spec.gauges, said=said,
    )  # fmt: skip
    assert judged.level != "stop", judged.because


def test_every_stop_pattern_is_measured() -> None:
    """Each stop pattern has a family of scenes, or sentences, or a gauge reading of its own."""
    by_sound = {(f.code, name) for f in FAMILIES for name in f.patterns}
    for fault in load_knowledge().faults:
        for pattern in fault.patterns:
            if pattern.level != "stop":
                continue
            if {clause.fact for clause in pattern.needs} <= TOLD_FACTS:
                assert fault.code in SENTENCES or any(c.about.startswith(fault.code) for c in cases()), (
                    pattern.name
                )
            else:
                assert (fault.code, pattern.name) in by_sound, pattern.name
    laid_down = {(f.code, p.name) for f in load_knowledge().faults for p in f.patterns if p.level == "stop"}
    assert by_sound <= laid_down


@pytest.mark.parametrize("case", list(cases()), ids=lambda c: f"{c.about}-{c.said[:24]}")
def test_what_is_told_stops_without_any_sound(case: Told) -> None:
    judged = judge(
        events=(), quality=GOOD, mains=Mains(None, "unknown"), duration_s=20.0, machine=case.machine, gauges=case.gauges,
        marks=[StoryMark(t, w) for t, w in case.did], said=case.said, answers=case.answers,
    )  # fmt: skip
    assert (judged.level == "stop") is case.stops
