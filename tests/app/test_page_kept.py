"""What the page remembers is bounded by its size, not by its number."""

from bench_page_hearing import Clip, Heard, _weight
from bench_page_kept import kept


def test_the_oldest_go_when_all_weigh_too_much_and_the_newest_stays():
    asked = []

    @kept(100, lambda parts: len(parts[-1]))
    def answer(n):
        asked.append(n)
        return b"x" * n

    for n in (40, 50, 40):
        assert answer(n) == b"x" * n
    assert asked == [40, 50] and answer.n_bytes == 90
    answer(30)  # 50 was used least lately
    assert answer.n_bytes == 70
    answer(500)
    assert answer.n_bytes == 500
    answer(500)
    assert asked == [40, 50, 30, 500]
    answer.cache_clear()
    assert answer.n_bytes == 0


def test_clips_pictures_and_sounds_are_weighed():
    clip = Clip("a", "0", b"x" * 1000)
    assert _weight((clip, "told", Heard(clip, png=b"y" * 10))) == 1010
    assert _weight((clip, 1.0, (b"z" * 5, None))) == 1005
