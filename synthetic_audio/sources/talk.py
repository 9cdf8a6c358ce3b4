"""Voices of other makings: spectra that move from frame to frame, laid over pulses or breath.

There are no words in it. A syllable is a swell with formants that glide, before
which a consonant may hush; phrases have pauses between them.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import scipy.fft
from scipy.ndimage import zoom

from synthetic_audio.sources import texture

#: Frames a second; a frame is two steps long.
_FRAMES_HZ = 100
#: A voice is made at a rate of its own: nothing of it lies higher than 10 kHz.
_SLOWER = 2


def voice(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return a voice: pulses of the throat through formants that glide, consonants of breath.

    Parameters
    ----------
    p : mapping
        `pitch_hz`, `melody` (deviation of the pitch, share), `tract` (formants over those of a man),
        `syllables_hz`, `syllables` (in a phrase), `pause_s`, `tilt_db` (an octave), `breath` (share),
        `hush` (strength of consonants), `width_hz` (of formants).
    """
    return _spoken(rng, rate_hz, for_s, p, p["breath"])


def whisper(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return a voice without its pulses; parameters as of :func:`voice`."""
    return _spoken(rng, rate_hz, for_s, p, 1.0)


def chatter(rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any]) -> np.ndarray:
    """Return several people who talk at once: pulses of several pitches, through spectra that drift at will.

    Parameters
    ----------
    p : mapping
        `people`, `pitch_hz`, `melody`, `syllables_hz`, `depth_db` (how far spectra move), `tilt_db`, `breath`.
    """
    rate = rate_hz // _SLOWER
    n = int(for_s * rate)
    out = np.zeros(n, np.float32)
    for _ in range(round(p["people"])):
        pitch_hz = float(np.clip(p["pitch_hz"] * 2 ** rng.normal(0.0, 0.5), 70.0, 420.0))
        source = _throat(rng, n, rate, pitch_hz, p["melody"], min(0.9, p["breath"]))
        frames = int(for_s * _FRAMES_HZ) + 3
        bins = rate // _FRAMES_HZ + 1
        # Hills that live as long as a syllable and are as broad as a formant.
        coarse = rng.standard_normal((int(2 * p["syllables_hz"] * for_s) + 4, 30), dtype=np.float32)
        field = zoom(coarse, (frames / len(coarse), bins / 30), order=1)
        hz = np.maximum(np.arange(bins) * _FRAMES_HZ / 2, 100.0)
        # A mouth lets little through below its first formant.
        falls = p["tilt_db"] * np.log2(hz / 400).clip(0.0) + 9.0 * np.log2(400 / hz).clip(0.0)
        level = p["depth_db"] * field / (np.std(field) + 1e-9) - falls.astype(np.float32)
        out += rng.lognormal(0.0, 0.5) * _through(source, 10 ** (level / 20))
    return texture.ends(texture.raised(out, _SLOWER, int(for_s * rate_hz)), rate_hz, 0.02, 0.02)


def _spoken(
    rng: np.random.Generator, rate_hz: int, for_s: float, p: Mapping[str, Any], breath: float
) -> np.ndarray:
    rate = rate_hz // _SLOWER
    n = int(for_s * rate)
    frames = int(for_s * _FRAMES_HZ) + 3
    hz = np.arange(rate // _FRAMES_HZ + 1) * _FRAMES_HZ / 2
    formants, level, hush, hush_hz = _syllables(rng, frames, p)
    vowels = np.zeros((frames, len(hz)), np.float32)
    for number in range(4):
        width = p["width_hz"] * (1 + 0.5 * number)
        away = (hz[None, :] - formants[:, number, None]) / width
        vowels += (10 ** (-p["tilt_db"] * number / 20) / (1 + away**2)).astype(np.float32)
    source = _throat(rng, n, rate, p["pitch_hz"], p["melody"], min(1.0, breath))
    out = _through(source, vowels * level[:, None].astype(np.float32))
    edge = 1 / (1 + (hush_hz[:, None] / np.maximum(hz[None, :], 50.0)) ** 6)
    consonants = _through(rng.standard_normal(n, dtype=np.float32), edge * hush[:, None])
    scale = float(np.max(np.abs(out), initial=0.0)) + 1e-9
    out = out / scale + 0.25 * p["hush"] * consonants / (
        float(np.max(np.abs(consonants), initial=0.0)) + 1e-9
    )
    return texture.ends(texture.raised(out, _SLOWER, int(for_s * rate_hz)), rate_hz, 0.01, 0.02)


def _syllables(
    rng: np.random.Generator, frames: int, p: Mapping[str, Any]
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Return formants (frames, 4) in Hz, the vowels' and the consonants' levels, and the consonants' edge."""
    level, hush = np.zeros(frames), np.zeros(frames)
    edges_hz = np.full(frames, 4000.0)
    times, targets = [0.0], [_vowel(rng, p["tract"])]
    at = 0.0
    while at < frames:
        for _ in range(max(1, rng.poisson(p["syllables"]))):
            length = max(4.0, _FRAMES_HZ / p["syllables_hz"] * float(rng.lognormal(0.0, 0.3)))
            start = int(at)
            if rng.random() < 0.5:
                size = int(rng.uniform(4, 14))
                part = hush[start : start + size]
                part += np.hanning(size + 2)[1:-1][: len(part)] * rng.uniform(0.2, 1.0)
                edges_hz[start : start + size] = 1500.0 * 4 ** rng.random()
                start += size // 2
            size = max(3, int(length))
            swell = np.sin(np.pi * (np.arange(size) + 0.5) / size) ** rng.uniform(0.3, 1.2)
            part = level[start : start + size]
            part += rng.uniform(0.3, 1.0) * swell[: len(part)]
            times.append(at + 0.5 * length)
            targets.append(_vowel(rng, p["tract"]))
            at = start + length * rng.uniform(0.85, 1.1)
        at += p["pause_s"] * _FRAMES_HZ * float(rng.lognormal(0.0, 0.5))
    moving = np.array(targets)
    formants = np.stack([np.interp(np.arange(frames), times, moving[:, k]) for k in range(4)], axis=1)
    return formants, level, hush, edges_hz


def _vowel(rng: np.random.Generator, tract: float) -> np.ndarray:
    """Return four formants, anywhere that a mouth can bring them."""
    first = rng.uniform(250.0, 800.0)
    second = rng.uniform(max(700.0, first + 250.0), 2400.0 - 0.8 * first)
    return tract * np.array([first, second, rng.uniform(2200.0, 3000.0), rng.uniform(3200.0, 4000.0)])


def _throat(
    rng: np.random.Generator, n: int, rate_hz: int, pitch_hz: float, melody: float, breath: float
) -> np.ndarray:
    """Return pulses whose pitch wanders, with breath between them."""
    noise = rng.standard_normal(n, dtype=np.float32)
    if breath >= 1.0:
        return noise
    hz = (
        pitch_hz
        * texture.drift(rng, n, rate_hz, 8.7 * melody, 2.5)
        * texture.drift(rng, n, rate_hz, 0.1, 30.0)
    )
    k = np.arange(1, 100)
    pulses = texture.turning(
        rng, np.clip(hz, 50.0, 700.0), rate_hz, k ** -rng.uniform(0.5, 1.2), rng.uniform(0.0, 0.4)
    )
    return (1 - breath) * pulses + 0.3 * breath * noise


def _through(source: np.ndarray, gains: np.ndarray) -> np.ndarray:
    """Return a source (n,) whose spectrum is weighed frame by frame with gains (frames, bins), float32."""
    size = 2 * (gains.shape[1] - 1)
    step = size // 2
    count = min(len(gains), len(source) // step + 1)
    padded = np.pad(source.astype(np.float32), (step, size + step))
    window = np.sin(np.pi * (np.arange(size) + 0.5) / size).astype(np.float32)
    frames = np.lib.stride_tricks.sliding_window_view(padded, size)[::step][: count + 1]
    weights = gains[np.minimum(np.arange(len(frames)), len(gains) - 1)].astype(np.float32)
    shaped = scipy.fft.irfft(scipy.fft.rfft(frames * window, axis=1) * weights, size, axis=1) * window
    out = np.zeros((len(frames) + 1) * step, np.float32)
    out[: len(frames) * step] += shaped[:, :step].reshape(-1)
    out[step:] += shaped[:, step:].reshape(-1)
    out = out[step : step + len(source)]
    return np.pad(out, (0, len(source) - len(out)))
