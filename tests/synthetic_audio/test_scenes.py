"""Scenes: every family plays its states in order, is deterministic, and carries truthful labels."""

import ast
import hashlib
import json
import subprocess
import sys
import time
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
import soundfile

import synthetic_audio
from synthetic_audio import FAMILIES, FAULTS, SOUNDS, Spec, draw, draw_sound, mix_background, render, write
from synthetic_audio.demo import DEMO_MACHINE, demo_scenes
from synthetic_audio.families import LENGTHS_S
from synthetic_audio.ranges import SPLITS, table
from synthetic_audio.truth import Label, carries, judge
from synthetic_audio.vocabulary import ACTIONS, STATES

PROFILE = {
    "mains_hz": (50, 60), "pump": ("rotary", "vibratory", "none"),
    "water": ("plumbed", "reservoir", "manual"),
    "group": ("solenoid", "lever_drain", "manual_lever"), "boiler": ("single", "hx", "dual"),
    "heat_control": ("pressurestat", "ssr"), "fill": ("probe", "manual"), "coils": ("ac", "dc"),
    "vacuum_valve": (True, False), "shared_pump": (True, False),
}  # fmt: skip
SHORT = [f for f in FAMILIES if f not in ("fill_too_often", "fill_never_ends")]


def _digest(scene) -> str:
    return hashlib.sha256(scene.samples.tobytes()).hexdigest()


@pytest.fixture(scope="module")
def scenes():
    """One scene of every family, clean of phone and with surroundings."""
    return {family: render(draw(5, family, phone=False)) for family in FAMILIES}


@pytest.mark.parametrize("split", SPLITS)
@pytest.mark.parametrize("family", SHORT)
def test_every_family_renders_in_both_splits(family, split):
    spec = draw(SPLITS.index(split), family, split, duration_s=12.0)
    scene = render(spec)
    assert scene.samples.dtype == np.float32
    assert len(scene.samples) == pytest.approx(12.0 * scene.rate_hz, abs=1)
    assert np.isfinite(scene.samples).all()
    assert np.max(np.abs(scene.samples)) <= 1.0
    if not spec.phone["clip"]:
        assert np.max(np.abs(scene.samples)) < 0.97
    assert scene.samples.std() > 1e-5
    for key, allowed in PROFILE.items():
        assert scene.machine[key] in allowed
    assert abs(scene.mains_hz - scene.machine["mains_hz"]) <= 0.1
    for at_s, word in scene.story:
        assert word in STATES + ACTIONS
        assert 0 <= at_s <= 12.0
    for label in (*scene.labels, *scene.deciding):
        assert label.sound in SOUNDS
        assert 0 <= label.onset_s < label.offset_s <= 12.0


@pytest.mark.parametrize("family", FAMILIES)
def test_the_shortest_scene_still_holds_all_its_events(family):
    for seed in range(25):
        spec = draw(seed, family, SPLITS[seed % 2], duration_s=LENGTHS_S[family][2])
        for event in spec.events:
            assert event.for_s > 0.01, (seed, event)
            assert event.at_s < spec.duration_s, (seed, event)
        assert any(event.deciding for event in spec.events) == (family != "no_machine")
        ordered = [at_s for at_s, _ in spec.story]
        assert ordered == sorted(ordered)


def test_verdicts_belong_to_families(scenes):
    for family, scene in scenes.items():
        expected = "abnormal" if family in FAULTS else "cannot_tell" if family == "no_machine" else "normal"
        assert scene.verdict == expected
        assert bool(scene.deciding) == (family != "no_machine")
    assert not scenes["no_machine"].carries
    assert all(label.source == "background" for label in scenes["no_machine"].labels)


@pytest.mark.parametrize("seed", range(6))
def test_brew_plays_click_pump_click_burst_in_time(seed):
    spec = draw(seed, "normal_brew", background="none", phone=False)
    if spec.machine["pump"] == "none":
        spec = draw(seed + 100, "normal_brew", background="none", phone=False)
    scene = render(spec)
    story = dict((word, at) for at, word in scene.story)
    on = story.get("brew_on", story.get("lever_up"))
    off = story.get("brew_off", story.get("lever_down"))
    clicks = [x.onset_s for x in scene.labels if x.sound == "click"]
    pump = next(x for x in scene.labels if x.sound in ("motor_run", "stroke_train"))
    burst = next(x for x in scene.labels if x.sound == "burst")
    assert clicks[0] == pytest.approx(on, abs=0.05)
    assert 0 < pump.onset_s - clicks[0] <= 0.3
    assert min(abs(c - off) for c in clicks) < 0.05
    assert 0 < burst.onset_s - off < 0.13
    assert on < pump.onset_s < off < burst.onset_s


