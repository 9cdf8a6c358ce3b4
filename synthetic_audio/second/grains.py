"""Textures from overlapping grains, and their colour by third-octave gains.

A texture is a cloud of short cuts, each taken at a random place, turned round or
not, played faster or slower, under a Hann window. Colour is then set band by band
(third octaves, base ten, IEC 61260-1) to a curve of density in dB over hertz.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import scipy.fft

from synthetic_audio.second.corpus import Texture
from synthetic_audio.second.spec import RATE_HZ

#: Exact mid-bands 1000 * 10**(k/10) from 25 Hz to 20 kHz.
BANDS_HZ: np.ndarray = 1000.0 * 10.0 ** (np.arange(-16, 14) / 10)
#: Most that one band is lifted or cut; more would play a recording's empty band.
_MOST_DB = 50.0

#: A colour: (hertz, dB) corners, straight in between over the logarithm of frequency, level outside.
Colour = Sequence[tuple[float, float]]


def granulate(
    textures: Sequence[Texture],
    n: int,
    rng: np.random.Generator,
    *,
    grain_s: float = 0.08,
    overlap: float = 4.0,
    pitch: tuple[float, float] = (0.7, 1.4),
    size_sigma: float = 0.2,
) -> np.ndarray:
    """Return `n` samples of a grain cloud with RMS 1.

    Parameters
    ----------
    textures : sequence of Texture
    n : int
    rng : numpy.random.Generator
    grain_s : float
        Middle length of a grain; lengths scatter by a third.
    overlap : float
        Grains that sound at a time.
    pitch : (float, float)
        Slowest and fastest play-back.
    size_sigma : float
        Scatter of the grains' sizes (lognormal): more makes the texture rougher.

    Returns
    -------
    ndarray of float64, shape (n,)
    """
    out, weight = np.zeros(n), np.full(n, 1e-6)
    step = grain_s * RATE_HZ / overlap
    at = -grain_s * RATE_HZ
    while at < n:
        at += step * rng.uniform(0.5, 1.5)
        m = int(grain_s * RATE_HZ * rng.uniform(0.67, 1.5))
        texture = textures[int(rng.integers(len(textures)))]
        speed = np.exp(rng.uniform(np.log(pitch[0]), np.log(pitch[1])))
        cut = _cut(texture, m, speed, rng)
        window = np.hanning(m)
        low, high = max(int(at), 0), min(int(at) + m, n)
        if high <= low:
            continue
        inside = slice(low - int(at), high - int(at))
        out[low:high] += (cut * window)[inside] * rng.lognormal(0, size_sigma)
        weight[low:high] += window[inside] ** 2
    out /= np.sqrt(weight)
    return out / max(float(np.sqrt((out**2).mean())), 1e-9)


def _cut(texture: Texture, m: int, speed: float, rng: np.random.Generator) -> np.ndarray:
    """Return one grain of `m` samples with RMS 1."""
    need = int(np.ceil(m * speed)) + 2
    start = int(texture.starts[rng.integers(texture.starts.size)]) if texture.starts.size else 0
    start = max(0, min(start + int(rng.integers(0, 2048)), texture.wave.size - need))
    part = texture.wave[start : start + need]
    cut = np.interp(np.arange(m) * speed % max(part.size - 1, 1), np.arange(part.size), part)
    cut = cut - cut.mean()
    cut /= max(float(np.sqrt((cut**2).mean())), 1e-9)
    return cut[::-1] if rng.random() < 0.5 else cut


def density_db(wave: np.ndarray) -> np.ndarray:
    """Return the mean power density in each band of `BANDS_HZ`, dB, shape (30,)."""
    power = np.abs(scipy.fft.rfft(wave)) ** 2
    hertz = scipy.fft.rfftfreq(wave.size, 1 / RATE_HZ)
    edge = np.concatenate([BANDS_HZ * 10**-0.05, BANDS_HZ[-1:] * 10**0.05])
    total = np.concatenate([[0.0], np.cumsum(power)])
    low = np.searchsorted(hertz, edge)
    count = np.maximum(np.diff(low), 1)
    return 10 * np.log10(np.maximum((total[low[1:]] - total[low[:-1]]) / count, 1e-20))


def colour_db(colour: Colour, hertz: np.ndarray) -> np.ndarray:
    """Return a colour's level at `hertz`, dB, same shape."""
    corners = np.asarray(colour, float)
    return np.interp(np.log(np.maximum(hertz, 1.0)), np.log(corners[:, 0]), corners[:, 1])


def reshape(wave: np.ndarray, colour: Colour) -> np.ndarray:
    """Return the wave with its third-octave densities moved to a colour, RMS 1, shape (n,)."""
    n = scipy.fft.next_fast_len(wave.size, real=True)
    hertz = scipy.fft.rfftfreq(n, 1 / RATE_HZ)
    want = colour_db(colour, BANDS_HZ)
    spectrum = scipy.fft.rfft(wave, n)
    gain_db = np.zeros(BANDS_HZ.size)
    log_hertz = np.log(np.maximum(hertz, 1.0))
    for _ in range(2):
        gain = np.interp(log_hertz, np.log(BANDS_HZ), gain_db)
        has = density_db(scipy.fft.irfft(spectrum * 10 ** (gain / 20), n)[: wave.size])
        error = want - has
        gain_db = np.clip(gain_db + error - error.max(), -2 * _MOST_DB, 0)
    gain = np.interp(log_hertz, np.log(BANDS_HZ), gain_db)
    # Beyond the colour's corners nothing is left standing by a straight continuation.
    gain += np.minimum(colour_db(colour, hertz) - np.interp(log_hertz, np.log(BANDS_HZ), want), 0)
    out = scipy.fft.irfft(spectrum * 10 ** (gain / 20), n)[: wave.size]
    return out / max(float(np.sqrt((out**2).mean())), 1e-12)


def texture(
    textures: Sequence[Texture],
    n: int,
    rng: np.random.Generator,
    colour: Colour,
    *,
    piece_s: float = 8.0,
    **grain: float,
) -> np.ndarray:
    """Return `n` samples of a coloured cloud with RMS 1; long ones are clouds of their own first seconds."""
    piece = int(piece_s * RATE_HZ)
    if n <= piece:
        m = max(n, RATE_HZ // 4)
        return reshape(granulate(textures, m, rng, **grain), colour)[:n]  # type: ignore[arg-type]
    short = reshape(granulate(textures, piece, rng, **grain), colour)  # type: ignore[arg-type]
    own = Texture("own", short, np.arange(piece // 2048 - 1) * 2048, "")
    long = granulate([own], n, rng, grain_s=0.5, overlap=3.0, pitch=(1.0, 1.0), size_sigma=0.0)
    return long
