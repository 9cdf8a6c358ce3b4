"""Where a played scene lies in its recording, and what of each sound is left there.

Conventions
-----------
The lag is how much later the recording has what was played. It is found by
cross-correlation of the two, whitened, in the band that every codec passes; parts of
the clip must agree, because a busy machine may lose a block. The loss of a sound
is the fall in level, from what was played to what was recorded, of the
time-frequency cells in which that sound stood at least 6 dB over all else, within
the codec's band. It is against what was played, not against the recording's own
floor: suppression lowers both. Gain control raises the level, never lowers it far,
so that it hides some loss and invents none.
"""

from __future__ import annotations

import io
from dataclasses import asdict
from typing import Any

import av
import numpy as np
import scipy.fft
import soxr
from scipy.ndimage import uniform_filter1d

from synthetic_audio.render import Scene
from synthetic_audio.truth import CARRY_DB, ONE_STROKE, PASSED_SHARE, SPARSE, Label
from synthetic_audio.vocabulary import STEADY

RATE_HZ = 48_000
#: Correlation is made at this rate, within a band that every codec passes.
SLOW_HZ, BAND_HZ = 8_000, (350.0, 3_200.0)
LONGEST_LAG_S = 0.1
WHITEN_HZ = 2.0
#: A peak that stands less than this over the rest (RMS) is no alignment (our choice).
LEAST_PEAK = 8.0
#: Nor one whose next best place is nearly as good: a hum matches itself a period on (our choice).
SECOND_PEAK = 0.7
#: The clip as a whole may speak alone when it is clearer than this (our choice).
ALONE_PEAK = 0.5
#: Parts of a clip that differ by more than this have lost a block that matters to a click.
DRIFT_S = 0.012
#: A lasting sound is erased when it fell by this much for at least this share of its time (our choice):
#: the suppression needs 0.5 s (a tone) to 2.5 s (a pump that starts) to take a sound away.
ERASED_DB, ERASED_SHARE = 6.0, 0.5
BLOCK_S = 0.25
#: A shorter sound is over before the suppression has learned it.
LEARNS_S = 1.5
#: Gravel is not steady, but its grains are too dense to be spared.
LASTING = STEADY | {"gravel"}
OVER_REST = 4.0


def decode(data: bytes) -> np.ndarray:
    """Return the samples (n,) of a recording, mixed to mono, at 48 kHz."""
    blocks = []
    with av.open(io.BytesIO(data)) as container:
        # Channels are averaged here: the library's own mix of stereo is 3 dB louder.
        resampler = av.AudioResampler("fltp", None, RATE_HZ)
        for frame in container.decode(audio=0):
            blocks += [out.to_ndarray().mean(axis=0) for out in resampler.resample(frame)]
        blocks += [out.to_ndarray().mean(axis=0) for out in resampler.resample(None)]
    return np.concatenate(blocks).astype(np.float32)


def _lag(played: np.ndarray, recorded: np.ndarray) -> tuple[float, float]:
    """Return the lag in s of two signals at SLOW_HZ, and its doubt: second best peak over best, 0..1."""
    n = scipy.fft.next_fast_len(len(played) + len(recorded), real=True)
    freqs = scipy.fft.rfftfreq(n, 1 / SLOW_HZ)
    inside = (freqs > BAND_HZ[0]) & (freqs < BAND_HZ[1])
    spectra = scipy.fft.rfft(played, n), scipy.fft.rfft(recorded, n)
    # Each whitened over WHITEN_HZ: narrow enough that the lines of a hum, which match every
    # period, do not outweigh the noise between them, which matches once.
    width = max(1, round(WHITEN_HZ * n / SLOW_HZ))
    powers = [uniform_filter1d(np.abs(s) ** 2, width) for s in spectra]
    cross = spectra[1] * np.conj(spectra[0]) / np.sqrt(powers[0] * powers[1] + 1e-20)
    match = scipy.fft.irfft(np.where(inside, cross, 0), n)
    reach = round(LONGEST_LAG_S * SLOW_HZ)
    near = np.abs(np.concatenate([match[-reach:], match[: reach + 1]]))
    best = int(np.argmax(near))
    peak, level = near[best], np.sqrt(np.mean(match**2)) + 1e-20
    beside = round(0.0015 * SLOW_HZ)
    near[max(0, best - beside) : best + beside + 1] = 0
    doubt = float(near.max() / peak) if peak >= LEAST_PEAK * level else 1.0
    return (best - reach) / SLOW_HZ, doubt


def align(played: np.ndarray, recorded: np.ndarray) -> tuple[float | None, str]:
    """Return the lag in s, or None and the reason why it cannot be told.

    Parameters
    ----------
    played, recorded : np.ndarray [shape=(n,)] and [shape=(m,)]
        At 48 kHz.
    """
    slow = [soxr.resample(x.astype(np.float32), RATE_HZ, SLOW_HZ) for x in (played, recorded)]
    lag_s, doubt = _lag(*slow)
    if doubt > SECOND_PEAK:
        return None, "no clear match"
    part, extra = len(slow[0]) // 3, round(LONGEST_LAG_S * SLOW_HZ)
    lags = []
    for start in range(0, 3 * part, part):
        own, unsure = _lag(slow[0][start : start + part], slow[1][start : start + part + extra])
        if unsure <= SECOND_PEAK:
            lags.append(own)
    if not lags and doubt > ALONE_PEAK:
        return None, "no part of the clip can be matched"
    apart_s = max([*lags, lag_s]) - min([*lags, lag_s])
    if apart_s > DRIFT_S:
        return None, f"parts differ by {1000 * apart_s:.0f} ms"
    return lag_s, ""


