"""Drive the spectra over a clip block by block and keep only compact measurements.

An hour of a clip keeps about 26 MB here: cells of 64 ms, lines of 0.5 s,
onsets, and a picture that is halved whenever it grows too long.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from listen.features.lines import LineTable, find_lines
from listen.features.onsets import OnsetFinder, OnsetTable
from listen.features.picture import Picture, PictureBuilder
from listen.features.samples import SampleFacts, SampleWatch
from listen.spectra import (
    CELL_S,
    ENVELOPE_BINS,
    ENVELOPE_S,
    FRAME_N,
    FRAMES_PER_CELL,
    HIGH_K,
    LINE_RATE_HZ,
    LOW_K,
    LOW_N,
    RATE_HZ,
    SpectraChunk,
    SpectraStream,
    band_weights,
    to_db,
)

BANDS_K = LOW_K + HIGH_K
#: Ranges in which the flatness of the spectrum is taken, Hz.
FLAT_HZ = ((300.0, 1000.0), (1000.0, 4000.0), (4000.0, 14000.0))
#: Range in which a tone (squeal, beep, honk) is looked for, Hz.
TONE_HZ = (250.0, 8000.0)
#: Rates at which a coil's or an arc's noise may beat, Hz: once and twice a cycle of either mains.
BEAT_HZ = (50.0, 60.0, 100.0, 120.0)
#: First band of the envelope in which beats are looked for: from 4.5 kHz up motors and coils have little.
_BEAT_FROM = 4
#: Bins below 800 Hz, in which single lines are followed, and their width, Hz.
DEEP_HZ = LINE_RATE_HZ / LOW_N
DEEP_BINS = round(800.0 / DEEP_HZ)
#: Stretch given to the spectra at once, s: many small ones cost more, a long one more memory.
BLOCK_S = 4.0


@dataclass(frozen=True, slots=True)
class ClipFeatures:
    """All that is kept of a clip.

    Attributes
    ----------
    bands_db : np.ndarray [shape=(t, len(BANDS_K))]
        Third-octave levels of each 64 ms cell, dB re full scale.
    flat_db : np.ndarray [shape=(t, 3)]
        Spectral flatness (0 dB = noise, strongly negative = lines) in FLAT_HZ.
    tone_hz, tone_db : np.ndarray [shape=(t,)]
        The most prominent peak in TONE_HZ and its height over its neighbours.
    crest_db, spread_db : np.ndarray [shape=(t,)]
        Peak over mean, and 90th over 10th percentile, of the 1 ms envelope.
    envelope_db : np.ndarray [shape=(t, 4)]
        Frame levels (16 ms) above 1 kHz within the cell: the modulation lies here.
    beats : np.ndarray [shape=(t, len(BEAT_HZ))], complex
        How much the power above 4.5 kHz beats at BEAT_HZ within the cell: size 0 (steady) to 1, phase from its start.
    deep : np.ndarray [shape=(t, DEEP_BINS)], uint8
        Level of each bin of DEEP_HZ up to 800 Hz, over 256 ms: half decibels over -120 dB re full scale.
    ltas_db : np.ndarray [shape=(513,)]
        Mean level per bin of 31.25 Hz over the clip.
    lines : LineTable
    onsets : OnsetTable
    facts : SampleFacts
    picture : Picture
    duration_s : float
    rate_hz : int
        Of the file, before resampling.
    """

    bands_db: np.ndarray
    flat_db: np.ndarray
    tone_hz: np.ndarray
    tone_db: np.ndarray
    crest_db: np.ndarray
    spread_db: np.ndarray
    envelope_db: np.ndarray
    beats: np.ndarray
    deep: np.ndarray
    ltas_db: np.ndarray
    lines: LineTable
    onsets: OnsetTable
    facts: SampleFacts
    picture: Picture
    duration_s: float
    rate_hz: int

    def lines_db(self, hz: np.ndarray) -> np.ndarray:
        """Level of single lines below 800 Hz over 256 ms [shape=(t, len(hz))], dB re full scale."""
        at = np.clip(np.rint(np.asarray(hz) / DEEP_HZ).astype(int), 1, DEEP_BINS - 2)
        # A line between two bins lies in both.
        return np.maximum.reduce([self.deep[:, at + k] for k in (-1, 0, 1)]).astype(np.float32) / 2 - 120.0

    @property
    def times_s(self) -> np.ndarray:
        """Centre of each cell, s."""
        return (np.arange(len(self.bands_db)) + 0.375) * CELL_S

    def band_db(self, low_hz: float, high_hz: float) -> np.ndarray:
        """Level of the third octaves whose middle lies in a range, summed [shape=(t,)]."""
        mids = 1000.0 * 10 ** (np.array(BANDS_K) / 10)
        chosen = (mids >= low_hz) & (mids <= high_hz)
        return to_db(np.sum(10 ** (self.bands_db[:, chosen] / 10), axis=1))


class Collector:
    """Collect features from blocks of samples.

    Parameters
    ----------
    rate_hz : int
        Sample rate of the blocks.
    """

    def __init__(self, rate_hz: int) -> None:
        self.rate_hz = rate_hz
        self._stream = SpectraStream(rate_hz)
        self._onsets = OnsetFinder()
        self._watch = SampleWatch(rate_hz)
        self._picture = PictureBuilder()
        self._frames_rest = np.zeros((0, FRAME_N // 2 + 1), np.float32)
        self._envelope_rest = np.zeros((0, len(ENVELOPE_BINS)), np.float32)
        self._ltas = np.zeros(FRAME_N // 2 + 1)
        self._ltas_n = 0
        self._n = 0
        self._waiting: list[np.ndarray] = []
        self._waiting_n = 0
        self._high: list[np.ndarray] = []
        self._low: list[np.ndarray] = []
        self._deep: list[np.ndarray] = []
        self._shape: list[np.ndarray] = []
        self._beats: list[np.ndarray] = []
        self._lines: list[tuple[np.ndarray, ...]] = []

    def push(self, block: np.ndarray) -> None:
        """Add samples (n,) float32, finite."""
        step = int(BLOCK_S * self.rate_hz)
        for start in range(0, len(block), step):
            part = block[start : start + step]
            self._n += len(part)
            self._waiting.append(part)
            self._waiting_n += len(part)
            if self._waiting_n >= step:
                self._work()

    def finish(self) -> ClipFeatures:
        """Close the clip and return what was kept."""
        self._work()
        self._take(self._stream.push(np.zeros(0, np.float32), last=True), last=True)
        high = np.concatenate(self._high) if self._high else np.zeros((0, len(HIGH_K)), np.float32)
        low = np.concatenate(self._low) if self._low else np.zeros((0, len(LOW_K)), np.float32)
        shape = np.concatenate(self._shape) if self._shape else np.zeros((0, 11), np.float32)
        cells = len(high)
        if len(low) < cells:
            low = (
                np.pad(low, ((0, cells - len(low)), (0, 0)), mode="edge")
                if len(low)
                else np.zeros((cells, len(LOW_K)), np.float32)
            )
        deep = np.concatenate(self._deep) if self._deep else np.zeros((0, DEEP_BINS), np.uint8)
        lines = (
            [np.concatenate(parts) for parts in zip(*self._lines, strict=True)]
            if self._lines
            else find_lines(np.zeros((0, 1)))
        )
        return ClipFeatures(
            bands_db=to_db(np.concatenate([low[:cells], high], axis=1)),
            flat_db=shape[:, 0:3],
            tone_hz=shape[:, 3],
            tone_db=shape[:, 4],
            crest_db=shape[:, 5],
            spread_db=shape[:, 6],
            envelope_db=shape[:, 7:11],
            beats=np.concatenate(self._beats) if self._beats else np.zeros((0, len(BEAT_HZ)), np.complex64),
            deep=np.pad(deep[:cells], ((0, max(0, cells - len(deep))), (0, 0))),
            ltas_db=to_db(self._ltas / max(1, self._ltas_n)),
            lines=LineTable(*lines),
            onsets=self._onsets.table(),
            facts=self._watch.facts(),
            picture=self._picture.finish(self._n / self.rate_hz),
            duration_s=self._n / self.rate_hz,
            rate_hz=self.rate_hz,
        )

    def _work(self) -> None:
        if not self._waiting_n:
            return
        part = self._waiting[0] if len(self._waiting) == 1 else np.concatenate(self._waiting)
        self._waiting, self._waiting_n = [], 0
        self._watch.push(part)
        self._take(self._stream.push(part), last=False)

    def _take(self, chunk: SpectraChunk, *, last: bool) -> None:
        self._onsets.push(chunk.envelope_power, last=last)
        self._ltas += chunk.frame_power.sum(axis=0, dtype=np.float64)
        self._ltas_n += len(chunk.frame_power)
        self._low.append(chunk.low_power @ band_weights(LOW_K, LOW_N, LINE_RATE_HZ))
        self._deep.append(
            np.clip(2 * (to_db(chunk.low_power[:, :DEEP_BINS]) + 120.0) + 0.5, 0, 255).astype(np.uint8)
        )
        self._lines.append(find_lines(chunk.line_power))
        self._picture.push(chunk)
        self._cells(chunk)

    def _cells(self, chunk: SpectraChunk) -> None:
        frames = np.concatenate([self._frames_rest, chunk.frame_power])
        envelope = np.concatenate([self._envelope_rest, chunk.envelope_power])
        per_cell = round(CELL_S * 1000)
        cells = min(len(frames) // FRAMES_PER_CELL, len(envelope) // per_cell)
        self._frames_rest = frames[cells * FRAMES_PER_CELL :].copy()
        self._envelope_rest = envelope[cells * per_cell :].copy()
        if not cells:
            return
        frames = frames[: cells * FRAMES_PER_CELL].reshape(cells, FRAMES_PER_CELL, -1)
        banded = envelope[: cells * per_cell].reshape(cells, per_cell, -1)
        envelope = banded.sum(axis=2)
        mean = frames.mean(axis=1)
        self._high.append(mean @ band_weights(HIGH_K, FRAME_N, RATE_HZ))
        log = to_db(mean)
        flat = np.stack([_flatness_db(mean, log, *_bins(*span)) for span in FLAT_HZ], axis=1)
        tone_hz, tone_db = _tone(log)
        env_db = to_db(envelope)
        crest = env_db.max(axis=1) - to_db(envelope.mean(axis=1))
        ordered = np.sort(env_db, axis=1)
        spread = ordered[:, int(0.9 * per_cell)] - ordered[:, int(0.1 * per_cell)]
        above = to_db(frames[:, :, 32:].sum(axis=2))
        own = np.stack([tone_hz, tone_db, crest, spread], axis=1)
        self._shape.append(np.concatenate([flat, own, above], axis=1).astype(np.float32))
        self._beats.append(_beats(banded[:, :, _BEAT_FROM:].sum(axis=2)))


def _bins(low_hz: float, high_hz: float) -> tuple[int, int]:
    width = RATE_HZ / FRAME_N
    return round(low_hz / width), round(high_hz / width)


def _flatness_db(power: np.ndarray, log: np.ndarray, start: int, stop: int) -> np.ndarray:
    return log[:, start:stop].mean(axis=1) - to_db(power[:, start:stop].mean(axis=1))


@cache
def _beat_waves(n: int) -> np.ndarray:
    """Windowed complex waves of a cell [shape=(n, rates)]; the first is the window itself."""
    seconds = np.arange(n) * ENVELOPE_S
    rates_hz = np.array([0.0, *BEAT_HZ])
    return np.hanning(n)[:, None] * np.exp(-2j * np.pi * seconds[:, None] * rates_hz)


def _beats(power: np.ndarray) -> np.ndarray:
    """How a cell's power beats at each of BEAT_HZ [shape=(cells, rates)]."""
    beats = power @ _beat_waves(power.shape[1])
    return (beats[:, 1:] / np.maximum(beats[:, :1].real, 1e-12)).astype(np.complex64)


def _tone(log: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Most prominent narrow peak: log level over the mean of bins 3 to 10 away on both sides."""
    start, stop = _bins(*TONE_HZ)
    cumulative = np.concatenate(
        [np.zeros((len(log), 1), np.float64), np.cumsum(log, axis=1, dtype=np.float64)], axis=1
    )
    at = np.arange(max(start, 11), stop)
    left = (cumulative[:, at - 2] - cumulative[:, at - 10]) / 8
    right = (cumulative[:, at + 11] - cumulative[:, at + 3]) / 8
    height = log[:, at] - np.maximum(left, right)
    best = np.argmax(height, axis=1)
    rows = np.arange(len(log))
    return at[best] * (RATE_HZ / FRAME_N), height[rows, best]
