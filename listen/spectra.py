"""One pass over the samples, three resolutions.

Conventions
-----------
Whatever the file's rate, the clip is brought to 32 kHz once (soxr), and from
there to 4 kHz for lines. All grids are absolute: frame ``i`` is centred on
``i * hop`` samples from the start of the clip, so the result does not depend
on how the file came in blocks, and memory does not grow with the clip
(the caller keeps only what it reduces from each chunk).

========== ============== ========= ==========================================
grid       window         hop       for
========== ============== ========= ==========================================
frames     32 ms at 32 k  16 ms     textures (third octaves)
envelope   2 ms at 32 k   1 ms      clicks (eight bands)
low        256 ms at 4 k  64 ms     third octaves below 200 Hz, line levels
lines      2.048 s at 4 k 0.512 s   lines of mains, motors, pumps
========== ============== ========= ==========================================
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import soxr

RATE_HZ = 32_000
FRAME_N = 1024
FRAME_HOP = 512
FRAME_S = FRAME_HOP / RATE_HZ
ENVELOPE_N = 64
ENVELOPE_HOP = 32
ENVELOPE_S = ENVELOPE_HOP / RATE_HZ
#: Frames are pooled by four into cells of 64 ms, the grid of the textures.
FRAMES_PER_CELL = 4
CELL_S = FRAMES_PER_CELL * FRAME_S

LINE_RATE_HZ = 4_000
LOW_N = 1024
LOW_HOP = 256
LINE_N = 8192
LINE_HOP = 2048
LINE_S = LINE_HOP / LINE_RATE_HZ

#: Bands of the click envelope, as FFT bins of 500 Hz, from 0.5 to 15.5 kHz: a stroke may stand out in one alone.
ENVELOPE_BINS = ((1, 2), (2, 4), (4, 6), (6, 9), (9, 12), (12, 16), (16, 22), (22, 31))
#: Third-octave indices k of IEC 61260-1 (1 kHz is k = 0): 25 Hz … 160 Hz from the low grid, 200 Hz … 16 kHz from frames.
LOW_K = tuple(range(-16, -7))
HIGH_K = tuple(range(-7, 13))
POWER_FLOOR = 1e-12


def band_edges_hz(k: int) -> tuple[float, float, float]:
    """Return lower edge, exact mid-band and upper edge of a third-octave band.

    Parameters
    ----------
    k : int
        Band index; 1 kHz is 0, 10 kHz is 10.

    References
    ----------
    IEC 61260-1:2014, base-ten system: mid-band 1000·G^(k/3), G = 10^0.3, edges at mid·G^(±1/6).

    Examples
    --------
    >>> [round(f, 2) for f in band_edges_hz(0)]
    [891.25, 1000.0, 1122.02]
    """
    mid_hz = 1000.0 * 10.0 ** (k / 10.0)
    return mid_hz * 10 ** (-1 / 20), mid_hz, mid_hz * 10 ** (1 / 20)


@cache
def band_weights(ks: tuple[int, ...], n_fft: int, rate_hz: int) -> np.ndarray:
    """Return weights (bins, bands) that share power bins among third-octave bands.

    A bin that straddles an edge is split in proportion, so that no power is
    lost or counted twice.
    """
    width_hz = rate_hz / n_fft
    bins = np.arange(n_fft // 2 + 1) * width_hz
    low, high = bins - width_hz / 2, bins + width_hz / 2
    columns = []
    for k in ks:
        lower, _, upper = band_edges_hz(k)
        columns.append(np.clip(np.minimum(high, upper) - np.maximum(low, lower), 0, None) / width_hz)
    weights = np.stack(columns, axis=1).astype(np.float32)
    weights.setflags(write=False)
    return weights


@cache
def _hann(n: int) -> np.ndarray:
    window = (0.5 - 0.5 * np.cos(2 * np.pi * np.arange(n) / n)).astype(np.float32)
    # Scaled so that a full-scale sine sums to 0.5 over its bins (its mean square).
    return (window / np.sqrt(np.sum(window.astype(np.float64) ** 2) * n / 2)).astype(np.float32)


def power_spectra(frames: np.ndarray) -> np.ndarray:
    """Power spectra of windowed frames.

    Parameters
    ----------
    frames : np.ndarray [shape=(t, n)], float32

    Returns
    -------
    np.ndarray [shape=(t, n // 2 + 1)], float32
        One-sided power; the sum over bins is the mean square of the frame.
    """
    spectrum = np.fft.rfft(frames * _hann(frames.shape[1]), axis=1)
    return (spectrum.real**2 + spectrum.imag**2).astype(np.float32)


def _framed(samples: np.ndarray, n: int, hop: int) -> np.ndarray:
    count = 1 + (len(samples) - n) // hop if len(samples) >= n else 0
    if count <= 0:
        return np.zeros((0, n), np.float32)
    return np.lib.stride_tricks.sliding_window_view(samples, n)[::hop][:count]


class _Grid:
    """Cut a stream into frames on an absolute grid, centred by half a window of silence in front."""

    def __init__(self, n: int, hop: int) -> None:
        self.n, self.hop = n, hop
        self._rest = np.zeros(n // 2, np.float32)

    def push(self, samples: np.ndarray) -> np.ndarray:
        self._rest = np.concatenate([self._rest, samples])
        frames = _framed(self._rest, self.n, self.hop)
        # A copy: the view would keep the whole buffer alive.
        self._rest = self._rest[len(frames) * self.hop :].copy()
        return frames

    def finish(self) -> np.ndarray:
        """Return the last frames, padded with silence, whose centre lies in the clip."""
        return self.push(np.zeros(self.n // 2, np.float32))


@dataclass(frozen=True, slots=True)
class SpectraChunk:
    """What one stretch of samples gives; each array starts where the last chunk's ended.

    Attributes
    ----------
    frame_power : np.ndarray [shape=(t, 513)]
    envelope_power : np.ndarray [shape=(n, len(ENVELOPE_BINS))]
        Power per millisecond in the click bands.
    low_power : np.ndarray [shape=(u, 513)]
        Spectra of the 4 kHz stream, 256 ms.
    line_power : np.ndarray [shape=(v, 4097)]
        Spectra of the 4 kHz stream, 2.048 s.
    wide : np.ndarray [shape=(m,)]
        The samples at 32 kHz.
    """

    frame_power: np.ndarray
    envelope_power: np.ndarray
    low_power: np.ndarray
    line_power: np.ndarray
    wide: np.ndarray


class SpectraStream:
    """Turn blocks of samples into spectra.

    Parameters
    ----------
    rate_hz : int
        Rate of the blocks that are pushed.
    """

    def __init__(self, rate_hz: int) -> None:
        self._to_wide = (
            None if rate_hz == RATE_HZ else soxr.ResampleStream(rate_hz, RATE_HZ, 1, "float32", "HQ")
        )
        self._to_lines = soxr.ResampleStream(RATE_HZ, LINE_RATE_HZ, 1, "float32", "HQ")
        self._frames = _Grid(FRAME_N, FRAME_HOP)
        self._envelope = _Grid(ENVELOPE_N, ENVELOPE_HOP)
        self._low = _Grid(LOW_N, LOW_HOP)
        self._lines = _LineGrid()

    def push(self, block: np.ndarray, *, last: bool = False) -> SpectraChunk:
        """Add samples (n,) float32; `last` closes the clip and flushes what is left."""
        block = np.ascontiguousarray(block, np.float32)
        wide = block if self._to_wide is None else self._to_wide.resample_chunk(block, last=last)
        narrow = self._to_lines.resample_chunk(wide, last=last)
        frames, envelope = self._frames.push(wide), self._envelope.push(wide)
        low, lines = self._low.push(narrow), self._lines.push(narrow)
        frame_power, envelope_power = power_spectra(frames), _envelope_power(envelope)
        low_power, line_power = power_spectra(low), power_spectra(lines)
        if last:
            frame_power = np.concatenate([frame_power, power_spectra(self._frames.finish())])
            envelope_power = np.concatenate([envelope_power, _envelope_power(self._envelope.finish())])
            low_power = np.concatenate([low_power, power_spectra(self._low.finish())])
            line_power = np.concatenate([line_power, power_spectra(self._lines.finish())])
        return SpectraChunk(frame_power, envelope_power, low_power, line_power, wide)


class _LineGrid(_Grid):
    """Line frames do not look into silence before the clip: frame i begins at i * hop."""

    def __init__(self) -> None:
        super().__init__(LINE_N, LINE_HOP)
        self._rest = np.zeros(0, np.float32)
        self._seen = 0

    def push(self, samples: np.ndarray) -> np.ndarray:
        frames = super().push(samples)
        self._seen += len(frames)
        return frames

    def finish(self) -> np.ndarray:
        # A clip shorter than one window is still looked at, padded.
        if self._seen or not len(self._rest):
            return np.zeros((0, self.n), np.float32)
        return np.pad(self._rest, (0, self.n - len(self._rest)))[None, :]


@cache
def _envelope_waves() -> tuple[np.ndarray, np.ndarray]:
    """Windowed waves of the envelope's bins [shape=(n, 2 · bins)], and which band each of them belongs to."""
    first, stop = ENVELOPE_BINS[0][0], ENVELOPE_BINS[-1][1]
    turns = np.outer(np.arange(ENVELOPE_N), np.arange(first, stop)) * (2 * np.pi / ENVELOPE_N)
    waves = _hann(ENVELOPE_N)[:, None] * np.concatenate([np.cos(turns), np.sin(turns)], axis=1)
    bands = np.zeros((stop - first, len(ENVELOPE_BINS)), np.float32)
    for column, (a, b) in enumerate(ENVELOPE_BINS):
        bands[a - first : b - first, column] = 1.0
    return waves.astype(np.float32), np.concatenate([bands, bands])


def _envelope_power(frames: np.ndarray) -> np.ndarray:
    # Of so short a frame a matrix product has the spectrum several times sooner than a transform.
    waves, bands = _envelope_waves()
    parts = frames @ waves
    return np.square(parts, out=parts) @ bands


def to_db(power: np.ndarray) -> np.ndarray:
    """Power to decibels re full scale squared, never below −120 dB."""
    return (10.0 * np.log10(np.maximum(power, POWER_FLOOR))).astype(np.float32)
