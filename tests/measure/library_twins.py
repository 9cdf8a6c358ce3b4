"""Print how alike two copies of one recording are after codecs, cuts and gain, against two takes of one machine.

``OMP_NUM_THREADS=1 python -m tests.measure.library_twins``
"""

from __future__ import annotations

import io
import tempfile
from pathlib import Path

import numpy as np
import soundfile
import soxr

from listen.library.measure import Measured, measure_clip
from listen.library.observed import MIDS_HZ
from listen.library.twins import SAME_FROM, common_bands, likeness
from synthetic_audio import FAMILIES, draw, render
from tests.support.encode import encode

#: Format and sample rate of the copies.
COPIES = (("m4a_aac", 16_000), ("ogg_opus", 16_000), ("amr_nb", 8_000), ("mp3", 16_000))


def measured(folder: Path, data: bytes) -> Measured:
    """Measure a clip from its bytes."""
    path = folder / "clip"
    path.write_bytes(data)
    return measure_clip(path, name="clip")


def alike(a: Measured, b: Measured) -> float:
    """Likeness of two clips over the bands that both carry."""
    low, high = max(a.band_hz[0], b.band_hz[0]), min(a.band_hz[1], b.band_hz[1])
    bands = common_bands(low, high, MIDS_HZ)
    return likeness(a.traces_db, b.traces_db, bands)[0] if bands[1] - bands[0] >= 4 else 0.0


if __name__ == "__main__":
    rng = np.random.default_rng(1)
    firsts: list[Measured] = []
    same: dict[str, list[float]] = {name: [] for name, _ in COPIES}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for seed, family in enumerate(f for f in FAMILIES if not f.startswith("fill")):
            scene = render(draw(61_000 + seed, family=family, split="train"))
            data = io.BytesIO()
            soundfile.write(data, scene.samples, scene.rate_hz, format="WAV")
            firsts.append(measured(folder, data.getvalue()))
            for form, rate_hz in COPIES:
                cut = scene.samples[int(rng.uniform(0.2, 2.0) * scene.rate_hz) :] * rng.uniform(0.2, 1.0)
                copy = soxr.resample(cut, scene.rate_hz, rate_hz).astype(np.float32)
                same[form].append(alike(firsts[-1], measured(folder, encode(copy, rate_hz, form))))
    other = [alike(a, b) for i, a in enumerate(firsts) for b in firsts[:i]]
    for form, values in same.items():
        missed = sum(v < SAME_FROM for v in values)
        print(
            f"{form:10} n={len(values)}  least {min(values):.2f}  median {np.median(values):.2f}  under {SAME_FROM}: {missed}"
        )
    print(
        f"two recordings n={len(other)} pairs  most {max(other):.2f}  median {np.median(other):.2f}  over {SAME_FROM}: {sum(v >= SAME_FROM for v in other)}"
    )
