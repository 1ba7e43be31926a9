"""``scanqa fleet`` on a database: both kinds, a role that only reads, and what is wrong with it."""

import os
import sqlite3
from datetime import date

import numpy as np
import psycopg
import pytest
import sqlalchemy as sa

from scanqa.model import Decision, Identity
from scanqa.model.history import Event
from scanqa.records import database, store
from scanqa.records.database import open_store
from scanqa.records.fleet.gather import gather
from scanqa.records.fleet.overlook import fleet
from scanqa.records.health import health
from scanqa.records.scanners import keep_identity
from scanqa.records.schema import block, layout, record
from tests.fleet.fill import put
from tests.fleet.lives import FAULTS, checks_of, day_of, healthy, kind_of, unit_of
from tests.fleet.pool import read_pool
from tests.records.builders import measure, qualification, streak
from tests.records.test_commands import run

MONTHS, ONSET = 20, 12


@pytest.fixture(scope="module")
def lives():
    """Six scanners, one of them with a line, one soft."""
    kind = kind_of(read_pool()["lens"])
    rng = np.random.default_rng(12)
    found = [healthy(f"u{n}", kind, MONTHS, rng) for n in range(6)]
    found[1] = FAULTS[1](found[1], ONSET, rng)
    found[2] = FAULTS[2](found[2], ONSET, rng)
    return found


def fill(engine, lives):
    checks = [(life.name, check, Decision("keep")) for life in lives for check in checks_of(life)]
    event = Event("u3", f"{day_of(5)[:10]}T12:00:00+00:00", "glass cleaned")
    put(engine, checks, qualification(), [event])
    keep_identity(engine, Identity("u0", "Larkfield", "L-12", site="attic"))
    keep_identity(engine, Identity("new one"))
    keep_identity(engine, Identity("old one", retired="2020-01-01"))


def on(month):
    return date.fromisoformat(day_of(month)[:10])


def test_what_is_gathered_is_what_was_put_in(engine, lives):
    fill(engine, lives)
    units = {unit.name: unit for unit in gather(engine)}
    assert list(units) == ["new one", "old one", *(f"u{n}" for n in range(6))]
    assert units["new one"].taken == ()
    for life in lives:
        got, wanted = units[life.name], unit_of(life, MONTHS)
        assert got.taken == wanted.taken
        assert (got.count, got.decisions[-1], got.decided.decision) == (MONTHS, "keep", "keep")
        assert got.lines == wanted.lines
        ours = {t.key: t for t in wanted.tracks}
        assert {t.key for t in got.tracks} == set(ours)
        for t in got.tracks:
            np.testing.assert_array_equal(t.values, ours[t.key].values)
            np.testing.assert_array_equal(t.at, ours[t.key].at)


def test_tracks_are_the_series_of_the_scanners_own_history(engine, lives):
    """The same values that `health` follows, bounds of what was not found among them."""
    fill(engine, lives[:3])
    for unit in gather(engine):
        if unit.taken:
            own = health(unit.name, store.history(engine, unit.name))
            theirs = {s.key: s.values for s in own.series}
            assert {t.key: tuple(t.values.tolist()) for t in unit.tracks} == theirs


def test_checks_at_another_dpi_or_by_an_older_method_leave_the_track(engine):
    for month in range(8):
        dpi = 300 if month < 3 else 600
        scan = qualification().scans[0]
        kept = qualification(
            [type(scan)(**{f: getattr(scan, f) for f in scan.__dataclass_fields__}
                        | {"sha256": f"s{month}", "dpi": (dpi, dpi), "file": "a.tif"})],
            measures=[measure("noise.total", float(month), 0.1, scan="a.tif")],
            conditions={"date": day_of(month)},
        )  # fmt: skip
        store.add(engine, kept)
    (unit,) = gather(engine)
    (track,) = unit.tracks
    assert (track.key.dpi, track.values.tolist()) == (600, [3.0, 4.0, 5.0, 6.0, 7.0])
    assert track.at.tolist() == [3, 4, 5, 6, 7]


