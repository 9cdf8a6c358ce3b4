"""Real recordings in training: which are read, what their words mean, where they are heard."""

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
import soundfile

from listen.cli.training_scenes import Job, clip_of, plan, trained_on
from listen.errors import BadParameter
from listen.learn.fit import fit_head, mean_of
from listen.learn.labelled import Rows, Span, _texture_targets
from listen.learn.recipe import HeadRecipe, load_recipe
from listen.learn.recordings import Listing, RecordingsRecipe, audible_spans, read_recordings
from listen.resources import shipped
from synthetic_audio.stop_scenes import FAMILIES
from tests.support.signals import RATE_HZ, noise

RECIPE = RecordingsRecipe(
    alone=2, mixed=3, licences_left_out=("GPL",),
    listing=(
        Listing("MANIFEST.csv", ("train",)),
        Listing("classes.csv", ("1",), column="label", words={"tick": "click_train?", "bark": "other"}),
    ),
)  # fmt: skip


@pytest.fixture
def folder(tmp_path):
    for name in ("a", "b", "c", "d", "e"):
        soundfile.write(tmp_path / f"{name}.flac", noise(2.0, 0.1, ord(name)), RATE_HZ)
    (tmp_path / "MANIFEST.csv").write_text(
        "path,sounds,fold,licence\n"
        "a.flac,speech,train,CC0\nb.flac,speech,test,CC0\nc.flac,clatter,train,GPL-2+\n"
        "d.flac,water_flow;clatter,train,CC0\n",
        encoding="utf-8",
    )
    (tmp_path / "classes.csv").write_text("path,label,fold\ne.flac,tick,1\na.flac,bark,2\n", encoding="utf-8")
    return tmp_path


def test_only_the_folds_and_licences_asked_for_are_read(folder):
    found = read_recordings(folder, RECIPE)
    assert [r.path.stem for r in found] == ["a", "d", "e"]
    assert [r.words for r in found] == [("speech",), ("water_flow?", "clatter?"), ("click_train?",)]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("path,sounds,fold\na.flac,thunder,train\n", "'thunder', which is no word of the ear"),
        ("path,sounds,fold\ngone.flac,speech,train\n", "1 recordings of the listings are missing, 'gone.flac'"),
    ],
)  # fmt: skip
def test_a_listing_that_is_wrong_is_named(folder, text, message):
    (folder / "MANIFEST.csv").write_text(text, encoding="utf-8")
    with pytest.raises(BadParameter, match=message):
        read_recordings(folder, RECIPE)


def test_a_folder_without_its_listing_is_named(tmp_path):
    with pytest.raises(BadParameter, match=r"holds no listing 'MANIFEST\.csv'"):
        read_recordings(tmp_path, RECIPE)


def test_a_sound_is_where_the_recording_is_loud():
    samples = np.concatenate([noise(1.0, 0.0005, 1), noise(1.0, 0.1, 2), noise(1.0, 0.0005, 3)])
    ((onset_s, offset_s),) = audible_spans(samples, RATE_HZ)
    assert onset_s == pytest.approx(1.0, abs=0.15) and offset_s == pytest.approx(2.0, abs=0.15)
    assert audible_spans(np.zeros(RATE_HZ), RATE_HZ) == [] and audible_spans(np.zeros(3), RATE_HZ) == []


def test_the_plan_never_draws_a_seed_twice(folder):
    recipe = replace(load_recipe(shipped("models") / "recipe.toml"), outer_share=0.4)
    jobs = plan(recipe, ("normal_brew", "no_machine"), read_recordings(folder, RECIPE))
    assert len({job.seed for job in jobs}) == len(jobs)
    alone = [job for job in jobs if job.recordings and not job.family]
    assert len(alone) == 3 * recipe.recordings.alone and all(len(job.recordings) == 1 for job in alone)
    outer = [job for job in jobs if job.outer]
    near, far = ([job for job in jobs if job.far is away and not job.outer] for away in (False, True))
    assert sum(bool(job.recordings and job.family) for job in near) == recipe.recordings.mixed
    # Those heard from afar are like the others, of which some hold no machine's room: recordings alone.
    assert len(far) == round(recipe.far_share * sum(bool(job.family or job.sound) for job in near))
    assert {job.family for job in far} >= {"normal_brew", "no_machine"} and any(job.sound for job in far)
    placed = [job for job in near if not job.recordings]
    assert len(outer) == round(recipe.outer_share * len(placed)) and any(job.stop for job in outer)
    assert not any(job.far or job.recordings for job in outer)
    assert not any(job.recordings for job in plan(recipe, ("normal_brew",)))
    assert "no real machine has been heard yet" in trained_on(jobs, ())


