"""Physics of clicks, knocks, chatter and tones."""

import numpy as np
import pytest

from synthetic_audio.randomness import generator
from synthetic_audio.ranges import pick
from synthetic_audio.sources import SOURCES
from tests.synthetic_audio import measure

RATE_HZ = 48_000
KINDS = ("valve_on", "valve_off", "relay", "switch", "lever", "tick")


def _click(kind: str, seed: int = 0, split: str = "train") -> np.ndarray:
    rng = generator(seed, split, kind)
    relay = kind in ("relay", "switch", "tick")
    params = {
        "kind": kind,
        "ring_hz": pick(rng, split, "relay_ring_hz" if relay else "valve_ring_hz"),
        "ring_ms": 10.0 if relay else pick(rng, split, "valve_ring_ms"),
        "pulse_ms": 0.6 if relay else pick(rng, split, "pulse_ms"),
        "bounce_ms": pick(rng, split, "bounce_ms"),
    }
    return SOURCES["click"](rng, RATE_HZ, 0.05, params)


@pytest.mark.parametrize("split", ["train", "held_out"])
@pytest.mark.parametrize("kind", KINDS)
def test_click_is_short_and_rings_in_the_kilohertz(kind, split):
    for seed in range(4):
        wave = _click(kind, seed, split)
        energy = np.cumsum(wave.astype(float) ** 2)
        ends = np.searchsorted(energy, 0.999 * energy[-1]) / RATE_HZ
        assert ends < 0.050, (kind, seed)
        freqs = np.fft.rfftfreq(16_384, 1 / RATE_HZ)
        power = np.abs(np.fft.rfft(wave, 16_384)) ** 2
        share = power[(freqs > 800) & (freqs < 9000)].sum() / power.sum()
        assert share > (0.45 if kind == "lever" else 0.7), (kind, seed, share)


def test_relay_bounces_within_five_milliseconds():
    # Bounce of mains relays 1-5 ms: handbook range, from memory.
    for seed in range(5):
        level = measure.level_db(_click("relay", seed), 0.0004)
        first = int(np.argmax(level > level.max() - 25))
        rise = np.diff(level[first:][:: RATE_HZ // 4000])
        again = [i * 0.25 for i in range(3, len(rise)) if rise[i] > 4.0]
        assert again, seed
        assert 0.7 <= again[0] <= 6.5


def test_spring_return_is_softer_than_pull_in():
    on, off = _click("valve_on"), _click("valve_off")
    high_on, high_off = (np.sum(np.diff(w) ** 2) / np.sum(w**2) for w in (on, off))
    assert high_off < high_on


@pytest.mark.parametrize("clicks_hz", [4.0, 12.0, 27.0])
def test_chatter_comes_at_its_rate_and_unevenly(clicks_hz):
    params = {
        "kind": "relay",
        "ring_hz": 3500.0,
        "ring_ms": 10.0,
        "pulse_ms": 0.6,
        "bounce_ms": 1.5,
        "clicks_hz": clicks_hz,
        "regularity": 30.0,
    }
    wave = SOURCES["click_train"](generator(1, "train", "chatter"), RATE_HZ, 8.0, params)
    level = measure.level_db(wave, 0.002)
    loud = level > level.max() - 18
    starts = np.flatnonzero(np.diff(loud.astype(int)) == 1) / RATE_HZ
    starts = starts[np.insert(np.diff(starts) > 0.012, 0, True)]
    assert len(starts) / 8.0 == pytest.approx(clicks_hz, rel=0.25)
    assert np.std(np.diff(starts)) > 0.05 * np.mean(np.diff(starts))


@pytest.mark.parametrize("hardness", [0.2, 1.0])
def test_thump_is_low_and_decays(hardness):
    wave = SOURCES["thump"](
        generator(2, "train"), RATE_HZ, 0.2, {"low_hz": 80.0, "ring_s": 0.3, "hardness": hardness}
    )
    freqs = np.fft.rfftfreq(len(wave), 1 / RATE_HZ)
    power = np.abs(np.fft.rfft(wave)) ** 2
    assert power[(freqs > 20) & (freqs < 400)].sum() > 0.7 * power.sum()
    level = measure.level_db(wave, 0.02)
    assert level[: RATE_HZ // 20].max() - level[int(0.25 * RATE_HZ)] > 25


@pytest.mark.parametrize(("source", "tone_hz"), [("squeal", 2600.0), ("honk", 230.0), ("beep", 3000.0)])
def test_tones_stand_where_asked(source, tone_hz):
    wave = SOURCES[source](generator(3, "train"), RATE_HZ, 2.0, {"tone_hz": tone_hz})
    assert measure.strongest_line_hz(wave, 0.5 * tone_hz, 1.5 * tone_hz) == pytest.approx(tone_hz, rel=0.02)


def test_rattle_shakes_at_the_comb_and_drops_out():
    wave = SOURCES["rattle"](generator(4, "train"), RATE_HZ, 6.0, {"shake_hz": 50.0})
    envelope = np.abs(wave.astype(float))
    envelope = envelope.reshape(-1, 48).mean(axis=1)
    power = np.abs(np.fft.rfft(envelope - envelope.mean())) ** 2
    freqs = np.fft.rfftfreq(len(envelope), 0.001)
    near = power[np.abs(freqs - 50) < 1].mean()
    assert near > 5 * power[(freqs > 55) & (freqs < 95)].mean()
    seconds = envelope.reshape(-1, 100).mean(axis=1)
    assert seconds.min() < 0.2 * seconds.mean()


def test_scrape_is_short_and_mid_band():
    wave = SOURCES["scrape"](generator(5, "train"), RATE_HZ, 0.4, {})
    assert len(wave) <= 0.41 * RATE_HZ
    assert 1000 < measure.centroid_hz(wave) < 6500
