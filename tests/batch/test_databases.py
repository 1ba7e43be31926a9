"""PostgreSQL used by many at once: made once, written by many, read by who may only read."""

import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor

import pytest
import sqlalchemy as sa
from click.testing import CliRunner

from scanqa.cli import main
from scanqa.model import Identity
from scanqa.records import scanners, settled, store
from scanqa.records.database import StoreError, open_store
from scanqa.records.migrations import HEAD
from tests.batch.services import database
from tests.records.builders import qualification


@pytest.fixture(scope="module")
def server():
    with database() as found:
        yield found


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
def test_a_new_database_that_many_meet_at_once_is_made_once(kind, server, tmp_path):
    url = f"sqlite:///{tmp_path / 'r'}" if kind == "sqlite" else server.fresh("made_once")
    words = [sys.executable, "-m", "scanqa", "records", "list", "--records", url]
    begun = [subprocess.Popen(words, stderr=subprocess.PIPE, text=True) for _ in range(5)]
    assert [(each.communicate()[1], each.returncode) for each in begun] == [("", 0)] * 5
    with open_store(url) as engine, engine.connect() as connection:
        versions = connection.execute(sa.text("SELECT version_num FROM alembic_version")).all()
    assert versions == [(HEAD,)]


def test_many_writers_fill_one_unit_and_one_record(url):
    """Each states another part of a unit; none is lost, and what was noted first stays."""
    parts = [{"make": "Larkfield"}, {"model": "L-12"}, {"serial": "0417"}, {"driver": "1.2"}]

    def write(part):
        with open_store(url) as engine:
            scanners.fill_blanks(engine, Identity("heron", **part))
            scanners.keep_identity(engine, Identity("wren", serial="0500"))
            return store.add(engine, qualification("ab")).how

    with open_store(url):
        pass
    with ThreadPoolExecutor(4) as pool:
        ends = list(pool.map(write, parts))
    assert sorted(ends) == ["known", "known", "known", "new"]
    with open_store(url) as engine:
        whole = Identity("heron", "Larkfield", "L-12", "0417", driver="1.2")
        assert scanners.find(engine, "heron") == whole
        scanners.fill_blanks(engine, Identity("heron", model="L-14", site="attic"))
        found = scanners.find(engine, "heron")
    assert (found.model, found.site) == ("L-12", "attic")


def test_who_may_only_read_can_look_back_and_is_told_that_it_may_not_write(server, tmp_path):
    url = server.fresh("looked_at")
    with open_store(url) as engine:
        for number, day in enumerate(("2026-01-05", "2026-02-05", "2026-03-05")):
            store.add(engine, qualification(f"a{number}", conditions={"date": day}))
        with engine.begin() as connection:
            for words in (
                "CREATE ROLE looker LOGIN",
                "GRANT USAGE ON SCHEMA public TO looker",
                "GRANT SELECT ON ALL TABLES IN SCHEMA public TO looker",
            ):
                connection.execute(sa.text(words))
    looker = url.replace("scanqa@", "looker@")
    for command in (
        ("history", "heron"), ("records", "list"), ("records", "export"), ("scanners", "list"),
        ("events", "list"), ("report", "1", "--out", tmp_path), ("compare", "1", "2"),
        ("fleet", "--out", tmp_path),
    ):  # fmt: skip
        done = run(*command, "--records", looker)
        assert done.exit_code == 0, (command, done.output)
    for command in (("event", "heron", "glass cleaned"), ("records", "remove", "1")):
        done = run(*command, "--records", looker)
        assert done.exit_code == 2
        assert "permission denied" in done.stderr
        assert "this user may only read" in done.stderr
    with pytest.raises(StoreError, match="may only read"), open_store(looker) as engine:
        settled.check_may_write(engine)


def test_two_names_of_one_serial_are_seen_where_neither_is_retired():
    heron, other = Identity("heron", model="L-12", serial="7"), Identity("teal", serial="7")
    assert scanners.same_serial([heron, other], heron) == "teal"
    for unlike in (
        Identity("teal", model="L-14", serial="7"),  # models number their units each for itself
        Identity("teal", serial="7", retired="2026-01-01"),
        Identity("teal", serial="8"),
        Identity("teal"),
    ):
        assert scanners.same_serial([heron, unlike], heron) == ""