@pytest.mark.parametrize(("share", "twins"), [(0.5, (2, 1)), (1.0, (4, 2))])
def test_scenes_that_call_for_a_stop_are_learnt_with_their_twins(share, twins):
    recipe = replace(
        load_recipe(shipped("models") / "recipe.toml"),
        stop_scenes=4,
        stop_long_scenes=2,
        stop_twin_share=share,
        outer_share=0.0,
    )
    jobs = [job for job in plan(recipe, ("normal_brew",)) if job.stop]
    counts = {(f.name, twin): sum(job.stop == f.name and job.twin is twin for job in jobs) for f in FAMILIES for twin in (False, True)}  # fmt: skip
    assert counts["arcing", False] == 4 and counts["arcing", True] == twins[0]
    assert (
        counts["first_fill", False] == 2
        and counts["first_fill", True] == twins[1]
        and min(counts.values()) >= 1
    )
    assert not [job for job in plan(replace(recipe, stop_scenes=0), ("normal_brew",)) if job.stop]
    clip = clip_of(next(job for job in jobs if job.stop == "arcing"), replace(recipe, sprinkled_share=0.0))
    assert "arcing" in {span.sound for span in clip.spans}


def test_machines_further_out_are_drawn_from_ranges_of_their_own():
    recipe = replace(
        load_recipe(shipped("models") / "recipe.toml"), sprinkled_share=0.0, bent_share=0.0, outer_share=0.1
    )
    job = next(job for job in plan(recipe, ("normal_brew",)) if job.outer and job.family == "normal_brew")
    near = clip_of(replace(job, outer=False), recipe)
    assert not np.array_equal(clip_of(job, recipe).samples[: near.rate_hz], near.samples[: near.rate_hz])


def test_a_recording_is_heard_alone_and_behind_a_machine(folder):
    # Nothing strewn over: what is heard is the recording's.
    recipe = replace(load_recipe(shipped("models") / "recipe.toml"), sprinkled_share=0.0)
    speech, both, _ = read_recordings(folder, RECIPE)
    alone = clip_of(Job(7, recordings=(speech,)), recipe)
    assert len(alone.samples) / alone.rate_hz == pytest.approx(2.0, abs=0.05)
    assert {span.sound for span in alone.spans} == {"speech"}
    same = clip_of(Job(8, recordings=(speech,)), recipe)
    assert alone.group == same.group
    behind = clip_of(Job(9, "normal_brew", recordings=(both,)), recipe)
    words = {span.sound: span for span in behind.spans}
    assert words["water_flow"].unsure or words["clatter"].unsure
    assert "click" in words and not words["click"].unsure


def test_from_afar_a_machine_sounds_on():
    """Nothing strewn over, no other colour: the room alone differs. A third of a second after a click it still rings."""
    recipe = replace(load_recipe(shipped("models") / "recipe.toml"), sprinkled_share=0.0, bent_share=0.0)
    left: dict[bool, list[float]] = {False: [], True: []}
    for far, seed in product(left, range(11, 20)):
        clip = clip_of(Job(seed, sound="click", far=far), recipe)
        at = round(min(span.onset_s for span in clip.spans if span.sound == "click") * clip.rate_hz)
        n = round(0.05 * clip.rate_hz)
        power = np.square(clip.samples, dtype=np.float64)
        left[far].append(power[at + 2 * n : at + 5 * n].mean() / power[at : at + n].mean())
    assert np.median(left[True]) > 3 * np.median(left[False])


def test_what_may_be_heard_is_neither_yes_nor_no_and_what_cannot_is_no():
    recipe = HeadRecipe(("hiss", "speech"), (4,), 0.1, 2, least_snr_db=3.0)
    starts_s = np.arange(0.0, 6.0, 0.256)
    y, keep = _texture_targets(starts_s, [Span("hiss", 1.0, 5.0, unsure=True)], recipe)
    assert y.sum() == 0 and 0 < keep.sum() < len(keep)
    y, keep = _texture_targets(starts_s, [Span("hiss", 1.0, 5.0, snr_db=-20.0)], recipe)
    assert y.sum() == 0 and keep.all()


@pytest.mark.parametrize("hidden", [(5,), (6, 4)])
def test_the_mean_of_networks_is_one_head_with_their_mean_logits(hidden):
    rng = np.random.default_rng(3)
    x = rng.normal(size=(300, 6)).astype(np.float32)
    rows = Rows(x, (x[:, :2] > 0.3).astype(np.int8), np.arange(300))
    recipe = HeadRecipe(("hiss", "boil"), hidden, 0.01, 3, least_snr_db=0.0)
    parts = [fit_head(rows, recipe, 5 + 100 * n) for n in range(3)]
    together = fit_head(rows, recipe, 5, members=3)
    np.testing.assert_allclose(together.logits(x), np.mean([p.logits(x) for p in parts], axis=0), atol=1e-9)
    assert mean_of(parts[:1]) is parts[0]


def test_the_mean_of_a_flat_and_a_deep_network_is_one_head_with_their_mean_logits():
    rng = np.random.default_rng(4)
    x = rng.normal(size=(300, 6)).astype(np.float32)
    rows = Rows(x, (x[:, :2] > 0.3).astype(np.int8), np.arange(300))
    flat, deep = (
        fit_head(rows, HeadRecipe(("hiss", "boil"), hidden, 0.01, 3, least_snr_db=0.0), 5)
        for hidden in ((5,), (6, 4))
    )
    # Rows are standardised the same way: both saw the same ones.
    np.testing.assert_allclose(
        mean_of([flat, deep]).logits(x), (flat.logits(x) + deep.logits(x)) / 2, atol=1e-9
    )
