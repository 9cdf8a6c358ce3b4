"""Bring synthesised scenes to the training: the one place where the two meet."""

from __future__ import annotations

import zlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from listen.learn.labelled import LabelledClip, PartRows, Span, rows_of
from listen.learn.recipe import Recipe, load_recipe
from listen.learn.recordings import UNSURE, Recording, audible_spans, read_recordings
from listen.learn.train import stack_parts, train_model

if TYPE_CHECKING:
    from synthetic_audio import Backdrop

#: A word, its onset and its offset in s.
Placed = tuple[str, float, float]

#: Neighbouring recordings of a backdrop fade into each other.
_FADE_S = 0.25
#: Level of recordings at the microphone, dB below full scale: behind a machine, and alone.
_BEHIND_DB, _ALONE_DB = (-54.0, -28.0), (-42.0, -14.0)
#: Scenes that call for a stop are long when they may last longer than this.
_LONG_S = 60.0
#: A bent colour is a smooth curve over frequency with this deviation.
_BEND_DB = 4.0
#: Rooms that ring on, and how far away the phone is there: beyond those of the held-out scenes, which lie between
#: these and the training ranges. Bare kitchens reach a second (Kuttruff, Room Acoustics; from memory).
_FAR_RT60_S, _FAR_M = (0.8, 1.2), (1.3, 2.2)


@dataclass(frozen=True, slots=True)
class Job:
    """One training clip: a family's scene, a `sound` alone, or `recordings` (alone if `family` is empty); heard from `far`.

    `stop` names a family of scenes that call for a stop by their sound; with `twin` the sound belongs there.
    `outer` draws machine, room and phone from ranges that lie further out than those of the scored scenes.
    """

    seed: int
    family: str = ""
    sound: str = ""
    recordings: tuple[Recording, ...] = ()
    far: bool = False
    stop: str = ""
    twin: bool = False
    outer: bool = False


def plan(recipe: Recipe, families: Sequence[str], recordings: Sequence[Recording] = ()) -> list[Job]:
    """List every training clip of a recipe."""
    jobs = _near(recipe, families, recordings)
    jobs += _afar(jobs, recipe)
    jobs += _stops(recipe, recipe.seed * 1000 + len(jobs))
    return jobs + _further_out(jobs, recipe)


def _stops(recipe: Recipe, first_seed: int) -> list[Job]:
    """Scenes that call for a stop by their sound, and a share of twins; long ones are fewer."""
    from synthetic_audio.stop_scenes import FAMILIES

    jobs: list[Job] = []
    for family in FAMILIES:
        long = family.length_s[1] > _LONG_S
        count = (recipe.stop_long_scenes if long else recipe.stop_scenes) if recipe.stop_scenes else 0
        jobs += [Job(0, stop=family.name) for _ in range(count)]
        jobs += [Job(0, stop=family.name, twin=True) for _ in range(round(recipe.stop_twin_share * count))]
    return [replace(job, seed=first_seed + n) for n, job in enumerate(jobs)]


