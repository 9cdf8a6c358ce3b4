"""Physics of jets, discharge and water."""

import numpy as np
import pytest

from synthetic_audio.randomness import generator
from synthetic_audio.sources import SOURCES, jet, water
from tests.synthetic_audio import measure

RATE_HZ = 48_000
VENT = {"peak_hz": 5000.0, "spit_hz": 10.0, "spit_depth": 0.6, "grow_db": 12.0}
BLAST = {"peak_hz": 1200.0, "rise_ms": 20.0, "flutter_hz": 30.0, "flutter_depth": 0.3}


def _play(source: str, for_s: float, seed: int = 0, **params) -> np.ndarray:
    return SOURCES[source](
        generator(seed, "train", source), RATE_HZ, for_s, {"at_s": 0.0, "mains_hz": 50.0, **params}
    )


def test_jet_peak_follows_strouhal():
    # St = f d / u = 0.2 (from memory); 0.5 mm at 470 m/s and 3 mm at 100 m/s computed by hand.
    assert jet.peak_hz(0.0005, 470.0) == pytest.approx(188_000)
    assert jet.peak_hz(0.003, 100.0) == pytest.approx(6667, rel=1e-3)


@pytest.mark.parametrize("slope_db", [0.0, 1.5, 3.0])
def test_leak_rises_by_its_slope_to_the_microphones_limit(slope_db):
    wave = _play("leak", 6.0, slope_db=slope_db)
    centres = [4000.0, 8000.0, 16_000.0]
    level = measure.density_db(wave, centres)
    np.testing.assert_allclose(np.diff(level), slope_db, atol=0.6)
    assert measure.density_db(wave, [300.0])[0] < level[0] - 10


@pytest.mark.parametrize("end_ms", [25.0, 160.0, 250.0])
def test_vent_grows_and_ends_at_once(end_ms):
    wave = _play("vent", 12.0, **VENT, end_ms=end_ms)
    level = measure.level_db(wave, 1.0)
    assert level[11 * RATE_HZ] - level[2 * RATE_HZ] > 5
    fine = measure.level_db(wave, 0.01)
    before = np.median(fine[-RATE_HZ : -int(0.3 * RATE_HZ)])
    gone = np.flatnonzero(fine > before - 20)[-1]
    started = np.flatnonzero(fine > before - 1)[-1]
    assert (gone - started) / RATE_HZ < 0.3
    assert measure.density_db(wave, [6000.0])[0] > measure.density_db(wave, [800.0])[0]


