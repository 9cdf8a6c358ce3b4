"""What the clips tell together: baselines, similar clips, twins, what to label, what contradicts what."""

import io

import numpy as np
import pytest
import soundfile
from scipy import stats

import listen
from listen.errors import LibraryError
from listen.library import baseline as b
from listen.library.measure import STRETCH_S, WIDTH
from listen.library.similar import Rows, nearest
from listen.types import LEVELS, StoryMark
from tests.library.sounds import RATE_HZ, samples, wav
from tests.support.encode import encode

STORY = [StoryMark(0.0, "brew_on"), StoryMark(4.0, "brew_off")]


def wav_of(sound):
    data = io.BytesIO()
    soundfile.write(data, np.clip(sound, -1, 1), RATE_HZ, format="WAV", subtype="PCM_16")
    return data.getvalue()


def brewing(seed, *, pump_hz=24.0, whistle=0.0, gain=1.0):
    """Five seconds of a running pump (a comb that is not locked to the mains) over noise, with a whistle if asked."""
    t = np.arange(5 * RATE_HZ) / RATE_HZ
    sound = 0.01 * np.random.default_rng(seed).standard_normal(len(t))
    for k in range(1, 9):
        sound += 0.02 * np.sin(2 * np.pi * k * pump_hz * t + k)
    return wav_of(gain * (sound + whistle * np.sin(2 * np.pi * 1250.0 * t)))


def put(library, machine, data, *, good=False, by="Kim", **more):
    told = {"story": STORY, "capture": {"phone": "A", "place": "counter"}} | more
    profile = library.machines.profile(machine)
    clip = library.add_clip(
        data, machine=machine, by=by, report=listen.hear(data, machine=profile, marks=told["story"]), **told
    )
    if good:
        library.mark_good(clip.sha256, by=by)
    return clip.sha256


def test_quantiles_are_students():
    """Two-sided 95 % points of Student's t, against scipy.stats."""
    for df, value in b._T95.items():
        assert value == pytest.approx(stats.t.ppf(0.975, df), abs=6e-4)
    # Between the tabled degrees of freedom the wider one is taken.
    assert b._quantile(24) == b._T95[20] >= stats.t.ppf(0.975, 24)


def test_margin_covers_one_more_in_nineteen_of_twenty():
    """A prediction interval by its definition: draws from the assumed spread fall inside 95 times in 100."""
    rng = np.random.default_rng(3)
    inside = 0
    for _ in range(4000):
        x = rng.normal(10.0, 2.0, 4)
        mean, margin = b.prediction(x[:3].tolist(), 2.0)
        inside += abs(x[3] - mean) <= margin
    assert 0.94 <= inside / 4000 <= 0.985


def test_a_whistle_is_a_new_sound_and_a_level(small):
    machine = small.machines.add("bar", profile="generic-vibratory", by="Kim").id
    for seed in range(3):
        put(small, machine, brewing(seed), good=True)
    same = put(small, machine, brewing(10, gain=0.4))
    found = small.compare(same, "brew")
    assert found.n == 3 and found.not_comparable == ()
    # A phone's gain is taken off: nothing but chance is left.
    assert [d for d in found.differences if d.what in ("level", "line", "new")] == []
    assert "clears nothing" in found.says
    whistling = put(small, machine, brewing(11, whistle=0.02))
    found = small.compare(whistling, "brew")
    levels = [d for d in found.differences if d.what == "level" and d.value > 0]
    assert any(d.hz[0] <= 1260 <= 1.1 * d.hz[1] for d in levels)
    assert all(d.value > d.margin for d in levels)


def test_not_comparable_says_why(small):
    machine = small.machines.add("bar", by="Kim").id
    put(small, machine, brewing(0), good=True)
    for seed, (capture, words) in enumerate((
        ({"phone": "B", "place": "counter"}, "another phone"),
        ({"phone": "A", "place": "on the cups"}, "another place"),
        ({"phone": "A", "place": "counter", "noise_suppression": True}, "changed the sound by itself"),
        ({}, "nobody says which phone"),
    )):  # fmt: skip
        clip = put(small, machine, brewing(20 + seed), capture=capture)
        found = small.compare(clip, "brew")
        assert any(words in why for why in found.not_comparable)
        assert not [d for d in found.differences if d.what == "level"]
    clip = put(small, machine, brewing(40), story=[])
    assert "nobody says when" in small.compare(clip, "brew").not_comparable[0]
    other = small.machines.add("second", by="Kim").id
    assert "no known-good clip" in small.compare(put(small, other, brewing(41)), "brew").not_comparable[0]
    with pytest.raises(LibraryError, match="is no state"):
        small.compare(clip, "singing")


