"""Give tasks out, collect outcomes as they come, and outlive a worker that dies.

When a process dies, every clip it and its neighbours held is lost together and
nobody says which one did it. Those few are heard again one by one, each in a
process of its own; a clip whose process dies twice gets a sentence.
"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, CancelledError, Executor, Future, wait

from listen.batch.engines import Engine
from listen.batch.task import FAILED, Outcome, Task
from listen.batch.work import do
from listen.errors import ListenError


def drive(tasks: Iterator[Task], engine: Engine) -> Iterator[tuple[Task, Outcome]]:
    """Yield each task with its outcome, in the order in which they end.

    Parameters
    ----------
    tasks : iterator of Task
        Taken only as fast as there is room: neither paths nor clips pile up.
    engine : Local or Cluster

    Raises
    ------
    ListenError
        The cluster is gone.
    """
    executor = engine.executor()
    flying: dict[Future[Outcome], Task] = {}
    clean = False
    try:
        more = True
        while more or flying:
            while more and len(flying) < engine.width:
                task = next(tasks, None)
                if task is None:
                    more = False
                    break
                try:
                    flying[executor.submit(do, task)] = task
                except BrokenExecutor:
                    yield from _alone(task, engine)
                    break
            ended, _ = wait(flying, timeout=5.0, return_when=FIRST_COMPLETED) if flying else (set(), None)
            if not ended and not engine.alive():
                raise _gone()
            lost: list[Task] = []
            for future in ended:
                task = flying.pop(future)
                try:
                    yield task, future.result()
                except BrokenExecutor:
                    lost.append(task)
                except CancelledError as error:
                    raise _gone() from error
                except Exception as error:  # raised by the engine, not by `do`: one clip's failure
                    yield task, _failed(task, error)
            if lost:
                wait(flying, timeout=60.0)
                lost += flying.values()
                flying.clear()
                engine.shut(executor, kill=True)
                for task in lost:
                    yield from _alone(task, engine)
                executor = engine.executor()
        clean = True
    finally:
        engine.shut(executor, kill=not clean)


def _alone(task: Task, engine: Engine) -> Iterator[tuple[Task, Outcome]]:
    executor: Executor = engine.executor(1)
    try:
        yield task, executor.submit(do, task).result()
    except BrokenExecutor:
        yield (
            task,
            Outcome(
                FAILED,
                sentence=f"{task.name}: the process that heard it died twice (perhaps memory ran out); "
                "hear it by itself with 'listen hear', and please report it.",
            ),
        )
    finally:
        engine.shut(executor, kill=True)


def _failed(task: Task, error: Exception) -> Outcome:
    return Outcome(
        FAILED,
        sentence=f"{task.name}: no worker could hear it ({type(error).__name__}); run the same command again.",
    )


def _gone() -> ListenError:
    return ListenError(
        "The cluster no longer answers: start its scheduler and workers again, then give the same command: "
        "what was heard is kept."
    )
