"""What a recording can carry, and the one retake that would help most.

Conventions
-----------
A limit names the sounds whose presence *or absence* the clip cannot carry.
Nothing here lowers a danger: a stop from gauge or story is spoken whatever the
clip carries. Bands of telephone codecs: narrow band 300–3400 Hz, wide band
50–7000 Hz (3GPP TS 26.190 / ITU-T G.722.2 for AMR-WB).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from listen.features.collect import ClipFeatures
from listen.features.floor import lies_under_noise
from listen.spectra import FRAME_N, RATE_HZ
from listen.types import Limit, Quality, SoundEvent

SHORTEST_VERDICT_S = 1.0
_BIN_HZ = RATE_HZ / FRAME_N
_QUIET_DBFS = -66.0
_CLIPPED_SOME, _CLIPPED_MUCH = 0.002, 0.05
_LOW_SOUNDS = ("mains_hum", "motor_run", "thump", "boil")
_HISS_SOUNDS = ("hiss",)
_TONAL = ("mains_hum", "mains_buzz", "motor_run", "stroke_train", "squeal")
_STEADY = ("hiss", "boil", "water_flow", "mains_hum", "mains_buzz", "fan")
#: Sounds that hide the machine while they last.
_MASKING = {
    "grinder": ("*",),
    "music": ("hiss", "motor_run", "mains_hum", "click"),
    "speech": ("click", "burst"),
}
_MASK_ALL_SHARE = 0.7
#: What loud, steady noise hides: strokes and whatever is noise itself. Hums, pumps and motors have lines, which stand out of it.
_IN_NOISE = ("click", "click_train", "thump", "burst", "hiss", "drip", "splutter", "gravel", "rattle", "boil")
#: What a machine itself may sound like from end to end: then the floor is that sound.
_LASTING = ("hiss", "blast", "boil", "water_flow", "splutter", "gravel", "arcing")
#: Steady noise that no noise suppression would leave in a clip, and how sure it must be.
_EVEN_NOISE, _PLAIN = ("hiss", "blast", "boil", "water_flow"), 0.8


def measure_quality(features: ClipFeatures, notes: Sequence[Limit] = ()) -> Quality:
    """Judge what a clip can carry.

    Parameters
    ----------
    features : ClipFeatures
    notes : sequence of Limit
        What decoding had to say (a truncated file, for example).
    """
    limits = list(notes)
    usable = True
    level = _level_db(features)
    floor = float(np.percentile(level, 10)) if len(level) else -120.0
    mean = float(10 * np.log10(np.mean(10 ** (level / 10)))) if len(level) else -120.0
    loudest = float(np.percentile(level, 98)) if len(level) else -120.0
    if features.duration_s < SHORTEST_VERDICT_S:
        usable = False
        limits.append(Limit(
            "too_short", f"The clip lasts {features.duration_s:.1f} s: too short to judge by.", ("*",),
            retake="Record again for at least 10 s, beginning before the moment that matters.",
        ))  # fmt: skip
    if loudest < _QUIET_DBFS:
        usable = False
        limits.append(Limit(
            "too_quiet", f"The recording is almost silent (loudest {loudest:.0f} dB below full scale).", ("*",),
            retake="Record again with the phone's microphone uncovered, 20 to 30 cm from the covers.",
        ))  # fmt: skip
    clipped = features.facts.clipped_fraction
    if clipped > _CLIPPED_SOME:
        much = clipped > _CLIPPED_MUCH
        usable = usable and not much
        limits.append(Limit(
            "clipped", f"The recording is overdriven ({100 * clipped:.1f} % of it at full scale).",
            ("*",) if much else ("gravel", "rattle", "bang"),
            retake="Record again from about one metre away, so that the loudest moment does not overdrive the phone.",
        ))  # fmt: skip
    band = usable_band_hz(features)
    limits += _band_limits(band)
    limits += _suppression(features)
    limits += _pumping(features)
    limits += _steady_noise(features)
    limits += [
        Limit(
            "splice",
            f"The recording skips at {start:.1f} s.",
            ("click", "click_train"),
            start - 0.05,
            end + 0.05,
        )
        for start, end in features.facts.holes[:20]
    ]
    return Quality(usable, band, clipped, floor, mean, tuple(limits))


def _level_db(features: ClipFeatures) -> np.ndarray:
    return 10 * np.log10(np.sum(10 ** (features.bands_db[:, 3:] / 10), axis=1))


def usable_band_hz(features: ClipFeatures) -> tuple[float, float]:
    """Find where the recording chain cut: the lowest and highest frequency that came through.

    A codec's edge is a cliff in the long-term spectrum with nothing above it;
    a quiet treble without a cliff is a quiet treble.
    """
    db = features.ltas_db
    nyquist = min(features.rate_hz / 2.0, RATE_HZ / 2.0)
    top = min(len(db) - 1, int(nyquist / _BIN_HZ) - 3)
    high = nyquist
    smooth = np.convolve(db, np.ones(7) / 7, mode="same")
    for bin_ in range(int(2500 / _BIN_HZ), top - 14):
        above = smooth[bin_ + 12 : top]
        if (
            len(above)
            and smooth[bin_ - 12] - np.max(above) > 18.0
            and smooth[bin_ - 12] - smooth[bin_ + 12] > 18.0
        ):
            high = bin_ * _BIN_HZ
            break
    # The low edge is read from bins that a 32 ms window still separates.
    low = 0.0
    reference = np.median(db[int(400 / _BIN_HZ) : int(1000 / _BIN_HZ)])
    if np.all(db[2:6] < reference - 22.0):
        low = 200.0
        if np.all(db[2:9] < reference - 22.0):
            low = 300.0
    return low, high


def _band_limits(band: tuple[float, float]) -> list[Limit]:
    low, high = band
    limits = []
    if high <= 4100.0:
        limits.append(Limit(
            "narrow_band",
            "Telephone band (up to about 3.4 kHz): hiss is not observable, nor the base of a hum.",
            tuple(dict.fromkeys(_HISS_SOUNDS + _LOW_SOUNDS + ("gravel", "burst"))),
            retake="Ask for a file from the phone's voice recorder or camera instead of a call or voice message.",
        ))  # fmt: skip
    elif high <= 7600.0:
        limits.append(Limit(
            "wide_band_call",
            "Call or voice-message band (up to about 7 kHz): a faint hiss would be cut off.",
            (),
            retake="Ask for a file from the phone's voice recorder or camera instead of a call or voice message.",
        ))  # fmt: skip
    if low >= 200.0 and high > 4100.0:
        limits.append(Limit(
            "low_cut", f"The recording holds nothing below about {low:.0f} Hz: the base of a hum is not observable.",
            ("mains_hum", "thump"),
            retake="Record again with the phone's plain recorder, without noise suppression.",
        ))  # fmt: skip
    return limits


def _suppression(features: ClipFeatures) -> list[Limit]:
    """A steady tone that sinks in the first seconds but does not go away was erased as noise."""
    table = features.lines
    if len(table.hz) < 9:
        return []
    sunk = 0
    for hz, level, over in zip(table.hz[0], table.level_db[0], table.over_db[0], strict=True):
        if not np.isfinite(hz) or hz < 80.0 or over < 15.0:
            continue
        later = []
        for w in range(4, 9):
            near = np.abs(table.hz[w] - hz) < 0.4
            if near.any():
                later.append(float(np.max(table.level_db[w][near])))
        # Erased, not ended: still there, steady, and far weaker than at first.
        if len(later) >= 4 and np.std(later) < 2.0 and 7.0 < level - float(np.median(later)) < 32.0:
            sunk += 1
    steady = abs(float(np.median(table.floor_db[4:9])) - float(table.floor_db[0])) < 4.0
    if sunk and steady:
        return [Limit(
            "tone_suppressed", "The phone's noise suppression erased a steady hum in the first seconds.", _TONAL + _STEADY,
            retake="Record again with the phone's plain recorder, with noise suppression and voice enhancement off.",
        )]  # fmt: skip
    return []


def _pumping(features: ClipFeatures) -> list[Limit]:
    """The floor falls after each loud moment and creeps back: the phone rides the gain."""
    level = features.band_db(900.0, 8500.0)
    onsets = features.onsets
    loud = onsets.column("time_s")[onsets.column("rise_db") > 22.0] if len(onsets.rows) else np.zeros(0)
    from_s = features.times_s
    falls = []
    last = -10.0
    for at in loud:
        if at - last < 2.0:
            continue
        last = float(at)
        before, after, later = (
            level[slice(*np.searchsorted(from_s, [at + a, at + b]))]
            for a, b in ((-0.7, -0.08), (0.35, 0.7), (1.4, 2.2))
        )
        if min(len(before), len(after), len(later)) < 4:
            continue
        dip = np.median(before) - np.percentile(after, 30)
        back = np.median(later) - np.percentile(after, 30)
        falls.append(dip > 5.0 and back > 3.0)
    if len(falls) >= 2 and np.mean(falls) >= 0.6:
        return [Limit(
            "gain_pumping", "The phone rides the recording level: loudness changes in this clip mean little.", ("boil", "hiss"),
            retake="Record again with automatic level (and any voice mode) off, or from a steadier distance.",
        )]  # fmt: skip
    return []


def _steady_noise(features: ClipFeatures) -> list[Limit]:
    """Nothing stands far out of a loud floor: what is softer would not be heard, so its absence says nothing."""
    if not lies_under_noise(features):
        return []
    return [Limit(
        "steady_noise", "Loud, steady noise lies over the whole recording: softer sounds would be lost in it.", _IN_NOISE,
        retake="Record again with extractor fan, taps and other appliances off; not if anything hisses, leaks or smells.",
    )]  # fmt: skip


def with_masks(quality: Quality, events: Iterable[SoundEvent], duration_s: float) -> Quality:
    """Add the spans that a grinder, music or speech hides; a clip hidden for the most part is not usable.

    A steady noise that is named as a sound of the machine is no limit any more, and where one lasts,
    the phone does not erase steady noise, though it may erase tones.
    """
    events = list(events)
    limits = [
        replace(limit, blocks=_TONAL)
        if limit.code == "tone_suppressed" and _lasts(events, _EVEN_NOISE, duration_s, _PLAIN)
        else limit
        for limit in quality.limits
        if not (limit.code == "steady_noise" and _lasts(events, _LASTING, duration_s))
    ]
    hidden = 0.0
    for event in events:
        blocks = _MASKING.get(event.sound)
        if blocks is None or event.duration_s < 0.4:
            continue
        if blocks == ("*",):
            hidden += event.duration_s
        limits.append(Limit(
            "masked", f"{event.sound.capitalize()} hides the machine from {event.onset_s:.1f} to {event.offset_s:.1f} s.",
            blocks, event.onset_s, event.offset_s,
            retake=f"Record again without {'the grinder running' if event.sound == 'grinder' else event.sound}.",
        ))  # fmt: skip
    usable = quality.usable and hidden < _MASK_ALL_SHARE * max(duration_s, 1e-9)
    return replace(quality, usable=usable, limits=tuple(limits))


def _lasts(
    events: Sequence[SoundEvent], sounds: tuple[str, ...], duration_s: float, sure: float = 0.0
) -> bool:
    """Tell whether one of `sounds`, at least that sure, lasts for most of a clip."""
    longest_s = max(
        (e.duration_s for e in events if e.sound in sounds and e.probability >= sure), default=0.0
    )
    return longest_s >= _MASK_ALL_SHARE * max(duration_s, 1e-9)
