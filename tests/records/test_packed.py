"""Blocks of numbers: the same as the rows they are made from, on both databases."""

import math

import pytest
import sqlalchemy as sa

from scanqa.model import Decision, Shared
from scanqa.records import store
from scanqa.records.database import open_store
from scanqa.records.packed import read_layouts, unpacked
from scanqa.records.schema import block, layout, record, value
from tests.records.builders import measure, qualification


def kept(number):
    """A record of three numbers: one plain, one with doubt that others share, one a bound."""
    shared = (Shared("print", "one sheet", 0.3), Shared("print", "", 0.4))
    return qualification(
        [f"s{number}"],
        measures=[
            measure("noise.total", 1.0 + number, 0.1, scan=f"s{number}.tif"),
            measure("sharpness.sheet_sfr10", 7.0, 0.5, scan=f"s{number}.tif", shared=shared),
            measure(
                "streaks.strongest_visible", 0.2, None, status="at-most", scan=f"s{number}.tif"
            ),
        ],
        conditions={"date": f"2026-01-{1 + number:02}"},
        decision=Decision("clean", "dirt", ("glass-dirt",), title="Clean it"),
    )


def blocks(engine):
    """Each block in words: record → {name: (value, doubt, whether at most)}."""
    with engine.connect() as connection:
        layouts = read_layouts(connection)
        rows = connection.execute(sa.select(block.c.record_id, block.c.layout_id, block.c.numbers))
        found = {}
        for number, of, numbers in rows:
            read, whole = unpacked([numbers], len(layouts[of]))
            assert whole.all()
            found[number] = {
                place.key.name: (read.value[0, i], read.doubt[0, i], bool(read.at_most[0, i]))
                for i, place in enumerate(layouts[of])
            }
    return found


def test_a_block_holds_what_the_rows_hold(engine):
    numbers = [store.add(engine, kept(n)).id for n in range(3)]
    found = blocks(engine)
    assert sorted(found) == numbers
    with engine.connect() as connection:
        rows = connection.execute(sa.select(value.c.record_id, value.c.name, value.c.value)).all()
        assert connection.scalar(sa.select(sa.func.count()).select_from(layout)) == 1
    assert {(r, name, v) for r, name, v in rows} == {
        (r, name, known[0]) for r, all_ in found.items() for name, known in all_.items()
    }
    mine = found[numbers[1]]
    assert mine["noise.total"][1:] == (0.1, False)
    # the part that has a name is the sheet's, and left out: own² = 0.5² − 0.3² − 0.4² = 0
    assert mine["sharpness.sheet_sfr10"][1] == pytest.approx(0.4)
    assert math.isnan(mine["streaks.strongest_visible"][1])
    assert mine["streaks.strongest_visible"][2]


def test_a_record_that_goes_takes_its_block_along(engine):
    first = store.add(engine, kept(0))
    store.add(engine, kept(1))
    assert store.remove(engine, first.id)
    assert len(blocks(engine)) == 1


def test_a_record_measured_anew_has_one_block(engine):
    store.add(engine, kept(0))
    anew = qualification(
        ["s0"], version="9", measures=[measure("noise.total", 5.0, 0.1, scan="s0.tif")]
    )
    assert store.add(engine, anew).how == "measured anew"
    (found,) = blocks(engine).values()
    assert found == {"noise.total": (5.0, 0.1, False)}


def test_the_decision_is_kept_whole_beside_the_record(engine):
    store.add(engine, kept(0))
    with engine.connect() as connection:
        decided = connection.scalar(sa.select(record.c.decided))
    assert (decided["decision"], decided["causes"]) == ("clean", ["glass-dirt"])
    assert decided["title"] == "Clean it"


def test_records_from_before_are_given_blocks_and_decisions(url):
    """A database of schema 2, as an upgrade meets it."""
    from alembic import command
    from alembic.config import Config

    from scanqa.records import migrations

    with open_store(url) as engine:
        for number in range(4):
            store.add(engine, kept(number))
        before = blocks(engine)
        config = Config()
        config.set_main_option("script_location", migrations.__path__[0])
        with engine.execution_options(alone=True).begin() as connection:
            config.attributes["connection"] = connection
            command.downgrade(config, "0002")
        with engine.connect() as connection:
            assert "block" not in sa.inspect(connection).get_table_names()
    with open_store(url) as engine:
        after = blocks(engine)
        with engine.connect() as connection:
            titles = connection.scalars(sa.select(record.c.decided)).all()
    assert [d["title"] for d in titles] == ["Clean it"] * 4
    assert repr(after) == repr(before)  # NaN is not equal to itself


def test_a_block_that_is_cut_off_or_holds_no_number_is_seen():
    numbers, whole = unpacked([b"\0" * 16, b"\0" * 17, b"\xff" * 17], 1)
    assert whole.tolist() == [False, True, False]
    assert numbers.value.tolist() == [[0.0]]