def test_faults_lack_or_have_what_names_them(scenes):
    def words(family: str) -> list[str]:
        return [x.sound for x in scenes[family].labels if x.source == "machine"]

    assert "click" not in words("missing_click_brew")
    assert "click" not in words("missing_click_fill")
    assert any(d.absent and d.sound == "click" for d in scenes["missing_click_brew"].deciding)
    assert "motor_run" not in words("stalled_motor")
    assert {"mains_hum", "click"} <= set(words("stalled_motor"))
    assert "burst" not in words("no_burst")
    assert "gravel" in words("starved_pump")
    assert "mains_buzz" in words("solenoid_buzz")
    assert "click_train" in words("chatter")
    hiss = next(x for x in scenes["lasting_hiss"].labels if x.sound == "hiss")
    assert hiss.offset_s == pytest.approx(scenes["lasting_hiss"].spec.duration_s)
    assert 0.9 <= scenes["lasting_hiss"].gauges["boiler"] <= 1.3
    warm = next(x for x in scenes["normal_warm_up"].labels if x.sound == "hiss")
    assert warm.offset_s < scenes["normal_warm_up"].spec.duration_s - 2
    assert scenes["normal_warm_up"].gauges["boiler"] < 0.3


def test_filling_scenes_fill_as_often_and_as_long_as_they_say(scenes):
    often = scenes["fill_too_often"]
    assert 80 <= often.spec.duration_s <= 150
    fills = [x for x in often.labels if x.sound in ("motor_run", "stroke_train") and x.source == "machine"]
    assert len(fills) >= 3
    assert sum(word == "auto_fill" for _, word in often.story) == len(fills)
    endless = scenes["fill_never_ends"]
    pump = next(
        x for x in endless.labels if x.sound in ("motor_run", "stroke_train") and x.source == "machine"
    )
    assert pump.offset_s - pump.onset_s > 70


@pytest.mark.parametrize("seed", [5, 6, 7])
def test_blast_stands_twenty_db_over_what_was_before(seed):
    """In a quiet room: a grinder before it may be nearly as loud."""
    scene = render(draw(seed, "blast", phone=False, background="quiet"))
    onset = next(x.onset_s for x in scene.labels if x.sound == "blast")
    before = scene.samples[: int((onset - 0.2) * scene.rate_hz)]
    after = scene.samples[int((onset + 0.1) * scene.rate_hz) : int((onset + 1.1) * scene.rate_hz)]
    assert 20 * np.log10(after.std() / before.std()) > 20


def test_same_seed_gives_the_same_bytes_here_and_in_another_process():
    here = _digest(render(draw(11, "normal_brew", duration_s=10.0)))
    assert here == _digest(render(draw(11, "normal_brew", duration_s=10.0)))
    code = (
        "import hashlib; from synthetic_audio import draw, render; "
        "scene = render(draw(11, 'normal_brew', duration_s=10.0)); "
        "print(hashlib.sha256(scene.samples.tobytes()).hexdigest())"
    )
    root = Path(synthetic_audio.__file__).resolve().parents[1]
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=root)
    assert out.stdout.strip() == here


def test_other_seeds_and_splits_give_other_scenes():
    seen = {
        _digest(render(draw(seed, "chatter", split, duration_s=6.0))) for seed in range(3) for split in SPLITS
    }
    assert len(seen) == 3 * len(SPLITS)


@pytest.mark.parametrize("family", ["normal_steam", "no_machine", "missing_click_brew"])
def test_a_scene_can_be_rendered_again_from_its_json(family):
    spec = draw(8, family, duration_s=8.0)
    again = Spec.from_dict(json.loads(json.dumps(spec.to_dict())))
    assert again == spec
    assert _digest(render(again)) == _digest(render(spec))


def test_broken_json_is_refused():
    plain = draw(8, "blast").to_dict()
    del plain["events"]
    with pytest.raises(ValueError, match="not a scene's spec"):
        Spec.from_dict(plain)
    with pytest.raises(ValueError, match="not a scene's spec"):
        Spec.from_dict({**draw(8, "blast").to_dict(), "more": 1})


def test_an_unknown_source_is_refused():
    plain = draw(8, "blast").to_dict()
    plain["events"][0]["source"] = "kazoo"
    with pytest.raises(ValueError, match="Unknown source 'kazoo'"):
        render(Spec.from_dict(plain))


