"""Raw samples as the codec gave them → float32, mono, finite.

Conventions
-----------
Full scale is 1.0. Integer formats are divided by their largest magnitude (a
power of two), so that nothing is lost below 24 bits. Channels are averaged
unless they cancel each other; then the louder one is used from there on, so
that the level does not jump back and forth.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from listen.decode.framing import BLOCK, FORMATS, MAX_CHANNELS, FramingError

_DTYPES: dict[str, np.dtype[Any]] = {
    "u8": np.dtype("u1"),
    "s16": np.dtype("<i2"),
    "s32": np.dtype("<i4"),
    "s64": np.dtype("<i8"),
    "flt": np.dtype("<f4"),
    "dbl": np.dtype("<f8"),
}
_SCALE = {"u8": 2.0**-7, "s16": 2.0**-15, "s32": 2.0**-31, "s64": 2.0**-63}
#: Decoders overshoot full scale a little; beyond this it is not sound any more.
MAX_LEVEL = 16.0
_CANCEL_CORRELATION = -0.7
_FADE_S = 0.02


def channels_of(payload: bytes) -> np.ndarray:
    """Turn the payload of a block frame into samples.

    Returns
    -------
    ndarray
        float32, shape (channels, n); may hold values that are not finite.

    Raises
    ------
    FramingError
        When the sizes in it do not fit together.
    """
    if len(payload) < BLOCK.size:
        raise FramingError("a block is too short")
    number, packed, channels, count = BLOCK.unpack_from(payload)
    if number >= len(FORMATS) or packed > 1 or not 1 <= channels <= MAX_CHANNELS or count < 1:
        raise FramingError("a block has an impossible shape")
    name, width = FORMATS[number]
    if len(payload) != BLOCK.size + width * channels * count:
        raise FramingError("a block has the wrong length")
    raw = np.frombuffer(payload, dtype=_DTYPES[name], offset=BLOCK.size)
    raw = raw.reshape(count, channels).T if packed else raw.reshape(channels, count)
    if name in ("flt", "dbl"):
        with np.errstate(over="ignore", invalid="ignore"):
            return raw.astype(np.float32)
    scaled: np.ndarray = raw.astype(np.float32 if width <= 2 else np.float64)
    if name == "u8":
        scaled -= 128.0
    scaled *= _SCALE[name]
    return scaled.astype(np.float32, copy=False)


class Mixer:
    """Mix blocks of one clip to mono and count what had to be repaired.

    Parameters
    ----------
    rate_hz : int

    Attributes
    ----------
    total : int
        Samples so far.
    not_numbers, over_range : int
        Samples replaced by zero, and samples held at :data:`MAX_LEVEL`.
    not_numbers_s : tuple of float or None
        First and last moment of the replaced samples, seconds.
    cancels_from_s : float or None
        From when on one channel is used because the channels cancel.
    """

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self._one: int | None = None
        self.total = 0
        self.not_numbers = 0
        self.over_range = 0
        self.not_numbers_s: tuple[float, float] | None = None
        self.cancels_from_s: float | None = None

    def mix(self, block: np.ndarray) -> np.ndarray:
        """Return one block as mono.

        Parameters
        ----------
        block : ndarray
            float32, shape (channels, n).

        Returns
        -------
        ndarray
            float32, shape (n,), finite.
        """
        block = self._repair(block)
        channels, count = block.shape
        start_s = self.total / self._rate_hz
        self.total += count
        if channels == 1:
            return block[0]
        mean = block.mean(axis=0, dtype=np.float32)
        if self._one is not None and self._one < channels:
            return block[self._one]
        loudest = _cancelling(block)
        if loudest is None:
            return mean
        self._one = loudest
        self.cancels_from_s = start_s
        if start_s == 0.0:
            return block[loudest]
        # A hard switch would sound like a click.
        fade = np.ones(count, dtype=np.float32)
        n_fade = min(count, int(_FADE_S * self._rate_hz))
        fade[:n_fade] = np.linspace(0.0, 1.0, n_fade, dtype=np.float32)
        return mean + fade * (block[loudest] - mean)

    def _repair(self, block: np.ndarray) -> np.ndarray:
        low, high = block.min(), block.max()
        if low >= -MAX_LEVEL and high <= MAX_LEVEL:  # False when a NaN is among them
            return block
        bad = ~np.isfinite(block)
        if bad.any():
            where = np.flatnonzero(bad.any(axis=0))
            first = self.not_numbers_s[0] if self.not_numbers_s else (self.total + where[0]) / self._rate_hz
            self.not_numbers_s = (float(first), float((self.total + where[-1] + 1) / self._rate_hz))
            self.not_numbers += len(where)
        block = np.where(bad, np.float32(0.0), block)
        over = np.abs(block) > MAX_LEVEL
        self.over_range += int(over.any(axis=0).sum())
        return np.clip(block, -MAX_LEVEL, MAX_LEVEL)


def _cancelling(block: np.ndarray) -> int | None:
    """Return the loudest channel when another one cancels it, else None."""
    energy = np.einsum("cn,cn->c", block, block, dtype=np.float64)
    loudest = int(energy.argmax())
    if energy[loudest] <= 1e-9 * block.shape[1]:  # below -90 dBFS: nothing to judge
        return None
    cross = block.astype(np.float64) @ block[loudest].astype(np.float64)
    for other in range(len(energy)):
        if other == loudest or energy[other] < 0.05 * energy[loudest]:
            continue
        if cross[other] < _CANCEL_CORRELATION * np.sqrt(energy[other] * energy[loudest]):
            return loudest
    return None
