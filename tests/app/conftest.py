import sys

import pytest

from listen.resources import shipped

sys.path.insert(0, str(shipped("app")))


@pytest.fixture(autouse=True)
def fresh_page():
    """Forget what an earlier test has heard."""
    import bench_page_hearing

    bench_page_hearing.hear.cache_clear()
    bench_page_hearing.playable.cache_clear()
    yield
