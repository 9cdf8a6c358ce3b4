"""Write a model bundle: arrays, manifest with hashes, and nothing that runs."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from pathlib import Path
from typing import Any

import numpy as np

from listen.ear.bundle import FORMAT, HEAD_FEATURES, Head, load_bundle


def write_bundle(
    folder: str | Path, heads: dict[str, Head], *, version: str, trained_on: str, facts: dict[str, Any]
) -> Path:
    """Write `manifest.json` and `arrays.npz` and read them back.

    Parameters
    ----------
    folder : path
        Made if missing; files of an older model in it are replaced.
    heads : dict
        "textures", "onsets" and, if trained, "starts".
    facts : dict
        JSON-able notes on the training, stored as they are.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    arrays: dict[str, np.ndarray] = {}
    described = {}
    for name, head in heads.items():
        arrays |= {
            f"{name}.mean": head.mean,
            f"{name}.scale": head.scale,
            f"{name}.slope": head.slope,
            f"{name}.offset": head.offset,
        }
        arrays |= {f"{name}.w{i}": w for i, w in enumerate(head.weights)} | {
            f"{name}.b{i}": b for i, b in enumerate(head.biases)
        }
        described[name] = {
            "labels": list(head.labels),
            "layers": len(head.weights),
            "features": list(HEAD_FEATURES[name]),
        }
    data = _npz(arrays)
    manifest = {
        "format": FORMAT, "version": version, "trained_on": trained_on, "sha256": hashlib.sha256(data).hexdigest(),
        "heads": described, "arrays": {name: list(a.shape) for name, a in sorted(arrays.items())}, "facts": facts,
    }  # fmt: skip
    for name, content in (
        ("arrays.npz", data),
        ("manifest.json", json.dumps(manifest, indent=1).encode() + b"\n"),
    ):
        part = folder / f".{name}.part"
        part.write_bytes(content)
        part.replace(folder / name)
    load_bundle(folder)
    return folder


def _npz(arrays: dict[str, np.ndarray]) -> bytes:
    """As numpy's savez, with fixed dates: the same arrays give the same bytes.

    Values are rounded to single precision, which nothing hears and which packs into half the size.
    """
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in sorted(arrays):
            buffer = io.BytesIO()
            np.lib.format.write_array(
                buffer, np.ascontiguousarray(arrays[name], np.float32).astype(np.float64), allow_pickle=False
            )
            archive.writestr(
                zipfile.ZipInfo(f"{name}.npy", (2000, 1, 1, 0, 0, 0)), buffer.getvalue(), zipfile.ZIP_DEFLATED
            )
    return out.getvalue()
