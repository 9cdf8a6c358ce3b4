"""Describe a clip of the ten-class set in named groups of numbers: the project's own, and common ones beside.

Conventions
-----------
Digital silence is taken out first: many clips of the set are padded with zeros,
and no model is told of the padding. What is left shorter than 1.28 s is repeated to
that length, so that a model may still notice how short it was. Levels are relative to
the clip's own. Each clip is described as it is and at other speeds; the
copies train beside it, and in testing their answers are averaged.
"""

from __future__ import annotations

import warnings
from pathlib import Path

import librosa
import numpy as np
import scipy.fft
import scipy.stats
import soundfile
import soxr

from listen.features.collect import ClipFeatures, Collector
from listen.features.mains import comb_tracks, estimate_mains
from listen.features.onsets import ONSET_INPUTS
from listen.features.textures import segment_textures
from listen.spectra import RATE_HZ

#: A clip as it is first, then its faster and slower copies (pitch and pace together).
SPEEDS = (1.0, 1.1, 0.9)
HOP = 320
N_MELS = 64
#: Silence of at least this length is taken out: this far below the loudest hundredth of a second.
SILENCE_S, SILENCE_DB = 0.1, -75.0
_FLOOR_DB = -80.0
#: Patches for the codebook: mel bands joined by two, frames by two, eight such frames, every second one.
PATCH_FRAMES, PATCH_STEP = 8, 2
_RATES_HZ = (1.0, 2.0, 4.0, 8.0, 16.0, 32.0)
_CYCLES = (2.0, 4.0, 8.0, 16.0)
_LEAST_FRAMES = 128


def load(path: Path) -> np.ndarray:
    """Read a clip as mono at RATE_HZ [shape=(n,)], float32, without digital silence."""
    samples, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
    return without_silence(soxr.resample(samples.mean(axis=1), rate_hz, RATE_HZ).astype(np.float32))


def without_silence(samples: np.ndarray) -> np.ndarray:
    """Join what is left when stretches of digital silence are taken out [shape=(m,), m <= n].

    Examples
    --------
    >>> noise = np.tile(np.float32([0.5, -0.5]), RATE_HZ // 2)
    >>> len(without_silence(np.concatenate([noise, np.zeros(2 * RATE_HZ, np.float32)]))) / RATE_HZ
    1.0
    """
    step = RATE_HZ // 100
    n = len(samples) // step
    level = np.sqrt(np.mean(samples[: n * step].reshape(n, step) ** 2, axis=1))
    quiet = level <= level.max(initial=0.0) * 10 ** (SILENCE_DB / 20)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], quiet, [False]]).astype(int)))
    keep = np.ones(n, bool)
    for first, stop in edges.reshape(-1, 2):
        keep[first:stop] = stop - first < SILENCE_S * 100
    return samples[: n * step].reshape(n, step)[keep].ravel() if keep.any() else samples


def describe(
    path: Path, speeds: tuple[float, ...] = SPEEDS
) -> tuple[dict[str, np.ndarray], list[np.ndarray]]:
    """Describe one clip at some speeds.

    Parameters
    ----------
    path : Path
    speeds : tuple of float
        1.0 is the clip as it is.

    Returns
    -------
    groups : dict of str to np.ndarray [shape=(len(speeds), columns of the group)]
    patches : list of np.ndarray [shape=(number of patches, values of a patch)]
        One for each speed, for the codebook of :mod:`tests.measure.yardstick_models`.
    """
    samples = load(path)
    rows: list[dict[str, np.ndarray]] = []
    patches = []
    for speed in speeds:
        moved = samples if speed == 1.0 else soxr.resample(samples, speed, 1.0).astype(np.float32)
        moved = moved * (0.05 / max(float(np.sqrt(np.mean(moved**2))), 1e-9))
        if len(moved) < _LEAST_FRAMES * HOP:
            moved = np.resize(moved, _LEAST_FRAMES * HOP)
        power = np.abs(librosa.stft(moved, n_fft=1024, hop_length=HOP)) ** 2
        mel = librosa.feature.melspectrogram(S=power, sr=RATE_HZ, n_mels=N_MELS, fmin=50.0)
        log_mel = librosa.power_to_db(mel, ref=np.max, top_db=-_FLOOR_DB)
        mfcc = librosa.feature.mfcc(S=log_mel, n_mfcc=20)
        rows.append({
            **_own(moved), "mel": _moments(log_mel - log_mel.mean()), "mfcc": _moments(mfcc[1:]),
            "tonal": _frame_numbers(moved, power), "modulation": _modulation(log_mel), "covariance": _covariance(mfcc),
        })  # fmt: skip
        patches.append(_patches(log_mel))
    return {name: np.stack([row[name] for row in rows]) for name in rows[0]}, patches


