"""Where grains are cut from: recorded textures where a folder is given, else noise from machines of arithmetic.

A folder holds `MANIFEST.csv` (columns path, sounds, nearest, fold, recording, licence, attribution). Only rows
of the fold `train` under a licence that allows re-use are opened; what is used is credited.
"""

from __future__ import annotations

import csv
import hashlib
import os
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
import scipy.fft
import soundfile
import soxr
from scipy.ndimage import median_filter

from synthetic_audio.second.arithmetic import cellular, chaotic, self_modulated
from synthetic_audio.second.spec import RATE_HZ

ENVIRONMENT = "LISTEN_CLIPS"
BUILT_IN = "built_in"
#: Beginnings of licence names that allow what is done here; anything share-alike or copyleft stays out.
LICENCES: tuple[str, ...] = ("apache-2.0", "cc-by-4.0", "cc-by-3.0", "cc0", "public domain")
#: What a row must be heard as to serve as noise, as knocks and as voices.
ROLES: dict[str, frozenset[str]] = {
    "noise": frozenset({"hiss", "water_flow"}),
    "voice": frozenset({"speech"}),
    "knocks": frozenset({"clatter"}),
}
_FRAME = 2048
#: Frames with a line this far over their neighbours, or this far under the loudest, are not cut from.
_LINE_DB, _QUIET_DB = 16.0, 30.0


@dataclass(frozen=True, slots=True)
class Texture:
    """One recording: its wave at `RATE_HZ`, shape (n,), and the samples where a noise grain may begin."""

    name: str
    wave: np.ndarray
    starts: np.ndarray
    credit: str


@dataclass(frozen=True, slots=True)
class Corpus:
    """Textures by role; `name` tells which corpus it is, to the byte for recorded ones."""

    name: str
    noise: tuple[Texture, ...]
    voice: tuple[Texture, ...] = ()
    knocks: tuple[Texture, ...] = ()


def built_in() -> Corpus:
    """Return the corpus that needs no folder."""
    return _built_in()


def find(folder: str | Path | None = None) -> Corpus:
    """Return the corpus of a folder, or of the folder that `LISTEN_CLIPS` names, or the built-in one.

    Raises
    ------
    FileNotFoundError
        If a folder is named that has no MANIFEST.csv.
    ValueError
        If it holds no noise texture that may be used.
    """
    folder = folder or os.environ.get(ENVIRONMENT)
    return recorded(Path(folder)) if folder else built_in()


def allowed(row: dict[str, str]) -> bool:
    """Return whether a row of the manifest may be cut up: training fold, licence on the list."""
    licence = row["licence"].strip().lower()
    if (
        row["fold"].strip() != "train"
        or "gpl" in licence
        or "-sa" in licence
        or "-nc" in licence
        or "-nd" in licence
    ):
        return False
    return licence.startswith(LICENCES)


def recorded(folder: Path) -> Corpus:
    """Return the textures of a folder's manifest that may be cut up (see :func:`find`)."""
    manifest = folder / "MANIFEST.csv"
    if not manifest.is_file():
        raise FileNotFoundError(
            f"No MANIFEST.csv in {folder}. Name a folder with one, or unset {ENVIRONMENT} to use the built-in corpus."
        )
    return _recorded(str(folder.resolve()), hashlib.sha256(manifest.read_bytes()).hexdigest())


@lru_cache(maxsize=2)
def _recorded(folder: str, _manifest: str) -> Corpus:
    found: dict[str, list[Texture]] = {role: [] for role in ROLES}
    digest = hashlib.sha256()
    with (Path(folder) / "MANIFEST.csv").open(encoding="utf-8", newline="") as lines:
        rows = sorted((row for row in csv.DictReader(lines) if allowed(row)), key=lambda row: row["path"])
    for row in rows:
        heard = {word.strip() for word in row["sounds"].split(";")}
        role = next((name for name, words in ROLES.items() if heard & words), None)
        path = Path(folder) / row["path"]
        if role is None or not path.is_file():
            continue
        wave = _read(path)
        starts = _beginnings(wave)
        if role == "noise" and starts.size < RATE_HZ // _FRAME:
            continue
        digest.update(row["path"].encode() + hashlib.sha256(path.read_bytes()).digest())
        found[role].append(Texture(row["path"], wave, starts, _credit(row)))
    if not found["noise"]:
        raise ValueError(
            f"{folder} holds no noise of the fold train that may be cut up. Use the built-in corpus."
        )
    return Corpus(
        f"recorded-{digest.hexdigest()[:12]}",
        tuple(found["noise"]),
        tuple(found["voice"]),
        tuple(found["knocks"]),
    )


def _credit(row: dict[str, str]) -> str:
    return f"{row.get('attribution', '').strip()} ({row['licence'].strip()})"


def _read(path: Path) -> np.ndarray:
    wave, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
    wave = soxr.resample(wave.mean(axis=1), rate_hz, RATE_HZ, quality="HQ").astype(np.float32)
    return wave / max(float(np.abs(wave).max()), 1e-9)


def _beginnings(wave: np.ndarray) -> np.ndarray:
    """Return the starts of frames that are loud enough and without a line, shape (k,)."""
    n = wave.size // _FRAME
    if n == 0:
        return np.zeros(0, int)
    frames = wave[: n * _FRAME].reshape(n, _FRAME) * np.hanning(_FRAME)
    level = 10 * np.log10(np.abs(scipy.fft.rfft(frames, axis=1)) ** 2 + 1e-12)
    power_db = 10 * np.log10((frames**2).mean(axis=1) + 1e-12)
    line_db = (level - median_filter(level, (1, 41)))[:, 12:].max(axis=1)
    return np.flatnonzero((line_db < _LINE_DB) & (power_db > power_db.max() - _QUIET_DB)) * _FRAME


@lru_cache(maxsize=1)
def _built_in() -> Corpus:
    rng = np.random.default_rng(20_260)
    n = 4 * RATE_HZ
    waves = {
        "chaotic": chaotic(n, rng),
        "self-modulated": self_modulated(n, rng),
        "cellular": cellular(n, rng),
    }
    starts = np.arange(n // _FRAME) * _FRAME
    return Corpus(BUILT_IN, tuple(Texture(name, wave, starts, "") for name, wave in waves.items()))
