"""With the shipped recipe a shop's learning goes on from the shipped model."""

from dataclasses import replace

from listen.cli import library_learn
from listen.cli.training_scenes import Job, plan
from listen.learn.recipe import load_recipe
from listen.library import open_library
from listen.pipeline import model
from listen.resources import shipped
from synthetic_audio import FAMILIES
from tests.library.test_library_learn import hissing

RECIPE = shipped("models") / "recipe.toml"


def test_the_shipped_model_is_the_beginning_only_for_its_own_words():
    recipe = load_recipe(RECIPE)
    assert library_learn.beginning(recipe) is model()
    fewer = replace(recipe, onsets=replace(recipe.onsets, labels=("click", "other")))
    assert library_learn.beginning(fewer) is None


def test_scenes_to_go_on_with_are_few_and_new_to_the_model():
    recipe = load_recipe(RECIPE)
    every, few = library_learn.scene_jobs(recipe, go_on=False), library_learn.scene_jobs(recipe, go_on=True)
    assert every == plan(recipe, tuple(FAMILIES)) and len(every) / 21 < len(few) < len(every) / 19
    assert not {job.seed for job in every} & {job.seed for job in few}
    assert {job.family for job in few} == {job.family for job in every}


def test_a_shop_goes_on_from_the_shipped_model(tmp_path, monkeypatch):
    monkeypatch.setattr(
        library_learn, "scene_jobs", lambda recipe, go_on: [Job(20_361_000, "normal_brew"), Job(20_361_001, "normal_steam")]
    )  # fmt: skip
    said = []
    with open_library(tmp_path / "library") as library:
        machine = library.machines.add("m", by="Kim").id
        clip = library.add_clip(hissing(3), machine=machine, by="Kim", consent="learn").sha256
        library.labels.add(clip, "hiss", 6.0, 11.0, by="Kim")
        library.mark_complete(clip, by="Kim")
        done = library_learn.learn(
            library, RECIPE, by="Kim", echo=said.append, n_jobs=1, frozen=[(730_001, "normal_idle")]
        )
        assert any("Going on from the shipped model" in line for line in said)
        assert (
            "gone on from the shipped model" in done.model.trained_on
            and "1 clips of 1 machines" in done.model.trained_on
        )
        # No clip is kept for tests: it may not be put in use.
        assert not done.decision.promoted and done.model.state == "refused"
        assert done.model.sha256 != model().info.sha256 and library.verify().fine
