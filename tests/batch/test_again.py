"""A method that improves: originals measured again, and the change told as one of the method.

The better method is a copy of the package in which one measure is multiplied by 1.1 and its version
raised, so that truth is known: every value of it is 10 % larger, and nothing else has changed.
"""

import shutil

import pytest

from scanqa.catalogue import CATALOGUE
from scanqa.model.history import MethodChange
from scanqa.records.database import open_store
from scanqa.records.looking_back import health_of
from scanqa.records.store import history
from tests.batch.arena import ROOT, batch, begin, end, make_archive, rows, unlike

MEASURE = "shading.nonuniformity"
VERSION = CATALOGUE[MEASURE].version
FACTOR = 1.1


def replaced(path, old, new, *, after=""):
    head, mark, rest = path.read_text("utf-8").partition(after or old)
    rest = rest if after else mark + rest
    mark = mark if after else ""
    assert rest.count(old) >= 1, (path, old)
    path.write_text(head + mark + rest.replace(old, new, 1), "utf-8")


@pytest.fixture(scope="module")
def newer(tmp_path_factory):
    """A folder with scanqa 0.2.0, whose method of one measure is another."""
    folder = tmp_path_factory.mktemp("newer")
    shutil.copytree(
        ROOT / "scanqa", folder / "scanqa", ignore=shutil.ignore_patterns("__pycache__")
    )
    package = folder / "scanqa"
    replaced(package / "version.py", "0.1.0", "0.2.0")
    replaced(package / "catalogue/families/shading.toml", f"version = {VERSION}",
             f"version = {VERSION + 1}", after='name = "nonuniformity"')  # fmt: skip
    replaced(package / "measures/shading/__init__.py", "100 * (np.ptp(", "110 * (np.ptp(")
    return folder


def series_of(records):
    with open_store(str(records)) as engine:
        found = health_of(engine, "heron")
    return next(each for each in found.series if each.key.name == MEASURE)


def test_an_archive_is_measured_anew_and_the_change_is_one_of_the_method(newer, tmp_path):
    archive = make_archive(tmp_path / "orchard", scanners=("heron",), months=4)
    records = tmp_path / "r.sqlite"
    command = (archive, "--records", records, "--workers", 2)
    assert batch(*command, "--new-scanners")[0] == 0
    with open_store(str(records)) as engine:
        old = [each.value for check in history(engine, "heron", names=[MEASURE])
               for each in check.values]  # fmt: skip

    # Unasked, the newer scanqa measures nothing anew and says that it could.
    path = {"PYTHONPATH": str(newer)}
    status, out, wrong = batch(*command, **path)
    assert (status, wrong) == (0, [])
    assert out == "4 sets: 4 on record by an older method (--again measures anew)\n"
    status, out, wrong = batch(*command, "--again", **path)
    assert (status, out, wrong) == (0, "4 sets: 4 measured anew\n", [])
    with open_store(str(records)) as engine:
        checks = history(engine, "heron")
    new = [v.value for check in checks for v in check.values if v.name == MEASURE]
    assert new == pytest.approx([FACTOR * value for value in old])
    before = {(b.name, b.method_version) for c in checks for b in c.measured_before}
    assert before == {(MEASURE, VERSION)}

    # The charts see one method alone; what it changed is told beside them.
    found = series_of(records)
    assert (found.left_out, found.changes, len(found.values)) == (0, (), 4)
    shifts = sorted((FACTOR - 1) * value for value in old)
    middle = (shifts[1] + shifts[2]) / 2
    assert found.method == MethodChange(
        VERSION,
        VERSION + 1,
        4,
        pytest.approx(middle),
        pytest.approx(shifts[0]),
        pytest.approx(shifts[-1]),
    )
    status, said, _ = end(begin("history", "heron", "--records", records, **path))
    assert status == 0
    assert f"version {VERSION}, now {VERSION + 1}): 4 checks measured by both give +" in said
    assert "That is no change of the scanner." in said

    # Once more changes nothing at all.
    before = rows(f"sqlite:///{records}")
    status, out, _ = batch(*command, "--again", **path)
    assert (status, out) == (0, "4 sets: 4 on record already\n")
    assert unlike(before, rows(f"sqlite:///{records}")) == []

    # The older scanqa does not put its values in the place of newer ones.
    assert batch(*command, "--again")[1] == "4 sets: 4 on record already\n"


def test_originals_that_are_gone_leave_the_series_and_are_counted(newer, tmp_path):
    archive = make_archive(tmp_path / "orchard", scanners=("heron",), months=3)
    records = tmp_path / "r.sqlite"
    command = (archive, "--records", records, "--workers", 1)
    assert batch(*command, "--new-scanners")[0] == 0
    shutil.rmtree(archive / "heron/2026-01-01")
    path = {"PYTHONPATH": str(newer)}
    assert batch(*command, "--again", **path)[1] == "2 sets: 2 measured anew\n"
    found = series_of(records)
    assert (len(found.values), found.left_out, found.method.checks) == (2, 1, 2)
