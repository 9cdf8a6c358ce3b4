"""`listen train --library`: learn from the shop's clips and synthesised scenes, measure, keep the version.

Here the library, the synthesiser, the training and the scorer meet; none of
them knows the others.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from listen.cli.score_hear import hear_clip
from listen.cli.score_sets import render_entry
from listen.cli.training_scenes import Job, clip_rows, plan
from listen.ear.bundle import Bundle, Head
from listen.errors import BadParameter
from listen.learn.adapt import PART_WAYS, adapted, part_way
from listen.learn.export import write_bundle
from listen.learn.labelled import LabelledClip, PartRows, Rows, Span, rows_of
from listen.learn.promote import Decision, decide
from listen.learn.recipe import Recipe, load_recipe
from listen.learn.score.rules import load_rules
from listen.learn.score.truth import Heard, TruthClip, TruthLabel
from listen.learn.train import stack, stack_parts, train_model
from listen.pipeline import model as loaded_model

if TYPE_CHECKING:
    from listen.library import Library
    from listen.library.records import ClipRecord, ModelRecord

#: Scenes of each family that both models hear before a promotion; drawn from the split that is never trained on.
FROZEN_PER_FAMILY = 4
_FROZEN_SEED = 730_000
#: A shop's rows are repeated until they make up this share of all, at most so often.
_SHARE, _MOST_REPEATS = 0.2, 8
#: To go on from the shipped model one of so many scenes is enough, and its seeds lie this far from the recipe's.
_EVERY, _OTHER_SEEDS = 20, 100


@dataclass(frozen=True, slots=True)
class Learnt:
    """A trained version, kept in the library, and what was decided about it."""

    model: ModelRecord
    decision: Decision
    n_clips: int
    n_machines: int


def learn(
    library: Library, recipe_path: Path, *, by: str, echo: Callable[[str], object], n_jobs: int = -1,
    frozen: Sequence[tuple[int, str]] | None = None,
) -> Learnt:  # fmt: skip
    """Train on the shop's clips and on scenes, measure beside the model in use, and keep the version.

    Training goes on from the shipped model where the recipe is that model's; with other words it starts again. Where
    all of what was learnt makes something worse, a half and a quarter of it are tried.

    Parameters
    ----------
    library : Library
    recipe_path : Path
    by : str
        Who trains.
    echo : callable
        Gets a line of progress at a time.
    frozen : sequence of (seed, family), optional
        Scenes to measure on; the usual list when missing.

    Raises
    ------
    BadParameter
        No clip of the library may be learnt from.
    """
    recipe = load_recipe(recipe_path)
    clips, left_out = shop_clips(library)
    for why in left_out:
        echo(why)
    if not clips:
        raise BadParameter(
            "The library holds no clip to learn from: label clips, say that their labels are complete, and have the consent `learn`."
        )
    machines = sorted({clip.machine or f"clip {clip.sha256}" for clip in clips})
    echo(f"{len(clips)} clips of {len({c.machine for c in clips if c.machine})} machines of this shop.")
    shop = [
        _shop_rows(library, clip, -1 - machines.index(clip.machine or f"clip {clip.sha256}"), recipe)
        for clip in clips
    ]
    begin = beginning(recipe)
    made, n_scenes = _scene_rows(scene_jobs(recipe, begin is not None), recipe, echo, n_jobs)
    version = f"{recipe.version}-shop-{len(library.models.all()) + 1}"
    recipe = replace(recipe, version=version)
    n_machines = len({clip.machine for clip in clips if clip.machine})
    trained_on = f"{n_scenes} synthesised scenes of invented machines, and {len(clips)} clips of {n_machines} machines of this shop"
    with tempfile.TemporaryDirectory(prefix="listen-train-") as work:
        if begin is None:
            folder = train_model(
                {name: _weighed([r[name] for r in shop], [r[name] for r in made]) for name in made[0]},
                recipe, Path(work) / "model", trained_on=trained_on, echo=echo,
            )  # fmt: skip
            decision = measure(library, folder, echo, frozen)
        else:
            echo(f"Going on from the shipped model, version {begin.info.version}.")
            folder, decision = _go_on(
                begin, adapted(begin.heads, shop, stack_parts(made)), Path(work), echo,
                lambda folder: measure(library, folder, echo, frozen), version=version,
                trained_on=f"{trained_on}; gone on from the shipped model {begin.info.version}",
                facts={"seed": recipe.seed, "begins_from": begin.info.sha256},
            )  # fmt: skip
        model = library.models.add(
            folder, by=by, clips=[clip.sha256 for clip in clips], measured=decision.measured, says=decision.says,
            state="candidate" if decision.promoted else "refused",
        )  # fmt: skip
    return Learnt(model, decision, len(clips), n_machines)


def _go_on(
    begin: Bundle, fitted: Mapping[str, Head], work: Path, echo: Callable[[str], object],
    measured: Callable[[Path], Decision], *, trained_on: str, **manifest: Any,
) -> tuple[Path, Decision]:  # fmt: skip
    """Write and measure what lies on the way to the fitted model: all of it, then less, until nothing is worse."""
    for share in PART_WAYS:
        part = "" if share == 1.0 else f", {share:.0%} of what was learnt"
        folder = write_bundle(
            work / f"part-{share:g}", part_way(begin.heads, fitted, share), trained_on=trained_on + part, **manifest
        )  # fmt: skip
        decision = measured(folder)
        if decision.promoted or share == PART_WAYS[-1]:
            break
        echo(f"Measured worse with {share:.0%} of what was learnt; trying less.")
    return folder, decision


def train_from_library(recipe_path: Path, *, by: str, promote: bool) -> int:
    """Run `listen train --library`: exit code 0 also where the version is measured worse and only kept."""
    import click

    from listen.library import open_library
    from listen.library.labels import named

    who = named(by)
    with open_library(create=False) as library:
        learnt = learn(library, recipe_path, by=who, echo=click.echo)
        click.echo(learnt.decision.says)
        if not learnt.decision.promoted:
            click.echo(f"Kept as model {learnt.model.id}, refused. The model in use stays.")
        elif promote:
            library.models.promote(learnt.model.id, by=who, why="measured no worse")
            click.echo(f"Model {learnt.model.id} is in use. `listen library rollback` goes back.")
        else:
            click.echo(
                f"Kept as model {learnt.model.id}. `listen library promote {learnt.model.id}` puts it in use."
            )
    return 0


def shop_clips(library: Library) -> tuple[list[ClipRecord], list[str]]:
    """Return the clips that may be learnt from, and in words what was left out."""
    chosen, left_out = [], []
    unfinished = no_consent = again = 0
    for clip in library.clips(fold="train"):
        labelled = bool(clip.complete_at)
        if not labelled:
            unfinished += bool(library.labels.of(clip.sha256))
        elif clip.consent == "shop":
            no_consent += 1
        elif any(twin.clip.fold == "test" for twin in library.twins(clip.sha256)):
            again += 1
        else:
            chosen.append(clip)
    for n, why in (
        (unfinished, "have labels, but nobody says that they are complete"),
        (no_consent, "are labelled, but their owners did not agree to learning from them"),
        (again, "hold the same recording as a clip that is kept for tests"),
    ):
        if n:
            left_out.append(f"Left out: {n} clips {why}.")
    return sorted(chosen, key=lambda clip: clip.sha256), left_out


def measure(
    library: Library,
    folder: Path,
    echo: Callable[[str], object],
    frozen: Sequence[tuple[int, str]] | None = None,
) -> Decision:
    """Let the model in use and a candidate hear the frozen clips, and decide."""
    in_use = library.models.current_folder()
    now_folder = str(in_use) if in_use is not None else None
    scenes = list(frozen) if frozen is not None else frozen_scenes()
    echo(f"Both models hear {len(scenes)} scenes and the shop's clips kept for tests.")
    truth = _heard_by_both(
        (
            render_entry({"kind": "scene", "what": family, "seed": seed, "background": None})
            for seed, family in scenes
        ),
        now_folder,
        str(folder),
    )
    real = _heard_by_both((_truth_of(library, clip) for clip in test_clips(library)), now_folder, str(folder))
    return decide(truth, real, load_rules())


def frozen_scenes() -> list[tuple[int, str]]:
    """Return (seed, family) of the scenes that decide about a promotion: always the same."""
    from synthetic_audio import FAMILIES

    return [
        (_FROZEN_SEED + 100 * place + n, family)
        for place, family in enumerate(sorted(FAMILIES))
        for n in range(FROZEN_PER_FAMILY)
    ]


def test_clips(library: Library) -> list[ClipRecord]:
    """Return the shop's clips kept for tests whose labels are complete and may be used so."""
    clips = [clip for clip in library.clips(fold="test", complete=True) if clip.consent != "shop"]
    return sorted(clips, key=lambda clip: clip.sha256)


