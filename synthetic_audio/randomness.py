"""Where every random number comes from: a generator derived from seed, split and a path of names.

The split's name is part of the entropy, so a scene of one split can never be
drawn from the stream of the other, whatever the seeds.
"""

from __future__ import annotations

import zlib

import numpy as np


def generator(seed: int, split: str, *path: str | int) -> np.random.Generator:
    """Return the generator of one part of one scene.

    Parameters
    ----------
    seed : int
        Not negative.
    split : str
        Name of the split (`train`, `held_out`, `outer`).
    *path : str or int
        What the numbers are for, such as ``("event", 3)``.

    Examples
    --------
    >>> bool(generator(1, "train", "room").random() == generator(1, "held_out", "room").random())
    False
    """
    words = [seed, zlib.crc32(split.encode())]
    for part in path:
        words.append(part if isinstance(part, int) else zlib.crc32(part.encode()))
    return np.random.default_rng(np.random.SeedSequence(words))