def _moments(values: np.ndarray) -> np.ndarray:
    """Mean, spread, skew and percentiles of each row, spread and skew of its steps."""
    step = librosa.feature.delta(values, width=5)
    spread = values.std(axis=1)
    safe = np.maximum(spread, 1e-3)[:, None]
    skew = np.mean(((values - values.mean(axis=1, keepdims=True)) / safe) ** 3, axis=1)
    step_spread = step.std(axis=1)
    step_skew = np.mean((step / np.maximum(step_spread, 1e-3)[:, None]) ** 3, axis=1)
    parts = [values.mean(axis=1), spread, np.cbrt(skew), step_spread, np.cbrt(step_skew)]
    return np.concatenate([*parts, *np.percentile(values, (5, 25, 50, 75, 95, 99), axis=1)]).astype(
        np.float32
    )


def _frame_numbers(samples: np.ndarray, power: np.ndarray) -> np.ndarray:
    """Contrast, chroma, tonnetz and shape of the spectrum, frame by frame, as moments."""
    magnitude = np.sqrt(power)
    chroma = librosa.feature.chroma_stft(S=power, sr=RATE_HZ, tuning=0.0)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # silent frames have no tonal centre
        tonnetz = np.nan_to_num(librosa.feature.tonnetz(chroma=chroma, sr=RATE_HZ))
    frames = [
        librosa.feature.spectral_contrast(S=magnitude, sr=RATE_HZ),
        12 * chroma,
        12 * tonnetz,
        np.log2(librosa.feature.spectral_centroid(S=magnitude, sr=RATE_HZ) + 50),
        np.log2(librosa.feature.spectral_bandwidth(S=magnitude, sr=RATE_HZ) + 50),
        np.log2(librosa.feature.spectral_rolloff(S=magnitude, sr=RATE_HZ) + 50),
        librosa.power_to_db(librosa.feature.spectral_flatness(S=magnitude)),
        10 * librosa.feature.zero_crossing_rate(samples, frame_length=1024, hop_length=HOP),
        librosa.amplitude_to_db(librosa.feature.rms(S=magnitude, frame_length=1024), ref=np.max),
    ]
    return _moments(np.concatenate([part[:, : power.shape[1]] for part in frames]))


def _covariance(mfcc: np.ndarray) -> np.ndarray:
    """Logarithm (of the matrix) of the covariance of the cepstrum and its steps, upper half."""
    both = np.concatenate([mfcc[1:], 3 * librosa.feature.delta(mfcc[1:], width=5)])
    values, vectors = np.linalg.eigh(np.cov(both) + 0.5 * np.eye(len(both)))
    log = (vectors * np.log(np.maximum(values, 1e-3))) @ vectors.T
    return log[np.triu_indices(len(log))].astype(np.float32)


