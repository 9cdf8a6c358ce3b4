"""Learning from a shop's clips: promoted only where measured no worse, versions kept, rolled back."""

import hashlib
from dataclasses import replace

import numpy as np
import pytest

from listen.cli import library_learn
from listen.ear.bundle import load_bundle
from listen.errors import BadParameter, LibraryError
from listen.learn.adapt import folded
from listen.learn.export import write_bundle
from listen.learn.promote import LEAST_REAL, Decision, decide
from listen.learn.score.rules import load_rules
from listen.learn.score.truth import Heard, TruthClip, TruthLabel
from listen.library import open_library
from listen.library.pointer import shop_model
from listen.pipeline import hear
from listen.types import SoundEvent
from tests.library.sounds import RATE_HZ
from tests.library.test_library_together import wav_of
from tests.support.heads import bundle_of
from tests.support.signals import band_noise

RECIPE = """
version = "t"
seed = 5
scenes_per_family = 0
no_machine_scenes = 6
long_families = []
long_scenes = 0
single_scenes = 2
[textures]
labels = ["hiss", "fan"]
hidden = [8]
alpha = 0.02
epochs = 60
least_snr_db = 3.0
[onsets]
labels = ["click", "other"]
hidden = [8]
alpha = 0.02
epochs = 10
least_snr_db = 3.0
"""


def hissing(seed):
    """Seventeen seconds of quiet, a hiss from 6 to 11 s: long enough that its surroundings differ from it."""
    sound = 0.002 * np.random.default_rng(seed).standard_normal(17 * RATE_HZ)
    hiss = band_noise(5.0, 0.08, 100 + seed, 3000.0, 7000.0, RATE_HZ)
    sound[6 * RATE_HZ : 11 * RATE_HZ] += hiss[: 5 * RATE_HZ]
    return wav_of(sound)


def event(sound, onset_s, offset_s, p=0.9):
    return SoundEvent("e1", sound, onset_s, offset_s, p)


def test_the_whole_round_leaves_a_library_that_verifies(tmp_path):
    """Add, label, outcome, train, promote, roll back; and what may not be learnt from is not."""
    (tmp_path / "recipe.toml").write_text(RECIPE)
    said = []
    with open_library(tmp_path / "library") as library:
        machines = [library.machines.add(f"m{n}", by="Kim").id for n in range(3)]
        assert [library.machines.get(m).fold for m in machines] == ["train", "test", "train"]
        for seed in range(8):
            # Two clips of each machine that is learnt from, four of the one kept for tests.
            machine = machines[(0, 2, 0, 2, 1, 1, 1, 1)[seed]]
            clip = library.add_clip(hissing(seed), machine=machine, by="Kim", consent="learn").sha256
            library.labels.add(clip, "hiss", 6.0, 11.0, by="Kim")
            library.mark_complete(clip, by="Kim")
        library.outcomes.add(clip=clip, part="steam valve", cause="worn seat", by="Kim")
        private = library.add_clip(hissing(20), machine=machines[0], by="Kim").sha256
        library.labels.add(private, "hiss", 6.0, 11.0, by="Kim")
        library.mark_complete(private, by="Kim")
        unfinished = library.add_clip(hissing(21), machine=machines[0], by="Kim", consent="learn").sha256
        library.labels.add(unfinished, "hiss", 6.0, 7.0, by="Kim")
        # The model in use hears nothing: whoever hears the hiss is no worse.
        deaf = write_bundle(
            tmp_path / "deaf", bundle_of().heads, version="deaf", trained_on="nothing", facts={}
        )
        first = library.models.promote(library.models.add(deaf, by="Kim").id, by="Kim", why="test")

        done = library_learn.learn(
            library,
            tmp_path / "recipe.toml",
            by="Kim",
            echo=said.append,
            n_jobs=1,
            frozen=[(730_001, "normal_idle")],
        )
        assert (done.n_clips, done.n_machines) == (4, 2)
        tested = {c.sha256 for c in library.clips(fold="test")}
        assert not {*done.model.clips} & ({private, unfinished} | tested) and len(done.model.clips) == 4
        assert any("did not agree" in line for line in said) and any("complete" in line for line in said)
        assert done.decision.promoted, done.decision.says
        assert "hiss finds 4 of 4 instead of 0" in done.decision.says and done.model.state == "candidate"
        assert (
            done.model.measured["real"]["clips"] == 4
            and "clips of 2 machines of this shop" in done.model.trained_on
        )

        assert library.models.promote(done.model.id, by="Kim", why="no worse").state == "current"
        folder = library.models.current_folder()
        assert shop_model(library.place.home) == str(folder)
        report = hear(hissing(30), model_folder=str(folder))
        assert report.model.sha256 == done.model.sha256 and any(e.sound == "hiss" for e in report.events)
        # Deleting a clip says which model still remembers it.
        assert library.delete(done.model.clips[0], by="Kim", why="asked").models == (done.model.id,)
        assert library.verify().fine
        assert library.models.roll_back(by="Kim").id == first.id
        assert library.models.roll_back(by="Kim") is None and shop_model(library.place.home) is None
        with pytest.raises(LibraryError, match="nothing to go back from"):
            library.models.roll_back(by="Kim")
        assert [m.state for m in library.models.all()] == ["retired", "retired"]
        assert (
            library.verify().fine
            and library.models.promote(done.model.id, by="Kim", why="again").state == "current"
        )
        # What is unpacked is a copy: damaged, it comes back from the vault.
        (folder / "arrays.npz").write_bytes(b"rotten")
        assert (
            hashlib.sha256((library.models.current_folder() / "arrays.npz").read_bytes()).hexdigest()
            == done.model.sha256
        )


