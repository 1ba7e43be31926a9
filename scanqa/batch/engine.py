"""Hands tasks to workers, few at a time, and takes back what became of them.

Two engines give the same futures: processes of this machine (`local`), and the workers of a Dask
scheduler (`scanqa.batch.cluster`). No more tasks are on their way than there are places for them,
so that neither a scheduler nor this process holds the whole of a long batch.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import connection
from typing import Any, Generic, Protocol, TypeVar

from scanqa.errors import ScanqaError
from scanqa.scans.one_thread import one_thread_each

TRIES = 2  # of a task whose worker ends, or is out of memory; then it is set aside
TASKS_OF_A_WORKER = 100  # then another process takes its place: what libraries keep goes with it
LOOK_S = 1.0

Task = TypeVar("Task")
Result = TypeVar("Result")


class EngineGone(ScanqaError):
    """The workers cannot be had (any more): says what to do."""


class Engine(Protocol):
    """What does tasks.

    Attributes
    ----------
    lost : tuple of exception types
        What tells of a worker that ended.
    tries : int
        How often a task is begun whose worker ends, as far as the engine does not do so itself.
    """

    lost: tuple[type[BaseException], ...]
    tries: int

    def places(self) -> int:
        """How many tasks may be on their way; raises `EngineGone` if none ever may."""

    def submit(self, perform: Callable[[Task], Result], task: Task) -> Future[Result]:
        """Begin a task."""


class SetAside(Exception):
    """A task that took its worker with it, each time it was tried."""


def run(
    engine: Engine,
    perform: Callable[[Task], Result],
    queue: deque[Task],
    finished: Callable[[Task, Result | BaseException], bool],
) -> None:
    """Do all tasks of a queue, and those that are added to it meanwhile.

    Parameters
    ----------
    perform : callable
        Of a module, so that a worker finds it by its name.
    queue : deque of tasks
        Emptied from the left.
    finished : callable
        Gets each task and what `perform` returned or raised, or `SetAside`; False ends the run
        when the tasks on their way are done.

    Raises
    ------
    EngineGone
        If the workers cannot be had any more.
    """
    flying: dict[Future[Result], tuple[Task, int]] = {}
    again: deque[tuple[Task, int]] = deque()
    going = True
    while flying or (going and (queue or again)):
        room = engine.places() - len(flying) if going else 0
        while room > 0 and (again or queue):
            task, tried = again.popleft() if again else (queue.popleft(), 0)
            flying[engine.submit(perform, task)] = (task, tried + 1)
            room -= 1
        if not flying:
            time.sleep(LOOK_S)  # for places
            continue
        done, _ = wait(flying, timeout=LOOK_S, return_when=FIRST_COMPLETED)
        for future in done:
            task, tried = flying.pop(future)
            if future.cancelled():
                again.append((task, tried - 1))  # nobody began it
                continue
            error = future.exception()
            if isinstance(error, (*engine.lost, MemoryError)):
                if tried < engine.tries:
                    again.append((task, tried))
                    continue
                error = SetAside()
            going = finished(task, future.result() if error is None else error) and going


# ----------------------------------------------------------------------- on this machine


class _Place(Generic[Task, Result]):
    """Room for one worker process: another one when it has ended, or done its share."""

    def __init__(self, most_bytes: int, secret: str) -> None:
        self._begin = (most_bytes, secret)
        self._pool: ProcessPoolExecutor | None = None
        self._tasks = 0
        self.future: Future[Any] | None = None

    def submit(self, perform: Callable[[Any], Any], task: Any) -> Future[Any]:
        ended = self.future is not None and self.future.exception() is not None
        if self._pool is None or ended or self._tasks == TASKS_OF_A_WORKER:
            self.close()
            self._pool = ProcessPoolExecutor(
                1,
                mp_context=multiprocessing.get_context("spawn"),
                initializer=_begin_worker,
                initargs=self._begin,
            )
            self._tasks = 0
        self._tasks += 1
        self.future = self._pool.submit(perform, task)
        return self.future

    @property
    def free(self) -> bool:
        return self.future is None or self.future.done()

    def close(self) -> None:
        if self._pool is None:
            return
        # No public name until Python 3.14; without it Ctrl-C waits for what is being measured.
        processes = dict(self._pool._processes or {})
        self._pool.shutdown(wait=self.free, cancel_futures=True)
        for process in processes.values():
            process.terminate()  # what it was at is done again another time


class Local:
    """Processes of this machine, one for each place; made by `local`."""

    lost: tuple[type[BaseException], ...] = (BrokenProcessPool,)
    tries = TRIES

    def __init__(self, workers: int, most_bytes: int, records: str) -> None:
        self._places = [_Place[Any, Any](most_bytes, records) for _ in range(workers)]

    def places(self) -> int:
        """As `Engine.places`."""
        return len(self._places)

    def submit(self, perform: Callable[[Task], Result], task: Task) -> Future[Result]:
        """Begin a task; as `Engine.submit`."""
        return next(place for place in self._places if place.free).submit(perform, task)

    def close(self) -> None:
        """End all processes, whatever they are at."""
        for place in self._places:
            place.close()


@contextmanager
def local(workers: int, *, most_bytes: int, records: str) -> Iterator[Local]:
    """Processes of this machine, begun afresh (spawned), of one thread each.

    Parameters
    ----------
    most_bytes : int
        Memory that each may take.
    records : str
        The database with its password, which goes to the workers by a pipe and by no other way.
    """
    engine = Local(workers, most_bytes, records)
    with one_thread_each():
        try:
            yield engine
        finally:
            engine.close()


def _begin_worker(most_bytes: int, records: str) -> None:
    """Set up a worker: no signals of the terminal, bounded memory, no life without its parent."""
    import resource

    from scanqa.records.database import ENVIRONMENT

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    hard = resource.getrlimit(resource.RLIMIT_DATA)[1]
    resource.setrlimit(resource.RLIMIT_DATA, (most_bytes, hard))
    os.environ[ENVIRONMENT] = records
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent.sentinel,), daemon=True).start()


def _end_with(sentinel: int) -> None:
    with contextlib.suppress(OSError):
        connection.wait([sentinel])
    os._exit(1)
