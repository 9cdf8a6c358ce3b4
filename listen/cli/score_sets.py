"""The sets that `listen score` runs: pinned lists, and clips made from them.

Here, and nowhere in the scorer, the synthesiser, the recordings and the scorer meet.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from listen.errors import BadParameter
from listen.learn.score.truth import TruthClip, TruthLabel

ABOUT = {
    "scenes": "pinned scenes of the synthesiser's held-out split; never accuracy on machines",
    "second": "scenes of a second, differently built generator; never accuracy on machines",
    "phones": "scenes played through a real browser's microphone path and real codecs; never accuracy on machines",
    "real": "real recordings (test fold) of what surrounds a machine: real, proxy; labels hold for a clip as a whole",
    "mixed": "synthesised faults 10 dB over a real recording (test fold) of what surrounds a machine: real, proxy; never accuracy on machines",
    "stand_ins": "real recordings (test fold) of what resembles a machine's sound: real, proxy; never accuracy on machines",
}
SHORT_SCENES, SHORT_OTHERS = 60, 12


def list_hash(entries: Sequence[Mapping[str, Any]]) -> str:
    """Return the SHA-256 of a list as canonical JSON (sorted keys, no blanks)."""
    text = json.dumps(list(entries), sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def truth_folder(given: Path | None) -> Path:
    """Return the folder of pinned lists: the given one, or the checkout's.

    Raises
    ------
    BadParameter
        When there is none.
    """
    import listen

    folder = given or Path(listen.__file__).resolve().parents[1] / "tests" / "truth"
    if not (folder / "scenes.json").is_file():
        raise BadParameter(
            f"There are no pinned scenes in {folder.name!r}: run from a checkout of the project, or name the folder with --truth."
        )
    return folder


def load_pinned(path: Path, key: str = "scenes") -> tuple[list[dict[str, Any]], str]:
    """Read a pinned list and check its hash.

    Returns
    -------
    entries : list of dict
    sha256 : str

    Raises
    ------
    BadParameter
        Not readable, or not the list that was pinned.
    """
    try:
        table = json.loads(path.read_text(encoding="utf-8"))
        entries, pinned = table[key], table["sha256"]
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise BadParameter(
            f"The pinned list {path.name!r} cannot be read ({error}): fetch it again."
        ) from error
    if list_hash(entries) != pinned:
        raise BadParameter(
            f"The pinned list {path.name!r} was altered: its hash does not match. Fetch it again, or pin a new list."
        )
    return entries, pinned


def every_nth(entries: Sequence[Any], about: int) -> list[Any]:
    """Take every n-th entry, so that about so many remain."""
    return list(entries[:: max(1, round(len(entries) / about))])


def labels_of(labels: Iterable[Any], erased: Sequence[str] = ()) -> list[TruthLabel]:
    """Turn a generator's labels into the scorer's."""
    return [
        TruthLabel(
            x.sound, x.onset_s, x.offset_s, x.snr_db, getattr(x, "source", "machine"), getattr(x, "passed_share", 1.0),
            erased=x.sound in erased,
        )
        for x in labels
        if not getattr(x, "absent", False)
    ]  # fmt: skip


def wav(samples: np.ndarray, rate_hz: int) -> bytes:
    """Return samples as a 16-bit WAV file."""
    import io

    import soundfile

    data = io.BytesIO()
    soundfile.write(data, samples, rate_hz, format="WAV", subtype="PCM_16")
    return data.getvalue()


def render_entry(entry: Mapping[str, Any], grains: Path | None = None) -> TruthClip:
    """Draw and render one entry of a pinned list; the second generator cuts grains from recordings in `grains`."""
    what, seed, background = entry["what"], entry["seed"], entry["background"]
    if entry["kind"] == "second":
        from synthetic_audio import second

        spec = second.draw(seed, family=what)
        if entry.get("digest") not in (None, spec.digest()):
            raise BadParameter(
                f"The second generator draws another scene for {what} {seed} than the one that was pinned: "
                "pin a new list, and set its figures beside no older ones."
            )
        scene: Any = second.render(spec, second.find(grains))
    else:
        from synthetic_audio import draw, draw_sound, render

        alone = entry["kind"] == "sound"
        scene = render(
            draw_sound(seed, what, split="held_out", background=background)
            if alone
            else draw(seed, family=what, split="held_out", background=background)
        )
    name = f"{entry['kind']}-{what}-{seed}" + (f"-{background}" if background else "")
    return TruthClip(
        name=name, group=name, duration_s=len(scene.samples) / scene.rate_hz,
        labels=labels_of(scene.labels, getattr(scene, "hidden", ())), family=scene.family if entry["kind"] != "sound" else f"sound:{what}",
        verdict=None if entry["kind"] == "sound" else scene.verdict, carries=scene.carries,
        audio=wav(scene.samples, scene.rate_hz), story=[(float(t), str(w)) for t, w in scene.story],
        machine=None if entry["kind"] == "sound" else scene.machine, gauges=scene.gauges if entry["kind"] != "sound" else {},
        how={**entry, "corpus": getattr(scene, "corpus", "")}, credit="; ".join(getattr(scene, "credits", ())), mains_hz=scene.mains_hz,
    )  # fmt: skip


def phone_clip(entry: Mapping[str, Any], folder: Path) -> TruthClip:
    """Return a clip of the phone set, its file as it is."""
    path = folder / entry["file"]
    if not path.is_file():
        raise BadParameter(f"The phone set lacks its file {entry['file']!r}: fetch it again.")
    data = path.read_bytes()
    if hashlib.sha256(data).hexdigest() != entry["sha256"]:
        raise BadParameter(f"The phone set's file {entry['file']!r} was altered: fetch it again.")
    labels = [
        TruthLabel(
            x["sound"], x["onset_s"], x["offset_s"], x["snr_db"], x.get("source", "machine"), x.get("passed_share", 1.0),
            erased=bool(x.get("erased", False)) or x["sound"] in entry.get("hidden", ()),
        )
        for x in entry["labels"]
        if not x.get("absent", False)
    ]  # fmt: skip
    end_s = max((x.offset_s for x in labels), default=1.0)
    return TruthClip(
        name=Path(entry["file"]).name, group=f"{entry['family']}-{entry['seed']}", duration_s=float(entry.get("duration_s", end_s)),
        labels=labels, family=entry["family"], verdict=entry["verdict"], carries=bool(entry["carries"]), audio=path,
        story=[(float(t), str(w)) for t, w in entry["story"]], machine=entry["machine"], gauges=entry["gauges"],
        how={"chain": entry.get("chain"), "codec": entry.get("codec")}, mains_hz=entry.get("mains_hz"),
    )  # fmt: skip
