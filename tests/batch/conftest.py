"""A small archive and what an undisturbed batch makes of it; services on the loopback."""

import pytest

from tests.batch.arena import batch, make_archive, rows
from tests.records.conftest import postgres_server, url  # noqa: F401


@pytest.fixture(scope="session")
def archive(tmp_path_factory):
    return make_archive(tmp_path_factory.mktemp("archive") / "orchard")


@pytest.fixture(scope="session")
def undisturbed(archive, tmp_path_factory):
    """All rows of a batch of one process that nothing happens to."""
    place = tmp_path_factory.mktemp("undisturbed") / "records.sqlite"
    status, _, wrong = batch(archive, "--records", place, "--workers", 1, "--new-scanners")
    assert (status, wrong) == (0, [])
    return rows(f"sqlite:///{place}")
