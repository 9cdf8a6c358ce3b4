"""Loud, steady noise that nothing accounts for is told of; what has a name, or is faint, is not."""

import pytest

from listen.ear.draft import Draft
from listen.ear.unnamed import hear_unnamed
from tests.support.signals import band_noise, collect, noise, within

LOUD, FAINT = 0.05, 0.0005


@pytest.mark.parametrize(
    ("rms", "named", "told"),
    [
        (LOUD, [], True),
        (LOUD, [Draft("click", 3.0, 3.01, 0.9)], True),
        (LOUD, [Draft("fan", 0.0, 8.0, 0.6)], False),
        (FAINT, [], False),
    ],
)
def test_a_clip_that_lies_under_noise_without_a_name_says_so(rms, named, told):
    found = hear_unnamed(collect(noise(10.0, rms, 1)), named)
    assert [(d.sound, d.onset_s, d.offset_s, d.open_end) for d in found] == (
        [("other", 0.0, 10.0, True)] if told else []
    )
    assert all(d.probability == 0.5 for d in found)


def test_what_stands_out_of_the_noise_is_not_all_noise():
    jet = within(band_noise(10.0, 0.3, 2, 800, 8000), 4.0, 7.0)
    assert hear_unnamed(collect(noise(10.0, 0.01, 1) + jet), []) == []
