"""Workers that end, tasks that take them along, places that begin afresh: here and in Dask."""

import os
from collections import Counter, deque

import pytest

from scanqa.batch import engine
from scanqa.batch.engine import SetAside, local, run
from tests.batch.small_tasks import memory_limit, nothing, process_id, tried

MOST_BYTES = 2 << 30
TASKS = ("a", "kill", "b", "memory", "c", "fault", "d", "e")


@pytest.fixture
def here():
    with local(2, most_bytes=MOST_BYTES, records="sqlite://") as workers:
        yield workers


@pytest.fixture
def dask():
    """A `LocalCluster` of two real processes, as ``--scheduler`` meets it."""
    import warnings

    import dask
    from distributed import LocalCluster

    from scanqa.batch.cluster import cluster

    warnings.simplefilter("ignore")  # Dask's own: sockets that it leaves open when it closes
    with (
        dask.config.set({"distributed.scheduler.allowed-failures": 1}),
        LocalCluster(2, threads_per_worker=1, dashboard_address=None) as made,
        cluster(made.scheduler_address) as workers,
    ):
        yield workers


def done_by(workers, perform, tasks):
    results = []

    def finished(task, result):
        results.append((task, result))
        return True

    run(workers, perform, deque(tasks), finished)
    return results


@pytest.mark.parametrize("kind", ["here", "dask"])
def test_what_takes_its_worker_along_is_set_aside_after_two_tries(kind, request, tmp_path):
    log = tmp_path / "tries"
    workers = request.getfixturevalue(kind)
    results = done_by(workers, tried, [(what, str(log)) for what in TASKS])
    ends = {task[0]: result for task, result in results}
    assert isinstance(ends.pop("kill"), SetAside)
    assert isinstance(ends.pop("memory"), SetAside)
    assert isinstance(ends.pop("fault"), ZeroDivisionError)
    assert ends == {what: what for what in "abcde"}
    tries = Counter(log.read_text().split())
    assert tries["kill"] == 2
    assert tries["fault"] == 1
    if kind == "here":  # Dask may begin a neighbour again that sat beside the one that killed
        assert tries == {**dict.fromkeys([*"abcde", "fault"], 1), "kill": 2, "memory": 2}


def test_a_place_begins_afresh_after_its_share(here, monkeypatch):
    monkeypatch.setattr(engine, "TASKS_OF_A_WORKER", 3)
    done = [result for _, result in done_by(here, process_id, range(12))]
    assert len(set(done)) >= 4
    assert max(Counter(done).values()) <= 3
    assert os.getpid() not in done


def test_a_worker_is_refused_more_memory_than_its_share(here):
    ((_, found),) = done_by(here, memory_limit, [0])
    assert found == (MOST_BYTES, "refused")


def test_a_run_ends_when_it_is_told_to(here):
    seen, queue = [], deque(range(50))

    def finished(task, result):
        seen.append(result)
        return len(seen) < 5

    run(here, nothing, queue, finished)
    assert len(seen) <= 6  # those on their way are waited for
    assert len(queue) == 50 - len(seen)
