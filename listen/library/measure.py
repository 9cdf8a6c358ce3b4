"""Hear a clip once for keeping: a FLAC for playing, and the ear's own measurements, small enough to keep.

Conventions
-----------
A *stretch* is about 8 s; its row is the mean and the spread of every texture
measurement in it. *Traces* are the third-octave levels of each 64 ms, kept to
half a dB: what twins and baselines are compared by. Both hold no words that
could be understood.
"""

from __future__ import annotations

import hashlib
import secrets
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from listen.decode import open_clip
from listen.errors import LibraryError
from listen.features.collect import BANDS_K, ClipFeatures, Collector
from listen.features.mains import comb_tracks, estimate_mains
from listen.features.names import TEXTURE_NAMES
from listen.features.textures import SEGMENT_HOP_S, segment_textures
from listen.library.vault import Staged, disk_errors, stage_file
from listen.quality import measure_quality
from listen.spectra import CELL_S
from listen.types import ClipInfo

if TYPE_CHECKING:
    from listen.decode import DecodeWorker

#: Segments of 0.256 s in one stretch.
STRETCH_N = 32
STRETCH_S = STRETCH_N * SEGMENT_HOP_S
#: Columns of a stretch's row: mean, then spread, of each texture measurement.
WIDTH = 2 * len(TEXTURE_NAMES)
#: Traces are kept for the first half hour of a clip.
MOST_CELLS = round(1800 / CELL_S)
_LOWEST_DB, _STEP_DB = -127.5, 0.5
#: Names of the measurements: rows made by other ones are measured again, never compared.
NAMES_SHA256 = hashlib.sha256("\n".join((*TEXTURE_NAMES, str(STRETCH_N), str(BANDS_K))).encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class Measured:
    """What is kept of a clip beside its bytes.

    Attributes
    ----------
    info : ClipInfo
    band_hz : (float, float)
        What the recording chain let through.
    flac : Staged or None
        The sound for playing, under a temporary name.
    stretches : np.ndarray [shape=(n, WIDTH)], float32
    traces_db : np.ndarray [shape=(cells, len(BANDS_K))], float32
    """

    info: ClipInfo
    band_hz: tuple[float, float]
    flac: Staged | None
    stretches: np.ndarray
    traces_db: np.ndarray


def measure_clip(
    path: Path, *, name: str, incoming: Path | None = None, worker: DecodeWorker | None = None
) -> Measured:
    """Decode a clip once, measure it, and write its FLAC into `incoming` when one is named.

    Raises
    ------
    UnreadableClip, UnusableClip
        As :func:`listen.hear`.
    LibraryError
        The FLAC cannot be written.
    """
    with open_clip(path, name=name, worker=worker) as clip:
        collector = Collector(clip.rate_hz)

        def watched() -> Iterator[np.ndarray]:
            for block in clip.blocks():
                collector.push(block)
                yield block

        if incoming is None:
            for _ in watched():
                pass
            flac = None
        else:
            flac = write_flac(watched(), clip.rate_hz, incoming)
        info, notes = clip.info, clip.notes
    try:
        features = collector.finish()
        band_hz = measure_quality(features, notes).band_hz
        return Measured(info, band_hz, flac, stretches_of(features), features.bands_db[:MOST_CELLS])
    except BaseException:
        if flac is not None:
            flac.path.unlink(missing_ok=True)
        raise


def write_flac(blocks: Iterator[np.ndarray], rate_hz: int, incoming: Path) -> Staged:
    """Write mono blocks (n,) float32 as 16-bit FLAC under a temporary name, and read it back.

    Raises
    ------
    LibraryError
        The disk is full or fails; nothing is left behind.
    """
    import soundfile

    with disk_errors("The copy for playing"):
        incoming.mkdir(parents=True, exist_ok=True, mode=0o700)
        path = incoming / f"{secrets.token_hex(12)}.part"
    written = 0
    try:
        with soundfile.SoundFile(path, "w", rate_hz, 1, format="FLAC", subtype="PCM_16") as out:
            for block in blocks:
                out.write(np.clip(block, -1.0, 1.0))
                written += len(block)
        # The writer does not tell of a disk that filled at the end.
        with soundfile.SoundFile(path) as back:
            found = sum(len(part) for part in back.blocks(blocksize=1 << 18, dtype="int16"))
        if found != written:
            raise LibraryError(
                "The copy for playing could not be stored: the disk is full. Free some space, then try again."
            )
        return stage_file(path)
    except soundfile.SoundFileError as error:
        path.unlink(missing_ok=True)
        raise LibraryError(
            f"The copy for playing could not be stored ({error}): the disk may be full. Free some space, then try again."
        ) from error
    except BaseException:
        path.unlink(missing_ok=True)
        raise


def stretches_of(features: ClipFeatures) -> np.ndarray:
    """Return the rows of a clip's stretches [shape=(n, WIDTH)], at least one."""
    combs = comb_tracks(features.lines, estimate_mains(features.lines))
    values = segment_textures(features, combs).values
    if not len(values):
        return np.zeros((1, WIDTH), np.float32)
    n = max(1, round(len(values) / STRETCH_N))
    parts = [values[i * STRETCH_N : (i + 1) * STRETCH_N if i + 1 < n else None] for i in range(n)]
    return np.stack([np.concatenate([p.mean(axis=0), p.std(axis=0)]) for p in parts]).astype(np.float32)


def pack_traces(traces_db: np.ndarray) -> bytes:
    """Pack levels [shape=(cells, bands)] to half a dB."""
    steps = np.clip(np.round((traces_db - _LOWEST_DB) / _STEP_DB), 0, 255).astype(np.uint8)
    return zlib.compress(steps.tobytes(), 6)


def unpack_traces(data: bytes, n_cells: int) -> np.ndarray:
    """Return levels in dB [shape=(n_cells, len(BANDS_K))], float32.

    Raises
    ------
    LibraryError
        When the stored bytes are not of that shape.
    """
    try:
        steps = np.frombuffer(zlib.decompress(data), np.uint8).reshape(n_cells, len(BANDS_K))
    except (zlib.error, ValueError) as error:
        raise LibraryError(
            "A clip's stored measurements are damaged: run `listen library verify`."
        ) from error
    return steps.astype(np.float32) * _STEP_DB + _LOWEST_DB


def pack_stretches(rows: np.ndarray) -> bytes:
    """Pack rows [shape=(n, WIDTH)] as little-endian float32."""
    return rows.astype("<f4").tobytes()


def unpack_stretches(data: bytes, n_rows: int) -> np.ndarray:
    """Return rows [shape=(n_rows, width)], float32, read-only."""
    flat = np.frombuffer(data, "<f4")
    if n_rows < 1 or len(flat) % n_rows:
        raise LibraryError("A clip's stored measurements are damaged: run `listen library verify`.")
    return flat.reshape(n_rows, -1)


def measures_row(sha256: str, measured: Measured, made_at: str) -> dict[str, Any]:
    """Return the row of `measures` for a clip."""
    return {
        "clip": sha256,
        "names_sha256": NAMES_SHA256,
        "n_stretches": len(measured.stretches),
        "stretches": pack_stretches(measured.stretches),
        "n_cells": len(measured.traces_db),
        "traces": pack_traces(measured.traces_db),
        "made_at": made_at,
    }
