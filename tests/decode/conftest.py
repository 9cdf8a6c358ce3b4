import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.append(str(Path(__file__).parents[1]))

from listen.decode import DecodeWorker


@pytest.fixture(scope="session")
def worker() -> Iterator[DecodeWorker]:
    """One warm worker for all tests of this folder: it must survive every one of them."""
    with DecodeWorker() as warm:
        yield warm
