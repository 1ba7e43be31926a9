"""Killed, stopped, started twice: the records are those of an undisturbed run, row by row.

A smaller version of ``python -m tests.batch.faults_played``.
"""

import pytest

from tests.batch.arena import rows, unlike
from tests.batch.faults_played import (
    batch_killed,
    database_stopped,
    scheduler_killed,
    started_twice,
    workers_killed,
)
from tests.batch.services import database

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def server():
    with database() as found:
        yield found


def test_killed_workers_lose_nothing_and_write_nothing_twice(archive, undisturbed, tmp_path):
    url = f"sqlite:///{tmp_path / 'r.sqlite'}"
    killed, _ = workers_killed(archive, url, 3, seed=16)
    assert killed == 3
    assert unlike(rows(url), undisturbed) == []


def test_a_killed_batch_takes_its_workers_along_and_goes_on(archive, undisturbed, tmp_path):
    url = f"sqlite:///{tmp_path / 'r.sqlite'}"
    batch_killed(archive, url)
    assert unlike(rows(url), undisturbed) == []


def test_a_database_that_comes_back_is_waited_for(archive, undisturbed, server):
    database_stopped(archive, server, for_s=3.0)
    assert unlike(rows(server.url), undisturbed) == []


@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
def test_the_same_batch_twice_at_once_writes_once(archive, undisturbed, server, tmp_path, kind):
    url = f"sqlite:///{tmp_path / 'r.sqlite'}" if kind == "sqlite" else server.fresh("twice")
    for status, _, wrong in started_twice(archive, url):
        assert (status, wrong) == (0, [])
    assert unlike(rows(url), undisturbed) == []


def test_a_killed_scheduler_is_one_line_and_the_same_command_goes_on(
    archive, undisturbed, server, tmp_path
):
    url = server.fresh("scheduler")
    (status, _, wrong), (then, _, nothing) = scheduler_killed(archive, url, tmp_path)
    assert (status, len(wrong)) == (2, 1)
    assert "does not answer any more; what was measured is on record: start it again" in wrong[0]
    assert (then, nothing) == (0, [])
    assert unlike(rows(url), undisturbed) == []
