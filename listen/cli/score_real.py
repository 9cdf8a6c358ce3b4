"""Real recordings for `listen score`: a folder with manifests, none of it an espresso machine.

Clips of the test fold are scored; only the train fold may be set beside
synthetic sounds. Labels hold for a whole clip. What merely resembles a
machine's sound (`nearest`) is a set of its own.
"""

from __future__ import annotations

import csv
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from listen.cli.score_sets import wav
from listen.errors import BadParameter
from listen.learn.score.truth import TruthClip, TruthLabel
from listen.vocabulary import SOUNDS

#: The manifests' words for the ear's.
WORDS = {"boiling": "boil", "release": "burst"}
#: What a stand-in resembles, and what it may be heard as besides.
NEAREST = {
    "coil_buzz": ("mains_buzz", ("mains_hum", "motor_run", "fan")),
    "rotary_pump": ("motor_run", ("mains_hum", "mains_buzz", "fan", "water_flow")),
    "stalled_motor_hum": ("mains_hum", ("mains_buzz", "motor_run", "grinder")),
}
#: What a class of the public set may be heard as besides `other`, for it is so.
_MAY = {
    "clock_tick": ("click", "click_train", "drip"), "crackling_fire": ("click", "gravel", "rattle"),
    "rain": ("water_flow", "hiss", "drip"), "sea_waves": ("water_flow", "hiss"), "chainsaw": ("motor_run", "grinder"),
    "helicopter": ("motor_run", "fan"), "baby_cry": ("speech",), "sneeze": ("speech", "burst"), "person_sneeze": ("speech", "burst"),
    "rooster": ("honk", "squeal"), "dog": ("thump", "honk"),
}  # fmt: skip
_ENV_CREDIT = "ESC-10, K. J. Piczak (2015), CC BY 3.0; credits of each clip in the set's own README"
_ENV_TEST = ("3", "4", "5")
#: Kinds of stand-ins whose sound is locked to the mains, and that mains: 50 Hz by their sources' places,
#: with one recording whose own series of lines is that of 60 Hz.
_LOCKED_KINDS, _LOCKED_HZ, _SIXTY = ("microwave_hum", "motor_loaded"), 50.0, "6-83703"
#: Shorter clips are set into quiet, so that they can be heard at all.
_LEAST_S, _QUIET_DBFS = 1.0, -75.0


def clips_folder(given: Path | None = None) -> Path | None:
    """Return the folder of real recordings: given, LISTEN_CLIPS, or beside the checkout; None if there is none."""
    import listen

    beside = Path(listen.__file__).resolve().parents[2] / "shared" / "clips"
    for candidate in (given, os.environ.get("LISTEN_CLIPS"), beside):
        if candidate and (Path(candidate) / "MANIFEST.csv").is_file():
            return Path(candidate)
    if given is not None:
        raise BadParameter(
            f"There is no MANIFEST.csv in {given.name!r}: name a folder of recordings with one."
        )
    return None


def read_rows(folder: Path, fold: str) -> list[dict[str, str]]:
    """Return the manifest's rows of one fold."""
    with (folder / "MANIFEST.csv").open(encoding="utf-8") as file:
        return [row for row in csv.DictReader(file) if row["fold"] == fold]


def real_entries(folder: Path) -> dict[str, list[dict[str, Any]]]:
    """List the test clips: `real`, and `stand_ins` for what resembles a machine's sound."""
    real, stand_ins = [], []
    for row in read_rows(folder, "test"):
        wanted = [WORDS.get(word, word) for word in row["sounds"].split(";")]
        entry = {
            "path": row["path"],
            "recording": row["recording"],
            "sounds": [w for w in wanted if w in SOUNDS],
            "may": [],
            "credit": f"{row.get('attribution') or 'unknown'} ({row.get('licence') or 'no licence given'})",
        }
        near = NEAREST.get(row["nearest"].split(" ")[0])
        if near is None:
            real.append(entry | {"may": ["other"]})
            continue
        kind = row["path"].split("/")[1]
        hz = 60.0 if _SIXTY in row["path"] else _LOCKED_HZ
        stand_ins.append(
            entry
            | {"sounds": [near[0]], "may": [*near[1], *entry["sounds"]]}
            | ({"mains_hz": hz} if kind in _LOCKED_KINDS else {})
        )
    env = folder / "env10.csv"
    if env.is_file():
        with env.open(encoding="utf-8") as file:
            real += [
                {"path": r["path"], "recording": f"env/{r['recording']}", "sounds": ["other"], "may": list(_MAY.get(r["label"], ())), "credit": _ENV_CREDIT}
                for r in csv.DictReader(file)
                if r["fold"] in _ENV_TEST
            ]  # fmt: skip
    return {"real": real, "stand_ins": stand_ins}


def read_mono(path: Path) -> tuple[np.ndarray, int]:
    """Return a recording as mono samples [shape=(n,)] and its rate in Hz."""
    import soundfile

    samples, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
    return samples.mean(axis=1), int(rate_hz)


def set_in_quiet(samples: np.ndarray, rate_hz: int) -> np.ndarray:
    """Set a clip of under a second into quiet noise, so that it begins half a second in."""
    if len(samples) >= _LEAST_S * rate_hz:
        return samples
    rng = np.random.default_rng(len(samples))
    n = int(2 * _LEAST_S * rate_hz)
    out = rng.standard_normal(n).astype(np.float32) * np.float32(10 ** (_QUIET_DBFS / 20))
    out[rate_hz // 2 : rate_hz // 2 + len(samples)] += samples
    return out


def real_clip(entry: Mapping[str, Any], folder: Path) -> TruthClip:
    """Return a real recording with the words that hold for it as a whole."""
    samples, rate_hz = read_mono(folder / entry["path"])
    samples = set_in_quiet(samples, rate_hz)
    length_s = len(samples) / rate_hz
    labels = [TruthLabel(word, 0.0, length_s) for word in entry["sounds"]]
    labels += [TruthLabel(w, 0.0, length_s, erased=True) for w in entry["may"] if w not in entry["sounds"]]
    return TruthClip(
        name=Path(entry["path"]).name, group=entry["recording"], duration_s=length_s, labels=labels,
        family=entry["path"].split("/")[1], verdict="cannot_tell", weak=True, audio=wav(samples, rate_hz), how=dict(entry), credit=entry["credit"],
        mains_hz=entry.get("mains_hz"),
    )  # fmt: skip