def test_split_ranges_do_not_touch():
    for name, row in table().items():
        if name == "choices":
            for options in row.values():
                assert all(not set(options[a]) & set(options[b]) for a, b in combinations(SPLITS, 2))
            continue
        assert all(low < high for intervals in row.values() for low, high in intervals), name
        for one, other in combinations(SPLITS, 2):
            for low, high in row[one]:
                for other_low, other_high in row[other]:
                    assert other_high < low or other_low > high, (name, one, other)


def test_no_outer_range_lies_between_the_others():
    for name, row in table().items():
        if name != "choices":
            least, most = min(row["held_out"])[0], max(high for _, high in row["held_out"])
            assert all(high < least or low > most for low, high in row["outer"]), name


@pytest.mark.parametrize("split", SPLITS)
def test_drawn_machines_keep_to_their_split(split):
    for seed in range(40):
        spec = draw(seed, split=split, duration_s=None if seed % 2 else 120.0)
        for name, row in table().items():
            if name == "choices":
                continue
            assert any(low <= spec.physics[name] <= high for low, high in row[split]), name
        assert spec.physics["vanes"] in table()["choices"]["vanes"][split]
        for event in spec.events:
            for key in ("slip", "run_up_s", "vent_end_ms"):
                if key in event.params:
                    assert any(low <= event.params[key] <= high for low, high in table()[key][split])


def test_stems_sum_to_the_clip_and_labels_follow_from_them(scenes):
    for family in ("normal_brew", "starved_pump", "normal_idle"):
        scene = scenes[family]
        total = sum(stem.astype(float) for stem in scene.stems.values())
        np.testing.assert_allclose(total, scene.samples, atol=2e-6)
        assert scene.rate_hz == 48_000
        for label in scene.labels:
            if label.source == "machine":
                stem = scene.stems[label.sound]
                snr, passed = judge(
                    label.sound, stem, scene.samples - stem, label.onset_s, label.offset_s, 48_000, None
                )
                assert snr == pytest.approx(label.snr_db, abs=0.1)
                assert passed == pytest.approx(1.0, abs=1e-3)


def test_snr_is_that_of_known_noise():
    # Independent reference: noise of equal band and known power ratio.
    rng = np.random.default_rng(0)
    stem, rest = rng.standard_normal(96_000), rng.standard_normal(96_000)
    for ratio_db in (-10.0, 0.0, 12.0):
        snr, _ = judge("hiss", stem * 10 ** (ratio_db / 20), rest, 0.0, 2.0, 48_000, None)
        assert snr == pytest.approx(ratio_db, abs=0.8)
    t = np.arange(192_000) / 48_000
    tone = np.sqrt(2) * np.sin(2 * np.pi * 200 * t)
    # A line against noise of the same total power gains by the narrowness of the line.
    snr, _ = judge("mains_hum", tone, rng.standard_normal(192_000), 0.0, 4.0, 48_000, None)
    assert 30 < snr < 50


def test_absent_sounds_are_not_in_the_clip():
    spec = draw(4, "no_burst", background="none", phone=False)
    index = next(i for i, e in enumerate(spec.events) if e.absent)
    without = Spec.from_dict(
        {**spec.to_dict(), "events": [e for i, e in enumerate(spec.to_dict()["events"]) if i != index]}
    )
    assert spec.events[index].sound == "burst"
    assert index == len(spec.events) - 1  # so that the other events keep their numbers
    assert _digest(render(spec)) == _digest(render(without))


def test_what_carries():
    phone = {"suppression": True}
    hum = Label("mains_hum", 0.0, 5.0, 20.0)
    click = Label("click", 0.0, 0.05, 20.0)
    assert carries([hum, click], None)
    assert carries([click], phone)
    assert not carries([hum, click], phone)
    assert not carries([Label("click", 0.0, 0.05, 5.9)], None)
    assert not carries([Label("hiss", 0.0, 5.0, 20.0, passed_share=0.1)], None)
    assert not carries([], None)


def test_narrow_band_does_not_carry_a_hiss():
    plain = draw(2, "lasting_hiss", duration_s=8.0, background="quiet").to_dict()
    plain["phone"] |= {"codec": "narrow_band", "suppression": False, "clip": False}
    scene = render(Spec.from_dict(plain))
    assert scene.rate_hz == 8000
    assert not scene.carries
    plain["phone"] |= {"codec": "none"}
    assert render(Spec.from_dict(plain)).carries


def test_most_scenes_carry_their_answer():
    count = sum(render(draw(seed, "no_burst", duration_s=12.0)).carries for seed in range(12))
    assert 6 <= count <= 12


