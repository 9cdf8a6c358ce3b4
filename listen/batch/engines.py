"""Where the work is done: processes of this machine (loky), or an existing Dask cluster.

Both are executors of the standard library's kind, so that the driver knows one
way only and the results cannot differ.
"""

from __future__ import annotations

import os
import threading
import time
from concurrent.futures import Executor
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from listen.errors import BadParameter

_CONNECT_S = 20.0
#: How often a process looks whether the one that started it is still there, s.
_LOOK_S = 0.5
#: The linear algebra of each process stays on one core: the processes are as many as the cores.
_ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}


@dataclass(slots=True)
class Local:
    """Processes of this machine.

    Parameters
    ----------
    jobs : int
        How many at once.
    """

    jobs: int
    sends_bytes: bool = False

    @property
    def width(self) -> int:
        """Clips given out at once: one at work and one waiting for each process."""
        return 2 * self.jobs

    def executor(self, jobs: int | None = None) -> Executor:
        """Return fresh processes; the caller shuts them down."""
        from joblib.externals.loky import ProcessPoolExecutor

        pool: Executor = ProcessPoolExecutor(
            jobs or self.jobs, timeout=None, env=_ONE_THREAD, initializer=end_with, initargs=(os.getpid(),)
        )
        return pool

    def shut(self, executor: Executor, *, kill: bool) -> None:
        """End the processes."""
        executor.shutdown(wait=True, kill_workers=kill)  # type: ignore[call-arg]

    def alive(self) -> bool:
        """Tell whether there is anybody to give work to."""
        return True

    def close(self) -> None:
        """Nothing is held between executors."""


class Cluster:
    """An existing Dask cluster.

    Parameters
    ----------
    address : str
        Of its scheduler, `tcp://HOST:PORT`.

    Raises
    ------
    BadParameter
        The library is not installed, or nobody answers.
    """

    sends_bytes = True

    def __init__(self, address: str) -> None:
        try:
            from distributed import Client
        except ImportError as error:
            raise BadParameter(
                "A cluster needs the extra 'cluster': pip install 'listen-bench[cluster]', here and on every worker."
            ) from error
        if not address.startswith(("tcp://", "tls://", "ucx://")):
            raise BadParameter(
                f"{address[:60]!r} is no scheduler: give its address, for example tcp://192.168.1.20:8786."
            )
        try:
            self._client: Any = Client(address, timeout=_CONNECT_S, set_as_default=False)
        except (OSError, ValueError, TimeoutError) as error:
            raise BadParameter(
                f"No scheduler answers at {address[:60]}: start it (dask scheduler) with its workers (dask worker), "
                "and check the address."
            ) from error

    @property
    def width(self) -> int:
        """Clips given out at once: two for each thread of the workers, eight while there is none yet."""
        return 2 * sum(self._client.nthreads().values()) or 8

    def executor(self, jobs: int | None = None) -> Executor:
        """Return the cluster as an executor."""
        # Not pure: the same task after a failure is a new attempt. Two more tries if its worker dies.
        executor: Executor = self._client.get_executor(pure=False, retries=2)
        return executor

    def shut(self, executor: Executor, *, kill: bool) -> None:
        """Give back what is still waiting."""
        executor.shutdown(wait=not kill)

    def alive(self) -> bool:
        """Tell whether the scheduler still answers."""
        return bool(self._client.status == "running")

    def close(self) -> None:
        """Leave the cluster; it goes on without us."""
        with suppress(OSError, TimeoutError):
            self._client.close(timeout=5)


Engine = Local | Cluster


def end_with(parent: int) -> None:
    """Let this process end when its parent is gone: a killed batch must leave nobody at work."""

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(_LOOK_S)
        os._exit(1)

    threading.Thread(target=watch, name="end-with-parent", daemon=True).start()


def cores() -> int:
    """Return how many cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
