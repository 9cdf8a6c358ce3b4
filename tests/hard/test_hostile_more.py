"""Lists, references, cover art, archives and nested containers: a sentence or a recording, and no second file opened."""

import sys
from contextlib import chdir

import pytest

from listen.decode import DecodeWorker, read_clip
from tests.measure.fuzz import Watch, outcome_of
from tests.support.encode import tone, wav

N_FILES = 6 * 33


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="the kernel is asked by inotify")
def test_two_hundred_files_that_point_elsewhere(tmp_path, capfd):
    from support.hostile_more import MORE, NEIGHBOUR, all_hostile_files

    (tmp_path / NEIGHBOUR).write_bytes(wav(tone(8_000, 2.0), 8_000))
    watch = Watch(tmp_path / NEIGHBOUR)
    kinds, outcomes = {mutate.__name__ for mutate in MORE}, []
    with chdir(tmp_path), DecodeWorker() as worker:
        for number, (mutation, form, data) in enumerate(all_hostile_files(17 * 33, 5, str(tmp_path))):
            if mutation not in kinds:
                continue
            kind, words = outcome_of(f"{number}-{mutation}-{form}", data, worker)
            assert kind != "WRONG", f"{number} {mutation} {form}: {words}"
            assert not watch.touched(), f"{number} {mutation} {form} opened a second file"
            outcomes.append(kind)
        assert read_clip(wav(tone(8_000, 1.0), 8_000), worker=worker).info.duration_s == 1.0
    assert len(outcomes) == N_FILES and {"heard", "refused"} == set(outcomes)
    assert capfd.readouterr().err == ""
    # The watch itself works.
    (tmp_path / NEIGHBOUR).read_bytes()
    assert watch.touched()