def test_a_baseline_sharpens_and_never_excuses(small):
    """What must not be heard stays a finding; a clip with a stop or a confirmed fault is no baseline."""
    machine = small.machines.add("bar", by="Kim").id
    good = put(small, machine, brewing(0, whistle=0.02), good=True)
    clip = put(small, machine, brewing(1, whistle=0.02))
    levels = [opinion.level for opinion in small.opinions(clip)]
    found = small.compare(clip, "brew")
    # Comparing changes no opinion, and no word of it clears anything.
    assert [opinion.level for opinion in small.opinions(clip)] == levels
    assert "clears nothing" in found.says and not any(
        w in found.says.lower() for w in ("safe", "fine", "normal", "ok")
    )
    assert not hasattr(found, "level") and set(LEVELS).isdisjoint(found.says.split())
    small.outcomes.add(clip=good, part="seal", by="Kim")
    assert "a fault was confirmed" in small.baseline(machine, "brew").left_out[0]
    data = brewing(5)
    stop = listen.hear(data, gauges={"boiler": 3.5}, machine=small.machines.profile(machine), marks=STORY)
    assert stop.level == "stop"
    red = small.add_clip(data, machine=machine, by="Kim", story=STORY, report=stop).sha256
    small.mark_good(red, by="Kim")
    assert any("says stop" in why for why in small.baseline(machine, "brew").left_out)
    assert {c.kind for c in small.conflicts()} == {"outcome", "good"}


def test_before_and_after_is_the_same_comparison(small):
    machine = small.machines.add("bar", by="Kim").id
    before = put(small, machine, brewing(0, whistle=0.02))
    after = put(small, machine, brewing(1), before_clip=before)
    found = small.compare(after, "brew", with_clip=before)
    assert found.n == 1 and any(d.what in ("level", "vanished") for d in found.differences)
    assert small.clip(after).before_clip == before


def test_nearest_is_what_a_slow_search_finds():
    rng = np.random.default_rng(1)
    parts = [
        (f"{n:064x}", rng.normal(0, 1, (rng.integers(1, 5), WIDTH)).astype(np.float32)) for n in range(60)
    ]
    rows = Rows.of(parts)
    wanted = rows.x[[3, 50]] + 0.01
    allowed = np.ones(60, bool)
    allowed[int(rows.clip[3])] = False
    fast = nearest(rows, wanted, allowed, 7)
    slow = {}
    for r in range(len(rows.x)):
        for q in range(2):
            d = float(np.sqrt(np.mean((rows.x[r] - wanted[q]) ** 2)))
            if allowed[rows.clip[r]]:
                slow[int(rows.clip[r])] = min(d, slow.get(int(rows.clip[r]), np.inf))
    expected = sorted(slow.items(), key=lambda item: item[1])[:7]
    assert [f[0] for f in fast] == [e[0] for e in expected]
    assert [f[1] for f in fast] == pytest.approx([e[1] for e in expected], abs=2e-3)


def test_similar_clips_come_with_their_outcome_and_never_from_the_same_machine(library):
    machines = [library.machines.add(f"m{n}", by="Kim").id for n in range(3)]
    hum = library.add_clip(wav(1, 3.0, hum_hz=100.0), machine=machines[0], by="Kim").sha256
    same = library.add_clip(wav(2, 3.0, hum_hz=100.0), machine=machines[0], by="Kim").sha256
    other = library.add_clip(wav(3, 3.0, hum_hz=100.0), machine=machines[1], by="Kim").sha256
    quiet = wav_of(0.001 * np.random.default_rng(9).standard_normal(3 * RATE_HZ))
    far = library.add_clip(quiet, machine=machines[2], by="Kim").sha256
    library.outcomes.add(clip=other, part="coil", by="Kim")
    found = library.similar(hum)
    assert [s.clip.sha256 for s in found] == [other, far] and found[0].distance < found[1].distance
    assert found[0].outcome.part == "coil" and found[1].outcome is None and found[0].at_s % STRETCH_S == 0
    assert same in [s.clip.sha256 for s in library.similar(hum, judging=False)]
    assert [s.clip.sha256 for s in library.similar(hum, with_outcome=True)] == [other]
    library.delete(other, by="Kim", why="asked")
    assert [s.clip.sha256 for s in library.similar(hum)] == [far]


@pytest.mark.parametrize("name", ["m4a_aac", "ogg_opus", "mp3"])
def test_a_clip_sent_twice_is_found_and_another_take_is_not(small, name):
    sound = samples(1, 8.0)
    first = small.add_clip(wav(1, 8.0), by="Kim").sha256
    coded = encode(sound[round(0.8 * RATE_HZ) :], RATE_HZ, name)
    again = small.add_clip(coded, by="Kim").sha256
    take = small.add_clip(wav(2, 8.0), by="Kim").sha256
    (twin,) = small.twins(again)
    assert twin.clip.sha256 == first and twin.shift_s == pytest.approx(0.8, abs=0.1)
    assert small.twins(take) == ()


def test_what_to_label_next_and_what_contradicts(small):
    machine = small.machines.add("bar", by="Kim").id
    known = put(small, machine, brewing(0), consent="learn")
    strange = put(small, machine, wav(7, 5.0), consent="learn")
    put(small, machine, brewing(3))
    small.mark_complete(known, by="Kim")
    lessons = small.next_to_label()
    # Complete clips and clips that may not be learnt from are not on the list.
    assert [lesson.clip.sha256 for lesson in lessons] == [strange]
    assert lessons[0].proposals == tuple(small.opinions(strange)[0].report["events"])
    small.labels.add(known, "hiss", 1.0, 2.0, by="Kim")
    small.labels.add(known, "hiss", 1.0, 2.0, by="Lou", present=False)
    small.labels.add(known, "mains_hum", 3.0, 4.0, by="Kim")
    small.labels.add(known, "motor_run", 3.0, 4.0, by="Lou")
    found = small.conflicts(known)
    assert len(found) == 2 and "Lou hears no hiss" in found[0].text and found[1].kind == "labels"
