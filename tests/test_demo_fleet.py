"""The demo's fleet tells what was planted in it, and nothing else."""

from datetime import date

import pytest

from scanqa.cli.demo_command import _fleet
from scanqa.demo_fleet import UNITS, fleet_events, fleet_records, fleet_units
from scanqa.records.database import open_store
from scanqa.records.fleet.overlook import fleet
from tests.report.conftest import DEMO
from tests.report.reading import page_text

TODAY = date.today()


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """The folder of the page, beside the demo's newest checks, and the database."""
    out = tmp_path_factory.mktemp("fleet-out")
    for name in ("heron.json", "wren.json"):
        (out / name).write_bytes((DEMO / name).read_bytes())
    database = tmp_path_factory.mktemp("fleet-scans") / "fleet.sqlite"
    _fleet(database, out)
    return out, database


@pytest.fixture(scope="module")
def seen(made):
    with open_store(f"sqlite:///{made[1]}") as engine:
        return fleet(engine, today=TODAY)


def test_the_sick_are_called_and_no_other(seen):
    planted = {unit.name for unit in UNITS if unit.fault in ("line", "lamp", "noise")}
    assert {call.scanner for call in seen.calls} == planted | {"heron"}
    kinds = {call.scanner: call.kinds for call in seen.calls}
    assert kinds["bittern"] == ("decision", "line")
    assert kinds["curlew"] == kinds["dunlin"] == ("moved",)
    assert seen.budget.widened == {}


def test_lamps_outliers_repairs_and_late_checks_are_those_that_were_planted(seen):
    assert {lamp.scanner for lamp in seen.lamps} == {"heron", "curlew"}
    assert {each.scanner for each in seen.apart} == {"plover"}
    assert {each.key.name for each in seen.apart} == {"shading.nonuniformity"}
    helped = {repair.effect.event.scanner: repair.helped for repair in seen.repairs}
    assert helped == {"egret": "helped", "fieldfare": "helped"}
    assert [due.scanner for due in seen.due if due.late > 0] == ["linnet"]
    assert len(seen.units) == 12


def test_the_page_lies_beside_the_others(made):
    text = page_text((made[0] / "fleet.html").read_text("utf-8"))
    assert "4 of 12 scanners need a hand today: bittern first" in text
    assert "Fleet" in page_text((made[0] / "index.html").read_text("utf-8"))


def test_the_ten_are_drawn_the_same_each_time_whatever_the_day():
    one, other = (
        [(r.scanner, [m.value for m in r.measures]) for r in fleet_records(today=day)]
        for day in (date(2026, 11, 26), date(2027, 3, 1))
    )
    assert one == other
    assert len(fleet_units(today=TODAY)) == len(UNITS) == 10
    assert {event.scanner for event in fleet_events(today=TODAY)} == {"egret", "fieldfare"}