def _heard_by_both(
    clips: Any, now_folder: str | None, new_folder: str
) -> tuple[list[TruthClip], list[Heard], list[Heard]]:
    kept, now, new = [], [], []
    for clip in clips:
        now.append(hear_clip(clip, now_folder))
        new.append(hear_clip(clip, new_folder))
        kept.append(replace(clip, audio=None))
    return kept, now, new


def _truth_of(library: Library, clip: ClipRecord) -> TruthClip:
    outcome = library.outcomes.of(clip=clip.sha256)
    fault = bool(outcome) and outcome[0].state == "resolved"
    labels = [TruthLabel(x.sound, x.onset_s, x.offset_s) for x in library.labels.of(clip.sha256) if x.present]
    return TruthClip(
        name=f"{clip.name} ({clip.sha256[:8]})", group=clip.machine or clip.sha256, duration_s=clip.duration_s, labels=labels,
        family="shop", verdict="abnormal" if fault else ("normal" if clip.good_at else None), carries=True,
        audio=library.original(clip.sha256), story=[(m.at_s, m.word) for m in clip.story],
        machine=_machine_values(library, clip), gauges=clip.gauges,
    )  # fmt: skip


def _machine_values(library: Library, clip: ClipRecord) -> dict[str, Any] | None:
    if clip.machine is None:
        return None
    record = library.machines.get(clip.machine)
    gauges = {k: v for k, v in record.profile.items() if k.endswith("_bar")}
    rest = {k: v for k, v in record.profile.items() if not k.endswith("_bar")}
    return {**rest, "name": record.name, **({"gauges": gauges} if gauges else {})}