def _cells(wave: np.ndarray, n: int) -> np.ndarray:
    """Return the power (t, m) of frames of n samples, half overlapping."""
    window = np.hanning(n).astype(np.float32)
    frames = np.lib.stride_tricks.sliding_window_view(wave, n)[:: n // 2]
    return np.abs(scipy.fft.rfft(frames * window, axis=1)) ** 2


def losses_db(
    label: Label, stem: np.ndarray, played: np.ndarray, recorded: np.ndarray, band_hz: tuple[float, float]
) -> list[float]:
    """Return how much the cells of one sound fell, block by block; nothing where it stands out nowhere.

    Parameters
    ----------
    label : Label
        A lasting sound is cut into blocks of BLOCK_S, any other is one block.
    stem, played, recorded : np.ndarray [shape=(n,)]
        The sound alone, all that was played, and the recording brought into its time, at 48 kHz.
    band_hz : (float, float)
        What the codec passes.
    """
    n = 512 if label.sound in ONE_STROKE | SPARSE else 2048
    end = min(len(stem), len(recorded))
    start, stop = int(label.onset_s * RATE_HZ), min(int(label.offset_s * RATE_HZ), end)
    step = round(BLOCK_S * RATE_HZ) if label.sound in LASTING else max(stop - start, 2 * n)
    freqs = scipy.fft.rfftfreq(n, 1 / RATE_HZ)
    inside = (freqs >= band_hz[0]) & (freqs <= band_hz[1])
    out = []
    for at in range(start, max(stop - step // 2, start + 1), step):
        span = slice(at, min(at + step, end))
        if span.stop - at < n:
            continue
        own, rest, before, after = (_cells(x[span], n) for x in (stem, played - stem, played, recorded))
        chosen = (own > OVER_REST * rest) & inside & (own > 1e-3 * own.max())
        if chosen.any():
            out.append(float(10 * np.log10(before[chosen].sum() / (after[chosen].sum() + 1e-20))))
    return out


def stem_of(scene: Scene, label: Label) -> np.ndarray:
    """Return the stem that a label of the scene speaks of."""
    if label.source != "background":
        return scene.stems[label.sound]
    start, stop = int(label.onset_s * RATE_HZ), int(label.offset_s * RATE_HZ)
    ours = [event for event in scene.spec.events if event.sound == label.sound]
    names = {f"background:{event.source}" for event in ours} & set(scene.stems)
    return max((scene.stems[name] for name in names), key=lambda stem: float(np.sum(stem[start:stop] ** 2)))


def truth_of(
    scene: Scene,
    played: np.ndarray,
    recorded: np.ndarray,
    lag_s: float,
    *,
    suppressed: bool,
    band_hz: tuple[float, float],
) -> dict[str, Any]:
    """Return labels and story in the time of the recording, and whether it carries its verdict.

    Parameters
    ----------
    scene : Scene
        Judged with the codec's band (its labels' `passed_share` and `snr_db`).
    played, recorded : np.ndarray [shape=(n,)] and [shape=(m,)]
        At 48 kHz.
    lag_s : float
    suppressed : bool
        Noise suppression was on: only then can a sound be erased.
    band_hz : (float, float)
        What the codec passes.

    Returns
    -------
    dict
        `labels` and `deciding` (with the median `loss_db`, which may be None, the share of time
        lost, and `erased`), `story`, `carries`.
    """  # fmt: skip
    shift = round(lag_s * RATE_HZ)
    moved = recorded[shift:] if shift >= 0 else np.pad(recorded, (-shift, 0))
    moved = np.pad(moved, (0, max(0, len(played) - len(moved))))[: len(played)]

    def row(label: Label) -> dict[str, Any]:
        lasts = label.sound in LASTING and label.offset_s - label.onset_s > LEARNS_S
        lost = [] if label.absent else losses_db(label, stem_of(scene, label), played, moved, band_hz)
        share = float(np.mean([x >= ERASED_DB for x in lost])) if lost else 0.0
        # A sound that is not there cannot be measured: suppression would have taken it, were it lasting.
        gone = label.absent or share >= ERASED_SHARE
        out = asdict(label)
        out["onset_s"] = round(max(0.0, label.onset_s + lag_s), 4)
        out["offset_s"] = round(label.offset_s + lag_s, 4)
        out["loss_db"] = round(float(np.median(lost)), 1) if lost else None
        out["lost_share"] = round(share, 3)
        return out | {"erased": bool(suppressed and lasts and gone)}

    deciding = [row(label) for label in scene.deciding]
    carried = all(
        d["snr_db"] >= CARRY_DB and d["passed_share"] >= PASSED_SHARE and not d["erased"] for d in deciding
    )
    return {
        "labels": [row(label) for label in scene.labels],
        "deciding": deciding,
        "story": [[round(at_s + lag_s, 3) if at_s > 0 else 0.0, word] for at_s, word in scene.story],
        "carries": bool(deciding) and carried,
    }
