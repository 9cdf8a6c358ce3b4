"""The interval that stands beside every printed share, against published pairs."""

import pytest

from tests.measure.stats import share, wilson
from tests.reference.values import WILSON_95


@pytest.mark.parametrize("hits, n", WILSON_95)
def test_wilson_interval(hits, n):
    assert wilson(hits, n) == pytest.approx(WILSON_95[hits, n], abs=5.1e-5)


def test_nothing_counted_says_nothing():
    assert wilson(0, 0) == (0.0, 1.0)


def test_share_prints_counts_and_interval():
    assert share(81, 263) == "81/263 = 30.8 % [25.5, 36.6]"
