"""Bring synthesised scenes to the training: the one place where the two meet."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from listen.learn.labelled import LabelledClip, Rows, Span, rows_of
from listen.learn.recipe import Recipe, load_recipe
from listen.learn.train import stack, train_model

#: Marks a clip of one sound alone in the plan.
_ALONE = "sound:"


def scene_rows(seed: int, family: str, recipe: Recipe) -> tuple[Rows, Rows]:
    """Draw, render and describe one scene of the training split."""
    from synthetic_audio import draw, draw_sound, render

    alone = family.removeprefix(_ALONE)
    spec = (
        draw(seed, family=family, split="train")
        if alone == family
        else draw_sound(seed, alone, split="train")
    )
    scene = render(spec)
    spans = [Span(label.sound, label.onset_s, label.offset_s, label.snr_db) for label in scene.labels]
    return rows_of(LabelledClip(scene.samples, scene.rate_hz, spans, seed), recipe)


def plan(recipe: Recipe, families: tuple[str, ...]) -> list[tuple[int, str]]:
    """List (seed, family) of every training scene; single sounds stand as `sound:WORD`."""
    jobs, seed = [], recipe.seed * 1000
    for family in families:
        count = recipe.long_scenes if family in recipe.long_families else recipe.scenes_per_family
        count = recipe.no_machine_scenes if family == "no_machine" else count
        jobs += [(seed + n, family) for n in range(count)]
        seed += count
    for word in sorted({*recipe.textures.labels, *recipe.onsets.labels} - {"other"}):
        jobs += [(seed + n, _ALONE + word) for n in range(recipe.single_scenes)]
        seed += recipe.single_scenes
    return jobs


def train_on_scenes(recipe_path: Path, out: Path, echo: Callable[[str], object], n_jobs: int = -1) -> Path:
    """Render the recipe's scenes on all cores, fit the model and write it to `out`."""
    from joblib import Parallel, delayed

    from synthetic_audio import FAMILIES

    recipe = load_recipe(recipe_path)
    jobs = plan(recipe, tuple(FAMILIES))
    echo(f"Rendering and describing {len(jobs)} scenes.")
    textures, onsets = [], []
    results = Parallel(n_jobs=n_jobs, return_as="generator", batch_size=4)(
        delayed(scene_rows)(s, f, recipe) for s, f in jobs
    )
    for done, (texture_rows, onset_rows) in enumerate(results, start=1):
        textures.append(texture_rows)
        onsets.append(onset_rows)
        if done % 100 == 0:
            echo(f"{done} of {len(jobs)}")
    trained_on = f"{len(jobs)} synthesised scenes of invented machines; no real machine has been heard yet"
    return train_model(stack(textures), stack(onsets), recipe, out, trained_on=trained_on, echo=echo)