def test_the_sick_are_called_and_the_rest_is_listed(engine, lives):
    fill(engine, lives)
    found = fleet(engine, today=on(MONTHS))
    assert {call.scanner: call.kinds for call in found.calls} == {
        "u1": ("line",), "u2": ("moved",),
    }  # fmt: skip
    assert found.retired == ("old one",)
    states = {row.identity.scanner: row.state for row in found.units}
    assert states["new one"] == "no check"
    assert states["u0"] == "steady"
    assert found.due[0].scanner == "new one"
    assert [repair.effect.event.words for repair in found.repairs] == []  # more than a year ago


def test_a_broken_record_is_named_and_the_rest_is_shown(engine, lives):
    fill(engine, lives)
    with engine.begin() as connection:
        numbers = connection.scalars(
            sa.select(record.c.id).where(record.c.scanner == "u4").order_by(record.c.id)
        ).all()
        of_first = sa.update(block).where(block.c.record_id == numbers[0])
        connection.execute(of_first.values(numbers=b"torn"))
        of_next = sa.update(block).where(block.c.record_id == numbers[1])
        connection.execute(of_next.values(numbers=b"\xff" * 17 * 90))
        connection.execute(sa.update(record).where(record.c.id == numbers[-1]).values(decided=[1]))
    found = fleet(engine, today=on(MONTHS))
    assert found.unreadable == (("u4", numbers[0]), ("u4", numbers[1]))
    assert {call.scanner for call in found.calls} == {"u1", "u2"}
    (row,) = [row for row in found.units if row.identity.scanner == "u4"]
    assert (row.lost, row.checks, row.decision.decision) == (2, MONTHS, "keep")


def test_layouts_that_cannot_be_read_leave_their_records_out(engine, lives):
    fill(engine, lives[:2])
    with engine.begin() as connection:
        connection.execute(sa.update(layout).values(places="no JSON"))
    found = fleet(engine, today=on(MONTHS))
    assert len(found.unreadable) == 2 * MONTHS
    assert {row.identity.scanner for row in found.units} == {"new one", "u0", "u1", "u3"}


# ------------------------------------------------------------------------------ the command


@pytest.fixture
def filled(tmp_path, lives):
    path = tmp_path / "fleet.sqlite"
    with open_store(str(path)) as engine:
        fill(engine, lives)
    return path


def test_the_command_says_the_answer_and_writes_the_page(filled, tmp_path):
    found = run("fleet", "--records", filled, "--out", tmp_path / "out")
    assert found.exit_code == 0, found.output
    lines = found.stdout.splitlines()
    assert lines[0] == "2 of 7 scanners need a hand today: u2 first"
    assert "checks are late" in lines[1]
    assert lines[2].startswith("  u2: SFR")
    assert lines[3].startswith("  u1: New dark line at x ")
    assert lines[-1] == str(tmp_path / "out" / "fleet.html")
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == ["fleet.html", "index.html"]
    quiet = run("fleet", "--records", filled, "--out", tmp_path / "out", "-q", "--every", "3650")
    assert quiet.stdout.splitlines() == [lines[0], lines[-1]]


def test_a_role_that_may_only_read_suffices(url, lives, tmp_path):
    with open_store(url) as engine:
        fill(engine, lives)
    if url.startswith("sqlite"):
        path = url.removeprefix("sqlite:///")
        reader = f"sqlite:///file:{path}?mode=ro&uri=true"
    else:
        name = f"reader{os.urandom(4).hex()}"
        with psycopg.connect(url.replace("+psycopg", ""), autocommit=True) as connection:
            connection.execute(f"CREATE ROLE {name} LOGIN")
            connection.execute(f"GRANT SELECT ON ALL TABLES IN SCHEMA public TO {name}")
        reader = url.replace("scanqa@", f"{name}@")
        plain = reader.replace("+psycopg", "")
        refused = pytest.raises(psycopg.errors.InsufficientPrivilege)
        with psycopg.connect(plain) as connection, refused:
            connection.execute("DELETE FROM block")
    found = run("fleet", "--records", reader, "--out", tmp_path)
    assert found.exit_code == 0, found.output
    assert "2 of 7 scanners need a hand today" in found.stdout