def _shop_rows(library: Library, clip: ClipRecord, group: int, recipe: Recipe) -> PartRows:
    import soundfile

    samples, rate_hz = soundfile.read(library.playable(clip.sha256), dtype="float32")
    spans = [Span(x.sound, x.onset_s, x.offset_s) for x in library.labels.of(clip.sha256) if x.present]
    return rows_of(LabelledClip(samples, rate_hz, spans, group), recipe)


def beginning(recipe: Recipe) -> Bundle | None:
    """Return the shipped model if its parts hear the recipe's words, so that training can go on from it.

    It is always the shipped one, never the shop's last: what was deleted leaves no trace, and
    nothing drifts from version to version.
    """
    bundle = loaded_model()
    parts = {name: getattr(recipe, name, None) for name in bundle.heads}
    fits = all(part is not None and part.labels == bundle.heads[name].labels for name, part in parts.items())
    return bundle if fits else None


def scene_jobs(recipe: Recipe, go_on: bool) -> list[Job]:
    """List the scenes to learn among: all of the recipe, or to go on a part of them, drawn with other seeds.

    On scenes that it has learnt already a model is surer than it may be, and would become surer still.
    """
    from synthetic_audio import FAMILIES

    if not go_on:
        return plan(recipe, tuple(FAMILIES))
    return plan(replace(recipe, seed=recipe.seed + _OTHER_SEEDS), tuple(FAMILIES))[::_EVERY]


def _scene_rows(
    jobs: Sequence[Job], recipe: Recipe, echo: Callable[[str], object], n_jobs: int
) -> tuple[list[PartRows], int]:
    from joblib import Parallel, delayed

    echo(f"Rendering and describing {len(jobs)} scenes.")
    rows = Parallel(n_jobs=n_jobs, batch_size=4)(delayed(clip_rows)(job, recipe) for job in jobs)
    return list(rows), len(jobs)


def _weighed(shop: list[Rows], scenes: list[Rows]) -> Rows:
    """Put the rows together, a shop's own repeated: they are real, and few."""
    n_shop, n_scenes = sum(len(r.x) for r in shop), sum(len(r.x) for r in scenes)
    wanted = _SHARE / (1 - _SHARE) * n_scenes
    repeats = max(1, min(_MOST_REPEATS, round(wanted / max(n_shop, 1))))
    return stack(shop * repeats + scenes)
