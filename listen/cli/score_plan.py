"""What each set is made of, and how it is run; a set that is not there says why."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from listen.cli.score_hear import hear_set, write_misses
from listen.cli.score_mixed import mixed_clip, mixed_entries
from listen.cli.score_real import clips_folder, real_clip, real_entries
from listen.cli.score_sets import (
    ABOUT,
    SHORT_OTHERS,
    SHORT_SCENES,
    every_nth,
    load_pinned,
    phone_clip,
    render_entry,
)
from listen.learn.score.sheet import missing_set, score_set
from listen.learn.score.truth import TruthClip
from listen.resources import shipped


@dataclass(frozen=True, slots=True)
class Part:
    """One set to run: entries, how to make a clip of one, and what identifies the set; or why it cannot be."""

    name: str
    entries: Sequence[Mapping[str, Any]] = ()
    make: Callable[..., TruthClip] = render_entry
    extra: tuple[Any, ...] = ()
    facts: Mapping[str, Any] | None = None
    missing: str = ""


def generator_hash(package: str) -> str:
    """Return one hash over the sources of a generator, so that a sheet tells which one made its clips."""
    spec = find_spec(package)
    root = Path(str(spec.origin)).parent if spec is not None else Path()
    digest = hashlib.sha256()
    for path in sorted(
        p for p in root.rglob("*") if p.suffix in (".py", ".toml") and "__pycache__" not in p.parts
    ):
        if package == "synthetic_audio" and path.is_relative_to(root / "second"):
            continue
        digest.update(path.relative_to(root).as_posix().encode() + b"\0" + path.read_bytes() + b"\0")
    return digest.hexdigest()


def heads_of(model: Path | None) -> dict[str, Any]:
    """Return what a model card says of a model's make: its heads, and the size of its arrays in bytes."""
    folder = model if model is not None else shipped("models") / "ear"
    table = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
    heads = {
        name: {key: head[key] for key in ("layers", "labels", "features")}
        for name, head in table["heads"].items()
    }
    return {"heads": heads, "bytes": (folder / "arrays.npz").stat().st_size}


def parts_of(name: str, truth: Path, clips: Path | None, short: bool) -> list[Part]:
    """Return what a set consists of."""
    if name == "real":
        return _real(clips, short)
    path = truth / f"{name}.json"
    if name == "second" and find_spec("synthetic_audio.second") is None:
        return [Part(name, missing="the second generator is not installed")]
    if not path.is_file():
        return [Part(name, missing=f"its list {path.name} is not there")]
    entries, sha256 = load_pinned(path, "clips" if name == "phones" else "scenes")
    facts = {"list_sha256": sha256, "listed": len(entries)}
    if short:
        entries = every_nth(entries, SHORT_SCENES if name == "scenes" else SHORT_OTHERS)
    if name == "phones":
        return [Part(name, entries, phone_clip, (truth,), facts)]
    package = "synthetic_audio.second" if name == "second" else "synthetic_audio"
    extra = (clips_folder(clips),) if name == "second" else ()
    return [Part(name, entries, render_entry, extra, facts | {"generator_sha256": generator_hash(package)})]


def _real(clips: Path | None, short: bool) -> list[Part]:
    folder = clips_folder(clips)
    if folder is None:
        return [Part("real", missing="there is no folder of recordings: name it in LISTEN_CLIPS")]
    listed = real_entries(folder)
    made = mixed_entries(folder, listed["real"])
    synthesiser = {"generator_sha256": generator_hash("synthetic_audio")}

    def part(
        name: str, entries: Sequence[Mapping[str, Any]], make: Callable[..., TruthClip], **facts: str
    ) -> Part:
        kept = every_nth(entries, SHORT_OTHERS) if short else entries
        return Part(name, kept, make, (folder,), {"listed": len(entries), **facts})

    return [
        part("real", listed["real"], real_clip),
        part("mixed", made, mixed_clip, **synthesiser),
        part("stand_ins", listed["stand_ins"], real_clip),
    ]


def score_part(
    part: Part, model_folder: str | None, out: Path, echo: Callable[[str], object]
) -> dict[str, Any]:
    """Hear and score one set, and write the clips of its worst misses."""
    about = ABOUT[part.name]
    if part.missing:
        echo(f"{part.name}: not scored, {part.missing}")
        return missing_set(about, part.missing)
    echo(f"{part.name}: {len(part.entries)} clips")
    pairs, places, unheard = hear_set(part.make, part.entries, part.extra, model_folder, echo)
    if not pairs:
        return missing_set(about, "none of its clips could be heard")
    facts = {**(part.facts or {}), "unheard": unheard}
    corpora = sorted({str(clip.how["corpus"]) for clip, _ in pairs if clip.how.get("corpus")})
    if corpora:
        facts["corpora"] = corpora
    sheet = score_set(pairs, about=about, facts=facts)
    write_misses(sheet, part.make, part.entries, places, part.extra, out, part.name)
    return sheet


def score_realness(clips: Path | None, echo: Callable[[str], object]) -> dict[str, Any] | None:
    """Set synthetic sounds beside the train fold's real ones; None without a folder."""
    from listen.cli.score_realness import compare_all

    folder = clips_folder(clips)
    return compare_all(folder, echo) if folder is not None else None