def test_an_empty_database_is_one_line(tmp_path):
    found = run("fleet", "--records", tmp_path / "new.sqlite", "--out", tmp_path)
    assert found.exit_code == 2
    (line,) = found.stderr.splitlines()
    assert "new.sqlite: no scanner and no check on record" in line


def test_a_database_that_is_gone_is_one_line(postgres_server, tmp_path):
    for records in ("postgresql+psycopg://scanqa@127.0.0.1:1/none",
                    postgres_server.replace("/postgres", "/none")):  # fmt: skip
        found = run("fleet", "--records", records, "--out", tmp_path)
        assert found.exit_code == 2
        (line,) = found.stderr.splitlines()
        assert line.startswith("scanqa: records postgresql+psycopg://scanqa@127.0.0.1")


def test_a_locked_database_is_one_line(filled, tmp_path, monkeypatch):
    monkeypatch.setattr(database, "SQLITE_PATIENCE_S", 0.2)
    with sqlite3.connect(filled) as other:
        other.execute("PRAGMA locking_mode = EXCLUSIVE")
        other.execute("BEGIN EXCLUSIVE")
        other.execute("UPDATE record SET tool_version = '0'")
        found = run("fleet", "--records", filled, "--out", tmp_path / "out")
        other.rollback()
    other.close()
    if found.exit_code:  # a reader of a WAL database waits for nobody, unless the lock is whole
        (line,) = found.stderr.splitlines()
        assert "locked" in line
    else:
        assert "2 of 7" in found.stdout


def test_a_locked_table_of_postgresql_is_one_line(postgres_server, lives, tmp_path, monkeypatch):
    from scanqa.records.fleet import gather as room

    monkeypatch.setattr(room, "LOCK_PATIENCE", "300ms")
    name = f"t{os.urandom(6).hex()}"
    with psycopg.connect(postgres_server.replace("+psycopg", ""), autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
    url = postgres_server.rsplit("/", 1)[0] + f"/{name}"
    with open_store(url) as engine:
        fill(engine, lives[:1])
    with psycopg.connect(url.replace("+psycopg", "")) as other:
        other.execute("LOCK TABLE block IN ACCESS EXCLUSIVE MODE")
        found = run("fleet", "--records", url, "--out", tmp_path)
    assert found.exit_code == 2
    (line,) = found.stderr.splitlines()
    assert "lock" in line


def test_a_scanner_called_fleet_keeps_its_report(filled, tmp_path):
    from scanqa.report.pages import write_report
    from tests.report import synthetic

    made = synthetic.changed(synthetic.one_blank(), scanner="fleet")
    write_report(made, tmp_path / "fleet.html")
    found = run("fleet", "--records", filled, "--out", tmp_path, "-q")
    assert found.stdout.splitlines()[-1].endswith("fleet-2.html")


def test_the_filling_of_tests_is_what_the_store_writes(engine):
    """`tests/fleet/fill.py` against `store.add`: values, blocks and streaks of one record."""
    kept = qualification(measures=[measure("noise.total"), measure("noise.snr", 40.0)],
                         streaks=(streak(),), conditions={"date": "2026-01-05"})  # fmt: skip
    store.add(engine, kept)
    (check,) = store.history(engine, "heron")
    put(engine, [("wren", check, Decision("keep"))], kept)
    (again,) = store.history(engine, "wren")
    assert (again.values, again.lines) == (check.values, check.lines)
    tracks = [[(t.key, t.values.tolist()) for t in u.tracks] for u in gather(engine)]
    assert tracks[0] == tracks[1]