def test_nothing_to_learn_from_says_what_is_missing(small, tmp_path):
    (tmp_path / "recipe.toml").write_text(RECIPE)
    with pytest.raises(BadParameter, match="no clip to learn from"):
        library_learn.learn(small, tmp_path / "recipe.toml", by="Kim", echo=lambda line: None)


def test_a_copy_of_a_test_clip_is_not_learnt_from(small):
    for n in range(2):
        small.machines.add(f"m{n}", by="Kim")
    sound = 0.05 * np.random.default_rng(1).standard_normal(9 * RATE_HZ) * np.repeat(np.random.default_rng(2).uniform(0.1, 1, 90), RATE_HZ // 10)  # fmt: skip
    small.add_clip(wav_of(sound), machine="m1", by="Kim")
    copy = small.add_clip(wav_of(0.5 * sound[RATE_HZ:]), machine="m0", by="Kim", consent="learn").sha256
    small.mark_complete(copy, by="Kim")
    clips, left_out = library_learn.shop_clips(small)
    assert clips == [] and "same recording as a clip that is kept for tests" in left_out[0]


def clips_of(n, *, verdict="abnormal"):
    return [
        TruthClip(
            f"c{i}",
            f"g{i}",
            10.0,
            [TruthLabel("click", 2.0, 2.0), TruthLabel("hiss", 4.0, 8.0)],
            "f",
            verdict,
            True,
        )
        for i in range(n)
    ]


def heard(n, *, clicks, false=0, level="service"):
    """`clicks` of n clips have their click found; the first `false` clips a false bang; the hiss is always found."""
    return [
        Heard(
            [event("hiss", 4.0, 8.0)] + [event("click", 2.0, 2.02)] * (i < clicks) + [event("bang", 6.0, 6.1)] * (i < false),
            "abnormal", level,
        )
        for i in range(n)
    ]  # fmt: skip


def test_who_hears_more_is_promoted_and_who_hears_less_is_not():
    rules = load_rules()
    real = (clips_of(4), heard(4, clicks=4), heard(4, clicks=4))
    better = decide((clips_of(20), heard(20, clicks=12), heard(20, clicks=18)), real, rules)
    assert better.promoted and "click finds 18 of 20 instead of 12" in better.says and better.reasons == ()
    worse = decide((clips_of(20), heard(20, clicks=18), heard(20, clicks=8)), real, rules)
    assert not worse.promoted and any("click is found worse" in r for r in worse.reasons)
    same = decide((clips_of(20), heard(20, clicks=12), heard(20, clicks=12)), real, rules)
    assert same.promoted and "nothing changed" in same.says


def test_false_alarms_on_real_clips_and_lost_stops_refuse():
    rules = load_rules()
    truth = (clips_of(10), heard(10, clicks=5), heard(10, clicks=9))
    alarm = decide(truth, (clips_of(4), heard(4, clicks=4), heard(4, clicks=4, false=1)), rules)
    assert not alarm.promoted and any("1 false alarms instead of 0" in r for r in alarm.reasons)
    few = decide(truth, (clips_of(LEAST_REAL - 1), heard(2, clicks=2), heard(2, clicks=2)), rules)
    assert not few.promoted and any("are needed to measure" in r for r in few.reasons)
    stop = heard(4, clicks=4, level="stop")
    lost = decide(truth, (clips_of(4), stop, heard(4, clicks=4)), rules)
    assert not lost.promoted and any("no longer says stop" in r for r in lost.reasons)
    # A stop on a clip in which all was well may go.
    well = [replace(c, verdict="normal") for c in clips_of(4)]
    assert decide(truth, (well, stop, heard(4, clicks=4)), rules).promoted


def test_a_refused_model_cannot_be_promoted(small, tmp_path):
    bundle = bundle_of()
    folder = write_bundle(tmp_path / "m", bundle.heads, version="1", trained_on="nothing", facts={})
    model = small.models.add(folder, by="Kim", says="worse at clicks", state="refused")
    with pytest.raises(LibraryError, match="worse at clicks"):
        small.models.promote(model.id, by="Kim", why="anyway")
    assert small.models.current() is None and small.verify().fine


def test_what_is_never_trained_on_stays_so():
    """The scenes that decide are of the split that no training draws from, always the same, each family."""
    from synthetic_audio import FAMILIES

    scenes = library_learn.frozen_scenes()
    assert len(set(scenes)) == len(scenes) == len(FAMILIES) * library_learn.FROZEN_PER_FAMILY
    assert {family for _, family in scenes} == set(FAMILIES)


@pytest.mark.parametrize(
    ("no_worse_from", "told"),
    [(1.0, ""), (0.5, ", 50% of what was learnt"), (0.0, ", 25% of what was learnt")],
)
def test_less_is_tried_where_all_of_it_is_worse(tmp_path, no_worse_from, told):
    begin, said, tried = bundle_of(), [], []
    fitted = {name: folded(head) for name, head in begin.heads.items()}

    def measured(folder):
        tried.append(folder)
        share = (1.0, 0.5, 0.25)[len(tried) - 1]
        return Decision(share <= no_worse_from, (), "", {})

    folder, decision = library_learn._go_on(
        begin, fitted, tmp_path, said.append, measured, version="1-shop-1", trained_on="a shop", facts={}
    )
    assert load_bundle(folder).info.trained_on == "a shop" + told and folder == tried[-1]
    assert decision.promoted is (no_worse_from > 0.0) and len(said) == len(tried) - 1
