"""Write a scene to disk: sound as WAV, truth as JSON beside it."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

import soundfile

from synthetic_audio.render import Scene


def truth(scene: Scene) -> dict[str, Any]:
    """Return all that is known of a scene, as JSON data."""
    return {
        "truth": "synthetic-scene/1",
        "family": scene.family,
        "verdict": scene.verdict,
        "carries": scene.carries,
        "rate_hz": scene.rate_hz,
        "mains_hz": scene.mains_hz,
        "machine": scene.machine,
        "gauges": scene.gauges,
        "story": [list(s) for s in scene.story],
        "labels": [asdict(x) for x in scene.labels],
        "deciding": [asdict(x) for x in scene.deciding],
        "hidden": list(scene.hidden),
        "spec": scene.spec.to_dict(),
    }


def write(scene: Scene, folder: str | Path, name: str) -> Path:
    """Write `name`.wav (16 bit) and `name`.json into a folder, made if needed; return the WAV's path."""
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{name}.wav"
    soundfile.write(path, scene.samples, scene.rate_hz, subtype="PCM_16")
    (folder / f"{name}.json").write_text(
        json.dumps(truth(scene), indent=1, sort_keys=True) + "\n", encoding="utf-8"
    )
    return path
