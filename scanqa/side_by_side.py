"""The same work on many things, in two processes where that is safe.

Threads gain nothing here (the interpreter's lock holds nearly all of it), and a fresh process would
load every library again: so the process is forked, what it holds is there at once, and only results
are sent. A number in a pipe is the next thing to do: whoever is free takes it.

What a process could not do, for whatever reason (an error, a signal, no memory), is done again in
the one that asked: so it fails there, with its own traceback, exactly as it would have alone.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import struct
import sys
import threading
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import contextmanager
from multiprocessing.connection import Connection, wait
from pathlib import Path
from typing import Any, TypeVar

from scanqa.freed_memory import give_back_memory

Thing = TypeVar("Thing")
Result = TypeVar("Result")

MOST = 2  # processes: memory is bounded by their number
MANY = 30_000  # numbers that a pipe holds
NUMBER = struct.Struct("<H")
TASKS = Path("/proc/self/task")  # one for each thread of this process, libraries' own among them


def processes_to_use(asked: int | None = None) -> int:
    """How many processes may share work.

    One if other threads live: what they hold stays locked for ever in a forked process.

    Parameters
    ----------
    asked : int, optional
        No more than these.
    """
    if sys.platform == "darwin" or not hasattr(os, "fork"):
        return 1  # system libraries of macOS do not bear it
    if _has_threads() or multiprocessing.current_process().daemon:
        return 1
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    return max(min(MOST if asked is None else asked, cores or 1), 1)


def _has_threads() -> bool:
    """Whether others than this thread live, be it for a library only."""
    return (len(list(TASKS.iterdir())) if TASKS.is_dir() else threading.active_count()) > 1


def side_by_side(
    work: Callable[[Thing], Result],
    things: Sequence[Thing],
    *,
    cost: Callable[[Thing], float] = lambda thing: 0.0,
    begun: Callable[[int, Thing], None] = lambda done, thing: None,
    processes: int,
    meanwhile: Callable[[Collection[Result]], None] | None = None,
) -> list[Result]:
    """Results of work on things, in their order, whoever did which.

    Parameters
    ----------
    work : callable
        Its results must be such as can be pickled.
    cost : callable
        The dearest is begun first.
    begun : callable
        Told how many are done, and which thing is begun.
    processes : int
        As of `processes_to_use`; with one everything is done here, in order. So it is where threads
        have come to live since that was asked.
    meanwhile : callable, optional
        What this process may do while others work, such as loading what will be needed next: told
        the results so far, none at first and then whenever one comes. Left out where it does the
        work itself.

    Raises
    ------
    Exception
        What the work on a thing raised.
    """
    done: dict[int, Result] = {}
    if processes > 1 and (0 if meanwhile else 1) < len(things) <= MANY:
        order = sorted(range(len(things)), key=lambda at: -cost(things[at]))
        if not _has_threads():  # now: opening a file, or asking its cost, may leave a decoder's
            count = min(processes, len(things))
            _forked(work, things, order, count, (done, begun), meanwhile)
    for at, thing in enumerate(things):
        if at not in done:
            begun(len(done), thing)
            done[at] = work(thing)
    return [done[at] for at in range(len(things))]


def _forked(
    work: Callable[[Thing], Result],
    things: Sequence[Thing],
    order: Sequence[int],
    count: int,
    into: tuple[dict[int, Result], Callable[[int, Thing], None]],
    meanwhile: Callable[[Collection[Result]], None] | None,
) -> None:
    """Fill in what forked processes could do."""
    done, begun = into
    context = multiprocessing.get_context("fork")
    take, give = os.pipe()
    os.write(give, b"".join(map(NUMBER.pack, order)))
    os.close(give)
    started: list[tuple[Any, Connection]] = []
    try:
        with _later(signal.SIGINT) as mask:  # or a child is lost that was just being made
            for _ in range(count):
                here, there = context.Pipe(duplex=False)
                process = context.Process(
                    target=_serve, args=(work, things, take, there, mask), daemon=True
                )
                process.start()
                there.close()  # so that the end of the process is the end of its pipe
                started.append((process, here))
        if meanwhile is not None:
            meanwhile(())
        open_ends = [here for _, here in started]
        while open_ends:
            for end in wait(open_ends):
                assert isinstance(end, Connection)
                try:
                    at, finished, result = end.recv()
                except (EOFError, OSError):  # it ended, perhaps in the middle of a message
                    open_ends.remove(end)
                    continue
                if finished:
                    done[at] = result
                    if meanwhile is not None:
                        meanwhile(done.values())
                else:
                    begun(len(done), things[at])
    finally:
        os.close(take)
        for process, here in started:
            here.close()
            process.terminate()
            process.join()
            process.close()


@contextmanager
def _later(number: signal.Signals) -> Iterator[set[signal.Signals]]:
    """A signal waits until the end; the signals that waited before."""
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {number})
    try:
        yield before  # type: ignore[misc]
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _serve(
    work: Callable[[Thing], Result],
    things: Sequence[Thing],
    take: int,
    results: Connection,
    mask: set[signal.Signals],
) -> None:
    """Do one thing after the other until there is none, or nobody waits for it."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)  # Ctrl-C ends it without a word: its parent speaks
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    signal.pthread_sigmask(signal.SIG_SETMASK, mask)
    parent = os.getppid()
    while os.getppid() == parent and (number := os.read(take, NUMBER.size)):
        (at,) = NUMBER.unpack(number)
        results.send((at, False, None))
        try:
            result = work(things[at])
        except Exception:
            continue
        results.send((at, True, result))
        give_back_memory()