@pytest.mark.parametrize("wanted_db", [0.0, 10.0])
def test_mixing_into_a_recording_reaches_the_wanted_snr(wanted_db):
    scene = render(draw(3, "starved_pump", duration_s=10.0, background="none", phone=False))
    recording = 0.02 * np.random.default_rng(1).standard_normal(8 * 44_100)
    mixed, gain_db = mix_background(scene, recording, 44_100, wanted_db)
    assert len(mixed) == len(recording)
    assert mixed.dtype == np.float32
    assert np.max(np.abs(mixed)) <= 0.98
    rest = 0.02 * np.random.default_rng(2).standard_normal(len(scene.samples))
    found = min(
        judge(
            d.sound,
            10 ** (gain_db / 20) * scene.stems[d.sound],
            rest,
            d.onset_s,
            min(8.0, d.offset_s),
            48_000,
            None,
        )[0]
        for d in scene.deciding
    )
    assert found == pytest.approx(wanted_db, abs=2.5)


def test_mixing_refuses_what_it_cannot_do():
    with pytest.raises(ValueError, match="clean scene"):
        mix_background(render(draw(3, "blast", duration_s=6.0)), np.zeros(48_000), 48_000, 10.0)
    late = render(draw(3, "blast", duration_s=10.0, background="none", phone=False))
    with pytest.raises(ValueError, match="longer one"):
        mix_background(late, np.zeros(2400), 48_000, 10.0)


@pytest.mark.parametrize("sound", SOUNDS)
def test_every_sound_can_be_had_alone(sound):
    scene = render(draw_sound(1, sound, duration_s=3.0, background="quiet"))
    assert any(label.sound == sound for label in scene.labels)
    assert {x.sound for x in scene.labels} <= {sound, "mains_hum"}
    assert scene.family == f"sound:{sound}"
    assert scene.verdict == "cannot_tell"


def test_named_backgrounds_are_heard():
    scene = render(draw(1, "no_machine", duration_s=6.0, background="fridge, speech"))
    assert {x.sound for x in scene.labels} == {"motor_run", "mains_hum", "speech"}
    assert {"background:fridge", "background:speech"} <= set(scene.stems)


@pytest.mark.parametrize(
    ("call", "match"),
    [
        (lambda: draw(1, "unknown"), "Unknown family"),
        (lambda: draw(1, split="test"), "Unknown split"),
        (lambda: draw(-1), "negative"),
        (lambda: draw(1, "fill_never_ends", duration_s=20.0), "at least 76 s"),
        (lambda: draw(1, "blast", background="ocean"), "Unknown background"),
        (lambda: draw(1, mains_hz=400), "50 or 60"),
        (lambda: draw_sound(1, "bark"), "Unknown sound"),
        (lambda: draw_sound(1, "hiss", duration_s=0.5), "at least 2 s"),
    ],
)
def test_wrong_arguments_are_told(call, match):
    with pytest.raises(ValueError, match=match):
        call()


def test_write_leaves_sound_and_truth(tmp_path):
    scene = render(draw(6, "normal_fill", duration_s=7.0))
    path = write(scene, tmp_path / "scenes", "one")
    samples, rate_hz = soundfile.read(path, dtype="float32")
    assert rate_hz == scene.rate_hz
    np.testing.assert_allclose(samples, scene.samples, atol=1e-4)
    truth = json.loads((tmp_path / "scenes" / "one.json").read_text())
    assert truth["family"] == "normal_fill"
    assert len(truth["labels"]) == len(scene.labels)
    assert Spec.from_dict(truth["spec"]) == scene.spec


def test_demo_is_one_machine_with_three_clear_clips():
    specs = demo_scenes()
    assert [s.family for s in specs] == ["normal_brew", "normal_warm_up", "lasting_hiss"]
    assert all(s.machine == DEMO_MACHINE for s in specs)
    assert specs[2].gauges == {"boiler": 1.1}
    for spec in specs:
        scene = render(spec)
        assert scene.carries
        assert scene.rate_hz == 48_000


def test_a_twenty_second_scene_takes_less_than_one_and_a_half_seconds():
    spec = draw(1, "normal_brew", duration_s=20.0)
    render(draw(2, "normal_brew", duration_s=10.0))
    times = []
    for _ in range(3):
        start = time.process_time()
        render(spec)
        times.append(time.process_time() - start)
    assert min(times) < 1.5


def test_nothing_of_the_listener_is_imported():
    folder = Path(synthetic_audio.__file__).parent
    for path in folder.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            if isinstance(node, ast.ImportFrom):
                names = [node.module or ""]
            assert not any(n == "listen" or n.startswith("listen.") for n in names), path
