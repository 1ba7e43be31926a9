"""A list of units: taken whole or not at all, each bad line named.

The tables are written by Python's csv module and by hand; quoting as in RFC 4180.
"""

import csv
import io
from itertools import count

import pytest

from scanqa.model import Identity
from scanqa.records.units_list import of_one_serial
from tests.records.test_commands import run

HEAD = "scanner,make,model,serial,site,acquired\n"


@pytest.fixture
def imported(tmp_path):
    """A function that imports a text as a file of its own."""
    numbers = count()

    def imported(text, encoding="utf-8"):
        path = tmp_path / f"units-{next(numbers)}.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode(encoding))
        return run("scanners", "import", path)

    return imported


def noted():
    """The lines of ``scanners list``, by name."""
    lines = run("scanners", "list").stdout.splitlines()
    return dict(line.split(": ", 1) for line in lines)


def test_hundreds_are_noted_and_the_same_list_again_changes_nothing(imported):
    text = io.StringIO()
    table = csv.writer(text)
    table.writerow(["Scanner", "Make", "Serial", "Return until", "Site"])
    for number in range(400):
        table.writerow(
            [f"unit-{number:03}", "Larkfield", f"S{number}", "2027-01-31", 'a "desk", 2']
        )
    first = imported(text.getvalue())
    assert (first.exit_code, first.stdout) == (0, "400 noted, 0 known already\n")
    assert len(noted()) == 400
    assert noted()["unit-007"] == (
        'Larkfield, serial S7, a "desk", 2, return until 31 January 2027'
    )
    again = imported(text.getvalue())
    assert (again.exit_code, again.stdout) == (0, "0 noted, 400 known already\n")


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_tables_of_other_languages_are_read(imported, separator):
    lines = ["name,make,asset", "owl,Larkfield,17", "", "jay,Sandmere,18"]
    text = "\ufeff" + "\r\n".join(line.replace(",", separator) for line in lines)
    assert imported(text).stdout == "2 noted, 0 known already\n"
    assert noted() == {"owl": "Larkfield, asset 17", "jay": "Sandmere, asset 18"}


def test_bad_lines_are_named_by_number_and_nothing_is_taken(imported):
    run("scanners", "add", "heron", "--make", "Larkfield", "--serial", "0417")
    found = imported(
        HEAD
        + "owl,Larkfield,L-12,0418,attic,2026-01-05\n"
        + "owl,Larkfield,L-12,0419,attic,\n"
        + "jay,Larkfield,L-12,0418,attic,\n"
        + ",Larkfield,L-12,0420,attic,\n"
        + "rook,Larkfield,L-12,0421,attic,last week\n"
        + "heron,Sandmere,,,,\n"
        + "../wren,,,,,\n"
        + 'tern,"in two\nlines",,,,\n'
        + "dove,Larkfield,L-12,0422,attic,,too,many\n"
        + "finch,Larkfield,L-12,0423,attic,2026-01-06\n"
    )
    assert found.exit_code == 2
    lines = found.stderr.splitlines()
    said = {line.partition(", line ")[2].partition(":")[0]: line for line in lines[:-1]}
    assert list(said) == ["3", "4", "5", "6", "7", "8", "10", "11"]
    assert "owl stands in line 2 too" in said["3"]
    assert "serial 0418 is that of owl, line 2; one unit goes by one name" in said["4"]
    assert "no scanner named" in said["5"]
    assert "acquired 'last week' is not a date" in said["6"]
    assert (
        "heron is noted with make Larkfield; change that with scanqa scanners change" in said["7"]
    )
    assert "'../wren' cannot be a file name" in said["8"]
    assert "control character" in said["10"]
    assert "more cells than columns" in said["11"]
    assert "nothing taken: 8 of 10 lines are bad" in lines[-1]
    assert list(noted()) == ["heron"]


def test_a_serial_that_is_noted_already_is_told(imported):
    run("scanners", "add", "heron", "--make", "Larkfield", "--model", "L-12", "--serial", "a1")
    again = imported(HEAD + "egret,larkfield,l-12,A1,,\n")
    assert again.exit_code == 2
    assert "serial A1 is that of heron, noted" in again.stderr
    # makers count each their own
    assert imported(HEAD + "egret,Sandmere,L-12,A1,,\n").exit_code == 0


def test_names_of_one_serial_are_told_together_where_nothing_speaks_against_it():
    units = [
        Identity("heron", make="Larkfield", model="L-12", serial="a1"),
        Identity("egret", serial="A1"),  # make and model not said
        Identity("owl", model="L-14", serial="a2"),
        Identity("teal", model="L-12", serial="a2"),  # of another model
        Identity("kite", serial="a3"),
        Identity("rook", serial="a3", retired="2026-01-01"),
        Identity("wren"),
        Identity("crake"),
    ]
    assert of_one_serial(units) == [("heron", "egret")]


def test_blanks_of_what_is_noted_are_filled(imported):
    run("scanners", "add", "heron", "--make", "Larkfield")
    assert imported(HEAD + "heron,,L-12,0417,,\n").stdout == "0 noted, 1 known already\n"
    assert noted()["heron"] == "Larkfield L-12, serial 0417"


def test_columns_that_no_unit_has_are_told_and_left_out(imported):
    found = imported("scanner,colour,make\nowl,grey,Larkfield\n")
    assert (found.exit_code, noted()) == (0, {"owl": "Larkfield"})
    (line,) = found.stderr.splitlines()
    assert line.endswith("columns that no unit has, left out: colour")


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "no column 'scanner'"),
        (b"make,model\na,b\n", "no column 'scanner'"),
        (b"scanner,name\na,b\n", "stands twice"),
        ("scanner\nM\u00f6we\n".encode("utf-16"), "not UTF-8"),
        (b"scanner\n" + b"x" * 200_000, "not CSV"),
    ],
)
def test_what_is_no_table_is_refused_in_one_line(imported, content, words):
    found = imported(content)
    assert found.exit_code == 2
    (line,) = found.stderr.splitlines()
    assert words in line


def test_a_file_that_is_not_there_is_named(tmp_path):
    found = run("scanners", "import", tmp_path / "none.csv")
    assert found.exit_code == 2
    assert "none.csv: no such file" in found.stderr
