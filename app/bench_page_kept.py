"""Remember answers up to so many bytes: clips differ too much in size to be counted."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Generic, ParamSpec, TypeVar

_P = ParamSpec("_P")
_R = TypeVar("_R")


class Kept(Generic[_P, _R]):
    """A function whose latest answers are remembered.

    Parameters
    ----------
    function : callable
        Its arguments can be hashed.
    most_bytes : int
        The oldest answers go once all of them weigh more; the newest always stays.
    weigh : callable
        Arguments and answer (in one tuple) to bytes.
    """

    def __init__(
        self, function: Callable[_P, _R], most_bytes: int, weigh: Callable[[tuple[object, ...]], int]
    ) -> None:
        self._function, self._most_bytes, self._weigh = function, most_bytes, weigh
        self._answers: OrderedDict[Hashable, tuple[int, _R]] = OrderedDict()
        self._lock = threading.Lock()
        self.__doc__ = function.__doc__

    def __call__(self, *args: _P.args, **kwargs: _P.kwargs) -> _R:
        key = (args, tuple(sorted(kwargs.items())))
        with self._lock:
            if key in self._answers:
                self._answers.move_to_end(key)
                return self._answers[key][1]
        answer = self._function(*args, **kwargs)
        with self._lock:
            self._answers[key] = (self._weigh((*args, answer)), answer)
            while len(self._answers) > 1 and self.n_bytes > self._most_bytes:
                self._answers.popitem(last=False)
        return answer

    @property
    def n_bytes(self) -> int:
        """How much is remembered now."""
        return sum(weight for weight, _ in self._answers.values())

    def cache_clear(self) -> None:
        """Forget everything."""
        with self._lock:
            self._answers.clear()


def kept(
    most_bytes: int, weigh: Callable[[tuple[object, ...]], int]
) -> Callable[[Callable[_P, _R]], Kept[_P, _R]]:
    """Remember a function's answers, as a decorator."""
    return lambda function: Kept(function, most_bytes, weigh)
