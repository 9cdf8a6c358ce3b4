"""Whether a clip lies under loud, steady noise: nothing stands far out of its own floor."""

from __future__ import annotations

import numpy as np

from listen.features.collect import ClipFeatures

#: A clip whose strokes and jets stand less than this over its own floor, where that floor is loud, lies under steady noise
#: (set on training scenes: in noise 5 dB over the clip 84 of 90, of 200 plain ones 19, nearly all with a jet through the clip; of 160
#: unscored scenes of the second generator 10).
_NOISE_HZ, _NOISE_RANGE_DB, _NOISE_DBFS = (800.0, 8000.0), 12.0, -45.0


def lies_under_noise(features: ClipFeatures) -> bool:
    """Tell whether a clip's floor is loud and nothing of it stands far over that."""
    level = features.band_db(*_NOISE_HZ)
    if not len(level):
        return False
    floor, loudest = np.percentile(level, [10, 98])
    return bool(floor >= _NOISE_DBFS and loudest - floor < _NOISE_RANGE_DB)