@pytest.mark.parametrize("spit_hz", [6.0, 12.0, 19.0])
def test_vent_spits_at_its_rate(spit_hz):
    wave = _play(
        "vent", 20.0, **{**VENT, "spit_hz": spit_hz, "grow_db": 0.0, "spit_depth": 0.7}, end_ms=100.0
    )
    envelope = np.sqrt((wave[: len(wave) // 480 * 480].astype(float) ** 2).reshape(-1, 480).mean(axis=1))
    power = np.abs(np.fft.rfft(envelope - envelope.mean())) ** 2
    freqs = np.fft.rfftfreq(len(envelope), 0.01)
    inside = power[(freqs > 0.2 * spit_hz) & (freqs < 1.6 * spit_hz)].mean()
    beyond = (
        power[(freqs > 2.2 * spit_hz) & (freqs < 49)].mean() if spit_hz < 18 else power[freqs > 40].mean()
    )
    assert inside > 5 * beyond


@pytest.mark.parametrize("rise_ms", [5.0, 25.0, 40.0])
def test_blast_is_there_within_fifty_milliseconds(rise_ms):
    wave = _play("blast", 4.0, **{**BLAST, "rise_ms": rise_ms})
    level = measure.level_db(wave, 0.004)
    full = np.median(level[RATE_HZ : 2 * RATE_HZ])
    reached = int(np.argmax(level > full - 3)) / RATE_HZ
    assert reached < 0.050


def test_blast_is_broad_flutters_and_has_a_lower_centre_than_a_leak():
    wave = _play("blast", 6.0, **BLAST)
    assert measure.centroid_hz(wave) < 0.6 * measure.centroid_hz(_play("leak", 4.0, slope_db=1.5))
    low, mid, high = measure.density_db(wave, [700.0, 3000.0, 14_000.0])
    assert high > mid - 15
    assert low > mid - 10
    envelope = np.sqrt((wave[: len(wave) // 240 * 240].astype(float) ** 2).reshape(-1, 240).mean(axis=1))
    power = np.abs(np.fft.rfft(envelope - envelope.mean())) ** 2
    freqs = np.fft.rfftfreq(len(envelope), 0.005)
    near = power[(freqs > 22) & (freqs < 38)].mean()
    assert near > 3 * power[(freqs > 50) & (freqs < 95)].mean()


@pytest.mark.parametrize("decay_s", [0.3, 1.0, 2.0])
def test_burst_falls_by_twenty_db_in_its_time(decay_s):
    wave = _play("burst", decay_s, peak_hz=3000.0, attack_ms=6.0, wet=0.2)
    level = measure.level_db(wave, 0.05 * decay_s + 0.01)
    start = level[: int(0.2 * decay_s * RATE_HZ)].max()
    fell = start - level[int(0.9 * decay_s * RATE_HZ)]
    assert 11 < fell < 24
    share = wave[: int(decay_s * RATE_HZ)]
    assert 1500 < measure.centroid_hz(share) < 8000


@pytest.mark.parametrize(("radius_mm", "expected_hz"), [(1.0, 3260.0), (0.5, 6520.0), (10.0, 326.0)])
def test_bubbles_ring_as_minnaert_says(radius_mm, expected_hz):
    # Minnaert 1933; f a = 3.26 m/s for air in water at atmospheric pressure is the textbook value.
    assert water.bubble_hz(radius_mm / 1000) == pytest.approx(expected_hz, rel=0.015)


def test_drips_ring_near_their_bubble_and_are_countable():
    wave = _play("drip", 6.0, radius_mm=1.2, drip_hz=2.0)
    level = measure.level_db(wave, 0.004)
    loud = level > level.max() - 15
    starts = np.flatnonzero(np.diff(loud.astype(int)) == 1)
    starts = starts[np.insert(np.diff(starts) > 0.1 * RATE_HZ, 0, True)]
    assert 4 <= len(starts) <= 12
    assert 2000 < measure.centroid_hz(wave) < 4500  # 3.26 / 1.2 mm = 2.7 kHz, +-25 %


def test_boil_grows_turns_and_falls_in_its_band():
    wave = _play("boil", 20.0, peak_hz=600.0, grow_db=12.0, fall_db=10.0, turn=0.7)
    level = measure.level_db(wave, 1.0)
    at = [level[int(t * RATE_HZ)] for t in (2.0, 14.0, 19.0)]
    assert at[1] > at[0] + 7
    assert at[1] > at[2] + 4
    inside, below, above = measure.density_db(wave, [600.0, 40.0, 9000.0])
    assert inside > below + 15
    assert inside > above + 15


def test_gravel_is_impulsive_and_high():
    wave = _play("gravel", 4.0, impulses_hz=150.0, ring_hz=3500.0)
    middle = wave[RATE_HZ : 3 * RATE_HZ].astype(float)
    kurtosis = np.mean(middle**4) / np.mean(middle**2) ** 2
    assert kurtosis > 5  # Gaussian noise has 3
    freqs, power = np.fft.rfftfreq(len(middle), 1 / RATE_HZ), np.abs(np.fft.rfft(middle)) ** 2
    assert power[(freqs > 1000) & (freqs < 10_000)].sum() > 0.85 * power.sum()


def test_water_sounds_keep_to_their_bands():
    flow = _play("water_flow", 4.0)
    assert 700 < measure.centroid_hz(flow) < 6000
    gurgle = _play("gurgle", 4.0)
    assert measure.centroid_hz(gurgle) < 900
    splutter = _play("splutter", 4.0, splutter_hz=8.0)
    frames = (splutter[: 4 * RATE_HZ].astype(float) ** 2).reshape(-1, 480).mean(axis=1)
    assert np.percentile(frames, 90) > 10 * np.percentile(frames, 20)


def test_wand_opens_by_hand_not_at_once():
    wave = _play("wand", 6.0, peak_hz=2000.0, rise_s=0.4)
    level = measure.level_db(wave, 0.01)
    full = np.median(level[2 * RATE_HZ : 4 * RATE_HZ])
    assert int(np.argmax(level > full - 3)) / RATE_HZ > 0.1
