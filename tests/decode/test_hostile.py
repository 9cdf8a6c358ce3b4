"""Three hundred hostile files: a sentence or a recording each, and nothing else.

A seeded mutator damages real files of every format. No exception but a
`ListenError`, no hang, no traceback on stderr, and the process that asked is
alive and still hears a good clip afterwards. One warm worker serves them all.
`tests/measure/fuzz.py` does the same with thousands.
"""

from __future__ import annotations

import pytest
from support.encode import tone, wav
from support.hear_hostile import LIMITS, hear_all
from support.hostile import hostile_files

from listen.decode import read_clip
from listen.errors import ListenError

N_FILES = 300


def test_three_hundred_hostile_files(worker, capfd):
    outcomes = hear_all(N_FILES, 2024, worker)
    assert sum(outcomes.values()) == N_FILES
    # Both ends of the scale were met: damaged files that are still heard, and refusals of several kinds.
    assert outcomes["heard"] > N_FILES // 10
    assert len(outcomes) >= 6
    assert capfd.readouterr().err == ""
    assert read_clip(wav(tone(8_000, 1.0), 8_000), worker=worker).info.duration_s == 1.0


@pytest.mark.parametrize("seed", [1, 2])
def test_a_fresh_child_gives_the_same_answers(seed, worker):
    """Isolation is not what decides the outcome: child by child or warm, the answer is one."""
    for name, data in hostile_files(8, seed):
        answers = []
        for warm in (worker, None):
            try:
                answers.append(read_clip(data, name=name, limits=LIMITS, worker=warm).samples.tobytes())
            except ListenError as error:
                answers.append(str(error).encode())
        assert answers[0] == answers[1], name
