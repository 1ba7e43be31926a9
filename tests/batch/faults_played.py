"""Faults as they come, and whether the records are those of an undisturbed run.

``python -m tests.batch.faults_played --write`` plays the whole of it and writes ``FAULTS.md``.
Which rows are right is told by a batch of one process that nothing happens to.
"""

from __future__ import annotations

import os
import signal
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from scanqa.records import store
from scanqa.records.database import open_store
from tests.batch.arena import begin, end, kill_one, make_archive, rows, unlike, until, workers_of
from tests.batch.services import database, farm

MOST_STARTS = 12


def to_the_end(arguments, **environment):
    """The same command again until nothing is left; how often it took."""
    for starts in range(1, MOST_STARTS):
        status, _, wrong = end(begin("batch", *arguments, **environment))
        if status == 0:
            return starts
    raise AssertionError(f"never came to its end: {wrong}")


def workers_killed(archive, url, count, seed, *, workers=2):
    """Kill workers at random moments, `count` in all; then the same command goes on."""
    rng = np.random.default_rng(seed)
    killed, starts = 0, 0
    command = (archive, "--records", url, "--workers", workers, "--new-scanners")
    while killed < count:
        running = begin("batch", *command)
        starts += 1
        until(lambda p=running: workers_of(p) or p.poll() is not None)
        while killed < count and running.poll() is None:
            time.sleep(rng.uniform(0.2, 5.0))
            killed += kill_one(running, rng)
        end(running)
        if starts > MOST_STARTS * count:
            raise AssertionError("the batch came to its end before its workers were killed")
    return killed, to_the_end(command)


def in_the_middle(url):
    """Wait until a batch has put something on record; the rest is then still to be done."""

    def some():
        with open_store(url) as engine:
            return bool(store.entries(engine))

    until(some, within_s=300)


def batch_killed(archive, url):
    """Kill the batch itself; its workers end with it, and the same command goes on."""
    command = (archive, "--records", url, "--workers", 2, "--new-scanners")
    running = begin("batch", *command)
    in_the_middle(url)
    inside = workers_of(running)
    assert inside
    os.kill(running.pid, signal.SIGKILL)
    until(lambda: not any(each.is_running() and each.status() != "zombie" for each in inside))
    running.communicate()
    return to_the_end(command)


def database_stopped(archive, server, *, for_s):
    """Stop the database while a batch runs, and start it again: the batch waits and goes on."""
    command = (archive, "--records", server.url, "--workers", 2, "--new-scanners")
    running = begin("batch", *command)
    in_the_middle(server.url)
    assert running.poll() is None
    server.stop()
    time.sleep(for_s)
    server.start()
    status, out, wrong = end(running)
    assert (status, wrong) == (0, []), (out, wrong)


def started_twice(archive, url):
    """The same batch twice at once."""
    command = (archive, "--records", url, "--workers", 1, "--new-scanners")
    both = [begin("batch", *command) for _ in range(2)]
    return [end(each) for each in both]


def scheduler_killed(archive, url, folder):
    """Kill a scheduler, start it and its workers again: the same command goes on."""
    with farm(folder, url) as found:
        first = found.scheduler()
        workers = found.workers(2)
        command = ("batch", archive, "--records", url, "--scheduler", found.address,
                   "--new-scanners")  # fmt: skip
        running = begin(*command)
        in_the_middle(url)
        os.kill(first.pid, signal.SIGKILL)
        status, out, wrong = end(running)
        workers.terminate()
        workers.wait()
        first.wait()
        found.scheduler()
        found.workers(2)
        again = end(begin(*command))
    return (status, out, wrong), again


def main(write):
    """Play every fault on a larger archive, in SQLite and PostgreSQL."""
    lines = ["| fault | database | what happened | rows that differ |", "| --- | --- | --- | --- |"]
    with tempfile.TemporaryDirectory() as place, database() as server:
        folder = Path(place)
        archive = make_archive(folder / "orchard", months=6)
        truth = f"sqlite:///{folder / 'undisturbed.sqlite'}"
        to_the_end((archive, "--records", truth, "--workers", 1, "--new-scanners"))
        right = rows(truth)

        def told(fault, kind, url, words):
            line = (
                f"| {fault} | {kind} | {words} | {len(unlike(rows(url), right))} of {len(right)} |"
            )
            lines.append(line)
            print(line, flush=True)

        for kind in ("SQLite", "PostgreSQL"):
            names = iter("abcdefgh")

            def fresh(kind=kind, names=names):
                name = next(names)
                if kind == "SQLite":
                    return f"sqlite:///{folder / name}.sqlite"
                return server.fresh(f"faults_{name}")

            url = fresh()
            killed, starts = workers_killed(archive, url, 20, seed=16)
            told("workers killed at random moments", kind, url,
                 f"{killed} killed; then {starts} more start(s) of the command")  # fmt: skip
            url = fresh()
            starts = batch_killed(archive, url)
            told("the batch itself killed", kind, url, f"{starts} more start(s)")
            url = fresh()
            started_twice(archive, url)
            told("the same batch twice at once", kind, url, "both came to their end")
            url = fresh()
            (_, _, wrong), (_, out, _) = scheduler_killed(archive, url, folder)
            told("scheduler killed", kind, url,
                 f"{len(wrong)} line told; started again: {out.strip()}")  # fmt: skip
        url = server.fresh("faults_stopped")
        server.url, main_url = url, server.url
        database_stopped(archive, server, for_s=8.0)
        told("database stopped for 8 s", "PostgreSQL", url, "one start")
        server.url = main_url
    if write:
        text = (
            "# Faults played\n\nWritten by `python -m tests.batch.faults_played --write`; by hand, "
            "some minutes. 12 sets of two small blanks; a row of a table counts as differing if "
            "anything but its number and the moment of measuring differs from the undisturbed "
            "run.\n\n" + "\n".join(lines) + "\n"
        )
        (Path(__file__).parent / "FAULTS.md").write_text(text)


if __name__ == "__main__":
    main("--write" in sys.argv)