def _afar(near: Sequence[Job], recipe: Recipe) -> list[Job]:
    """Jobs like some of the others with seeds of their own, heard from afar."""
    placed = [job for job in near if job.family or job.sound]
    count = round(recipe.far_share * len(placed))
    seed = recipe.seed * 1000 + len(near)
    return [replace(placed[n * len(placed) // count], seed=seed + n, far=True) for n in range(count)]


def _further_out(jobs: Sequence[Job], recipe: Recipe) -> list[Job]:
    """Jobs like some of the others with seeds of their own, of machines further out than any that are scored."""
    like = [
        job for job in jobs if (job.family or job.sound or job.stop) and not job.far and not job.recordings
    ]
    count = round(recipe.outer_share * len(like))
    seed = recipe.seed * 1000 + len(jobs)
    return [replace(like[n * len(like) // count], seed=seed + n, outer=True) for n in range(count)]


def _near(recipe: Recipe, families: Sequence[str], recordings: Sequence[Recording]) -> list[Job]:
    jobs, seed = [], recipe.seed * 1000
    for family in families:
        count = recipe.long_scenes if family in recipe.long_families else recipe.scenes_per_family
        count = recipe.no_machine_scenes if family == "no_machine" else count
        jobs += [Job(seed + n, family) for n in range(count)]
        seed += count
    for word in sorted({*recipe.textures.labels, *recipe.onsets.labels} - {"other"}):
        jobs += [Job(seed + n, sound=word) for n in range(recipe.single_scenes)]
        seed += recipe.single_scenes
    if recipe.recordings is None or not recordings:
        return jobs
    rng = np.random.default_rng(recipe.seed)
    for n in range(recipe.recordings.alone * len(recordings)):
        jobs.append(Job(seed + n, recordings=(recordings[n % len(recordings)],)))
    seed += recipe.recordings.alone * len(recordings)
    short = [f for f in families if f not in recipe.long_families and f != "no_machine"]
    for n in range(recipe.recordings.mixed):
        behind = tuple(recordings[i] for i in rng.integers(0, len(recordings), 12))
        jobs.append(Job(seed + n, short[n % len(short)], recordings=behind))
    return jobs


def clip_of(job: Job, recipe: Recipe) -> LabelledClip:
    """Draw and render one training clip with its labels."""
    from synthetic_audio import Spec, draw, draw_sound, render, sprinkle
    from synthetic_audio.draw import draw_phone
    from synthetic_audio.machines import draw_physics
    from synthetic_audio.stop_scenes import FAMILIES as STOP_FAMILIES
    from synthetic_audio.stop_scenes import draw_stop

    rng = np.random.default_rng([recipe.seed, job.seed])
    split = "outer" if job.outer else "train"
    if job.stop:
        family = next(f for f in STOP_FAMILIES if f.name == job.stop)
        spec: Spec = draw_stop(family, job.seed, not job.twin, split)[0]
    elif job.sound:
        spec = draw_sound(job.seed, job.sound, split=split)
    elif job.family:
        spec = draw(job.seed, family=job.family, split=split, background="none" if job.recordings else None)
    else:
        spec = draw(job.seed, family="no_machine", split="train", background="none")
        spec = replace(spec, events=(), phone=draw_phone(rng, draw_physics(rng, "train")))
    backdrop: Backdrop | None = None
    unsure: tuple[Placed, ...] = ()
    if job.recordings:
        alone = not job.family
        backdrop, unsure, length_s = _backdrop(job.recordings, spec.duration_s, rng, alone)
        spec = replace(spec, duration_s=length_s) if alone else spec
    if rng.random() < recipe.sprinkled_share:
        spec = sprinkle(spec, rng)
    if job.far and spec.room is not None:
        room = {"rt60_s": rng.uniform(*_FAR_RT60_S), "distance_m": rng.uniform(*_FAR_M)}
        spec = replace(spec, room={**spec.room, **{name: round(value, 3) for name, value in room.items()}})
    scene = render(spec, backdrop)
    samples = _bent(scene.samples, scene.rate_hz, rng) if rng.random() < recipe.bent_share else scene.samples
    spans = [
        # What the phone took away may still be heard at its beginning, or not.
        Span(label.sound, label.onset_s, label.offset_s, label.snr_db, label.sound in scene.hidden)
        for label in scene.labels
    ]
    spans += [Span(word, onset, offset, unsure=True) for word, onset, offset in unsure]
    # Clips of one recording stay together when the model is calibrated.
    group = (
        job.seed if job.family or job.sound or job.stop else zlib.crc32(job.recordings[0].path.name.encode())
    )
    return LabelledClip(samples, scene.rate_hz, spans, group)


def clip_rows(job: Job, recipe: Recipe) -> PartRows:
    """Render and describe one training clip."""
    return rows_of(clip_of(job, recipe), recipe)


def _backdrop(
    recordings: Sequence[Recording], duration_s: float, rng: np.random.Generator, alone: bool
) -> tuple[Backdrop, tuple[Placed, ...], float]:
    """Return (backdrop, unsure spans, length in s): recordings in a row, faded into each other."""
    import soundfile
    import soxr

    from synthetic_audio import RATE_HZ, Backdrop

    out = np.zeros(0 if alone else round(duration_s * RATE_HZ), np.float32)
    sure: list[Placed] = []
    unsure: list[Placed] = []
    at = 0
    for recording in recordings:
        samples, rate_hz = soundfile.read(recording.path, dtype="float32", always_2d=True)
        samples = soxr.resample(samples.mean(axis=1), rate_hz, RATE_HZ).astype(np.float32)
        level_db = rng.uniform(*(_ALONE_DB if alone else _BEHIND_DB))
        samples *= np.float32(10 ** (level_db / 20) / (np.sqrt(np.mean(samples**2)) + 1e-9))
        if alone:
            out = np.pad(samples, (0, max(0, RATE_HZ - len(samples))))
        else:
            fade = min(round(_FADE_S * RATE_HZ), len(samples) // 2)
            ramp = np.sin(np.linspace(0, np.pi / 2, fade, dtype=np.float32))
            samples[:fade] *= ramp
            samples[len(samples) - fade :] *= ramp[::-1]
            samples = samples[: len(out) - at]
            out[at : at + len(samples)] += samples
        for onset_s, offset_s in audible_spans(samples, RATE_HZ):
            for word in recording.words:
                kept = unsure if word.endswith(UNSURE) else sure
                kept.append((word.removesuffix(UNSURE), onset_s + at / RATE_HZ, offset_s + at / RATE_HZ))
        at += max(1, len(samples) - round(_FADE_S * RATE_HZ))
        if alone or at >= len(out):
            break
    # What is no word of the model's own is told to be nothing by having no label.
    spans = tuple(span for span in sure if span[0] != "other")
    return Backdrop(out, spans), tuple(unsure), len(out) / RATE_HZ


def _bent(samples: np.ndarray, rate_hz: int, rng: np.random.Generator) -> np.ndarray:
    """Colour a clip by a smooth random curve, as another microphone, case or room would."""
    from scipy.signal import firwin2, oaconvolve

    nodes_hz = np.array([100.0, 300.0, 900.0, 2700.0, 8000.0])
    gains_db = rng.normal(0.0, _BEND_DB, len(nodes_hz))
    grid_hz = np.geomspace(50.0, rate_hz / 2, 40)
    curve_db = np.interp(np.log(grid_hz), np.log(nodes_hz), gains_db)
    gains = 10 ** (np.concatenate([curve_db[:1], curve_db]) / 20)
    fir = firwin2(511, np.concatenate([[0.0], grid_hz]), gains, fs=rate_hz)
    bent = oaconvolve(samples, fir, mode="same")
    peak = float(np.max(np.abs(bent), initial=0.0))
    return (bent * min(1.0, 0.99 / max(peak, 1e-9))).astype(np.float32)


def train_on_scenes(
    recipe_path: Path,
    out: Path,
    echo: Callable[[str], object],
    n_jobs: int = -1,
    recordings_folder: Path | None = None,
) -> Path:
    """Render the recipe's clips on all cores, fit the model and write it to `out`."""
    from joblib import Parallel, delayed

    from synthetic_audio import FAMILIES

    recipe = load_recipe(recipe_path)
    recordings: list[Recording] = []
    if recordings_folder is not None and recipe.recordings is not None:
        recordings = read_recordings(recordings_folder, recipe.recordings)
    jobs = plan(recipe, tuple(FAMILIES), recordings)
    echo(f"Rendering and describing {len(jobs)} clips.")
    rows = []
    results = Parallel(n_jobs=n_jobs, return_as="generator", batch_size=4)(
        delayed(clip_rows)(job, recipe) for job in jobs
    )
    for done, part in enumerate(results, start=1):
        rows.append(part)
        if done % 100 == 0:
            echo(f"{done} of {len(jobs)}")
    return train_model(
        stack_parts(rows), recipe, out, trained_on=trained_on(jobs, recordings), echo=echo, n_jobs=n_jobs,
    )  # fmt: skip


def trained_on(jobs: Sequence[Job], recordings: Sequence[Recording]) -> str:
    """Say in one sentence what a model learned on."""
    behind = f", {len(recordings)} real recordings among and behind them" if recordings else ""
    return (
        f"{len(jobs)} clips of synthesised sounds of invented machines{behind}; "
        "no real machine has been heard yet"
    )
