"""Make the clips of a set and hear them, on two processes."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

from listen.errors import ListenError, UnreadableClip
from listen.learn.score.truth import Heard, HeardFinding, Pair, TruthClip

PROCESSES = 2
#: Forms that no browser plays: such a miss is written decoded.
UNPLAYED = (".amr",)


@cache
def _worker() -> Any:
    from listen.decode import DecodeWorker

    return DecodeWorker()


def hear_clip(clip: TruthClip, model_folder: str | None) -> Heard:
    """Hear a clip with the story, machine and gauges that belong to it."""
    from listen.bench.machine import machine_from
    from listen.pipeline import hear
    from listen.types import StoryMark

    if clip.audio is None:
        raise UnreadableClip(f"{clip.name} has no sound: make it again.")
    report = hear(
        clip.audio, name=clip.name, machine=machine_from(dict(clip.machine)) if clip.machine else None,
        marks=[StoryMark(at_s, word) for at_s, word in clip.story], gauges=dict(clip.gauges), worker=_worker(),
        model_folder=model_folder,
    )  # fmt: skip
    # Measures are of no use here, and their read-only mapping does not travel between processes.
    events = [replace(event, measures={}) for event in report.events]
    findings = [HeardFinding(f.code, f.level, bool(f.event_ids)) for f in report.findings]
    return Heard(events, report.verdict, report.level, findings, report.mains.measured_hz)


def make_and_hear(
    make: Callable[..., TruthClip], entry: Mapping[str, Any], extra: Sequence[Any], model_folder: str | None
) -> Pair | str:
    """Make one clip and hear it; the sound itself is dropped. A sentence where it cannot be heard."""
    clip = make(entry, *extra)
    try:
        heard = hear_clip(clip, model_folder)
    except ListenError as error:
        # Also a machine or a story that the bench refuses: one bad clip must not cost the whole run.
        return f"{clip.name}: {error}"
    return replace(clip, audio=None), heard


def hear_set(
    make: Callable[..., TruthClip],
    entries: Sequence[Mapping[str, Any]],
    extra: Sequence[Any],
    model_folder: str | None,
    echo: Callable[[str], object],
) -> tuple[list[Pair], list[int], list[str]]:
    """Hear a whole set.

    Returns
    -------
    pairs : list of (TruthClip, Heard)
    places : list of int
        The entry that each pair was made from.
    unheard : list of str
        One sentence for each clip that could not be heard.
    """
    from joblib import Parallel, delayed

    results = Parallel(n_jobs=PROCESSES, return_as="generator", batch_size=2)(
        delayed(make_and_hear)(make, entry, extra, model_folder) for entry in entries
    )
    pairs: list[Pair] = []
    places: list[int] = []
    unheard: list[str] = []
    for place, result in enumerate(results):
        if isinstance(result, str):
            unheard.append(result)
        else:
            pairs.append(result)
            places.append(place)
        if (place + 1) % 50 == 0:
            echo(f"  {place + 1} of {len(entries)}")
    return pairs, places, unheard


def write_misses(
    sheet: Mapping[str, Any], make: Callable[..., TruthClip], entries: Sequence[Mapping[str, Any]], places: Sequence[int],
    extra: Sequence[Any], folder: Path, name: str,
) -> None:  # fmt: skip
    """Make the clips of the worst misses again and write them, playable, into `folder`/clips.

    Each miss in the sheet gets `file`, relative to `folder`.
    """
    made: dict[int, str] = {}
    for miss in sheet["misses"]:
        place = places[miss["place"]]
        if place not in made:
            made[place] = _write_clip(make(entries[place], *extra), folder / "clips", f"{name}-{place:03d}")
        miss["file"] = f"clips/{made[place]}"


def _write_clip(clip: TruthClip, folder: Path, stem: str) -> str:
    import io

    import soundfile

    folder.mkdir(parents=True, exist_ok=True)
    if isinstance(clip.audio, Path) and clip.audio.suffix in UNPLAYED:
        from listen.decode import read_clip

        opened = read_clip(clip.audio)
        soundfile.write(folder / f"{stem}.flac", opened.samples, opened.rate_hz, subtype="PCM_16")
        return f"{stem}.flac"
    if isinstance(clip.audio, Path):
        target = folder / f"{stem}{clip.audio.suffix}"
        target.write_bytes(clip.audio.read_bytes())
        return target.name
    samples, rate_hz = soundfile.read(io.BytesIO(clip.audio or b""), dtype="int16")
    soundfile.write(folder / f"{stem}.flac", samples, rate_hz, subtype="PCM_16")
    return f"{stem}.flac"