def _modulation(log_mel: np.ndarray) -> np.ndarray:
    """Log mean size of movement at each rate (octaves) and each ripple over the bands, in eight groups of bands."""
    bands, n = log_mel.shape
    size = scipy.fft.next_fast_len(n + 64)
    moving = log_mel - log_mel.mean(axis=1, keepdims=True)
    turned = scipy.fft.fft2(np.pad(moving, ((0, bands), (0, size - n)))).astype(np.complex64)
    rate_hz = np.abs(scipy.fft.fftfreq(size, HOP / RATE_HZ))
    sign = np.sign(scipy.fft.fftfreq(size))
    cycles = scipy.fft.fftfreq(2 * bands, 1 / (2 * bands)) / 2
    out = []
    for at_hz in _RATES_HZ:
        over_time = np.exp(-0.5 * (np.log2(np.maximum(rate_hz, 1e-3) / at_hz) / 0.5) ** 2) * (sign > 0)
        for at_cycles in (0.0, *_CYCLES, *(-c for c in _CYCLES)):
            width = 1.5 if at_cycles == 0 else 0.35 * abs(at_cycles) + 0.5
            over_bands = np.exp(-0.5 * ((cycles - at_cycles) / width) ** 2)
            part = scipy.fft.ifft2(turned * np.outer(over_bands, over_time).astype(np.float32))
            strength = np.abs(part[:bands, :n]).mean(axis=1).reshape(8, -1).mean(axis=1)
            out.append(np.log(strength + 1e-2))
    return np.concatenate(out).astype(np.float32)


def _patches(log_mel: np.ndarray) -> np.ndarray:
    n = log_mel.shape[1] // 2
    small = log_mel[:, : 2 * n].reshape(N_MELS // 2, 2, n, 2).mean(axis=(1, 3))
    windows = np.lib.stride_tricks.sliding_window_view(small, PATCH_FRAMES, axis=1)[:, ::PATCH_STEP]
    return windows.transpose(1, 0, 2).reshape(windows.shape[1], -1).astype(np.float32)


def _own(samples: np.ndarray) -> dict[str, np.ndarray]:
    """The project's own features over the clip: its textures, its cells of 64 ms, its onsets."""
    collector = Collector(RATE_HZ)
    collector.push(samples)
    features = collector.finish()
    mains = estimate_mains(features.lines)
    values = segment_textures(features, comb_tracks(features.lines, mains)).values
    textures = [values.mean(axis=0), values.std(axis=0), *np.percentile(values, (0, 50, 100), axis=0)]
    parts = {"textures": textures, "cells": _cells(features), "onsets": _onsets(features)}
    return {name: np.nan_to_num(np.concatenate(part)).astype(np.float32) for name, part in parts.items()}


def _cells(features: ClipFeatures) -> list[np.ndarray]:
    """Moments of the cells of 64 ms, as `collect` keeps them."""
    total = 10 * np.log10((10 ** (features.bands_db / 10)).sum(axis=1, keepdims=True) + 1e-12)
    shape = np.maximum(features.bands_db - total, -70.0)
    more = np.column_stack([
        total - total.max(), features.flat_db, np.log2(np.maximum(features.tone_hz, 100.0)), features.tone_db,
        features.crest_db, features.spread_db,
    ])  # fmt: skip
    cells = np.concatenate([shape, more], axis=1)
    steps = np.diff(cells, axis=0) if len(cells) > 1 else np.zeros_like(cells)
    return [cells.std(axis=0), steps.std(axis=0), *np.percentile(cells, (5, 50, 95), axis=0)]


def _onsets(features: ClipFeatures) -> list[np.ndarray]:
    """How many onsets a second, their mean and spread, and those of the strongest."""
    rows = features.onsets.inputs()
    rate = np.array([np.log1p(len(rows) / max(features.duration_s, 0.1))])
    if not len(rows):
        return [rate, np.zeros(3 * len(ONSET_INPUTS))]
    strongest = rows[np.argmax(features.onsets.column("rise_db"))]
    return [rate, rows.mean(axis=0), rows.std(axis=0), strongest]
