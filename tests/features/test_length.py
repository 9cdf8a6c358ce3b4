"""Short clips, silence and hours: nothing falls over, nothing grows but what is meant to."""

import dataclasses

import numpy as np
import pytest

from listen.features.collect import BANDS_K, Collector
from listen.features.lines import KEEP
from listen.features.mains import comb_tracks, estimate_mains
from listen.features.names import TEXTURE_NAMES
from listen.features.onsets import ONSET_NAMES
from listen.features.picture import MAX_COLUMNS, ROWS
from listen.features.textures import segment_textures
from listen.spectra import CELL_S, RATE_HZ
from tests.support.signals import collect, noise


def kept_bytes(value) -> int:
    """Bytes of all arrays that a feature table keeps."""
    if isinstance(value, np.ndarray):
        # A view keeps its base alive.
        return value.nbytes if value.base is None else max(value.nbytes, getattr(value.base, "nbytes", 0))
    if dataclasses.is_dataclass(value):
        seen, total = set(), 0
        for field in dataclasses.fields(value):
            part = getattr(value, field.name)
            if isinstance(part, np.ndarray):
                owner = part if part.base is None else part.base
                if id(owner) in seen:
                    continue
                seen.add(id(owner))
            total += kept_bytes(part)
        return total
    return 0


@pytest.mark.parametrize("rate_hz", [8_000, 32_000, 44_100])
@pytest.mark.parametrize("duration_s", [0.02, 0.1, 0.5, 0.9, 1.1, 2.0])
def test_short_clips_give_features(duration_s, rate_hz):
    features = collect(noise(duration_s, 0.05, 1, rate_hz), rate_hz)
    assert features.duration_s == pytest.approx(duration_s, abs=1e-3)
    assert features.bands_db.shape[1] == len(BANDS_K)
    assert np.isfinite(features.bands_db).all() and np.isfinite(features.ltas_db).all()
    assert features.lines.hz.shape[1] == KEEP
    combs = comb_tracks(features.lines, estimate_mains(features.lines))
    segments = segment_textures(features, combs)
    assert segments.values.shape[1] == len(TEXTURE_NAMES)
    assert np.isfinite(segments.values).all()
    if duration_s >= 0.5:
        assert len(segments.values) >= 1
        assert len(features.bands_db) == pytest.approx(duration_s / CELL_S, abs=1.1)


def test_nothing_at_all_gives_empty_features():
    features = Collector(RATE_HZ).finish()
    assert features.duration_s == 0.0 and len(features.onsets.rows) == 0
    combs = comb_tracks(features.lines, estimate_mains(features.lines))
    assert segment_textures(features, combs).values.shape == (
        len(segment_textures(features, combs).starts_s), len(TEXTURE_NAMES),
    )  # fmt: skip


def test_silence_holds_nothing():
    features = collect(np.zeros(5 * RATE_HZ))
    assert len(features.onsets.rows) == 0
    assert not np.isfinite(features.lines.hz).any()
    assert estimate_mains(features.lines).hz is None
    assert features.bands_db.max() < -100
    assert features.facts.silent_fraction == 1.0 and features.facts.holes == ()


def test_arrays_of_an_hour_stay_small():
    minute = noise(60.0, 0.05, 2).astype(np.float32)

    def after(minutes):
        collector = Collector(RATE_HZ)
        for _ in range(minutes):
            collector.push(minute)
        return collector.finish()

    two, ten = after(2), after(10)
    assert ten.duration_s == 600.0
    assert ten.picture.levels_db.shape[0] == ROWS
    assert two.picture.levels_db.shape[1] <= MAX_COLUMNS and ten.picture.levels_db.shape[1] <= MAX_COLUMNS
    fixed = two.picture.levels_db.nbytes
    per_hour = 6 * (kept_bytes(ten) - ten.picture.levels_db.nbytes)
    # Measured 24.5 MB, 12 of them single lines; the samples of an hour at 32 kHz would be 460 MB.
    assert per_hour < 28e6
    assert kept_bytes(two) - fixed == pytest.approx(
        (kept_bytes(ten) - ten.picture.levels_db.nbytes) / 5, rel=0.05
    )
    assert ten.onsets.rows.shape[1] == len(ONSET_NAMES)


def test_stream_keeps_no_samples_behind():
    collector = Collector(RATE_HZ)
    sizes = []
    for n in range(6):
        collector.push(noise(20.0, 0.05, n))
        stream = collector._stream
        grids = (stream._frames, stream._envelope, stream._low, stream._lines)
        rest = sum(len(grid._rest) for grid in grids) + len(collector._onsets._rest)
        sizes.append(rest + len(collector._frames_rest) + len(collector._envelope_rest))
        for grid in grids:
            owner = grid._rest if grid._rest.base is None else grid._rest.base
            assert owner.nbytes <= 4 * 4 * grid.n
    assert max(sizes) < 2 * 8192 + 4096
    assert sizes[-1] < 1.2 * max(sizes[:3])
