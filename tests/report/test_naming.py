"""No page is ever overwritten by one of another scanner, kind or day."""

from dataclasses import replace

import pytest

from scanqa.report.index.naming import dated_path, file_stem, is_full, path_for, report_path
from scanqa.report.pages import write_report
from tests.report import synthetic
from tests.report.synthetic import changed, facts

FULL = changed(synthetic.one_blank(), scans=(facts("page.tif", "page"),))
SMALL = synthetic.one_blank()


def made(found, scanner, day, folder, sha="1"):
    """Write a report as the command does; its name."""
    scans = tuple(
        replace(scan, sha256=sha * 64, modified=f"{day}T09:00:00+00:00")
        for scan in found.record.scans
    )
    whole = changed(found, scanner=scanner, scans=scans, created=f"{day}T10:00:00+00:00")
    path = report_path(folder, whole.record)
    write_report(whole, path)
    return path.name


def names(folder):
    return {path.name for path in folder.glob("*.html")}


@pytest.mark.parametrize("first", ["x y", "x-y", "a"])
def test_names_that_collide_get_pages_of_their_own(first, tmp_path):
    for scanner in ("x y", "x-y", "a", "a-evidence", "a-check-2026-01-05"):
        made(FULL, scanner, "2026-01-05", tmp_path)
        made(SMALL, scanner, "2026-01-05", tmp_path)
    before = {path.name: path.read_bytes() for path in tmp_path.glob("*.html")}
    assert len(before) == 10
    again = made(FULL, first, "2026-01-05", tmp_path)
    after = {path.name: path.read_bytes() for path in tmp_path.glob("*.html")}
    assert {name for name in after if after[name] != before.get(name)} <= {again}
    assert after.keys() == before.keys()


def test_a_small_check_leaves_the_full_report_alone(tmp_path):
    assert made(FULL, "heron", "2026-01-05", tmp_path) == "heron.html"
    kept = (tmp_path / "heron.html").read_bytes()
    assert made(SMALL, "heron", "2026-02-05", tmp_path) == "heron-check-2026-02-05.html"
    assert (tmp_path / "heron.html").read_bytes() == kept


def test_the_plain_name_is_the_newest_full_report_and_older_ones_keep_their_day(tmp_path):
    made(FULL, "heron", "2026-01-05", tmp_path, sha="1")
    old = (tmp_path / "heron.html").read_bytes()
    assert made(FULL, "heron", "2026-02-05", tmp_path, sha="2") == "heron.html"
    assert (tmp_path / "heron-2026-01-05.html").read_bytes() == old
    assert made(FULL, "heron", "2026-01-20", tmp_path, sha="3") == "heron-2026-01-20.html"
    assert names(tmp_path) == {"heron.html", "heron-2026-01-05.html", "heron-2026-01-20.html"}


def test_the_same_record_again_takes_the_same_names(tmp_path):
    for _ in range(2):
        made(FULL, "heron", "2026-01-05", tmp_path)
        made(SMALL, "heron", "2026-01-05", tmp_path)
    assert names(tmp_path) == {"heron.html", "heron-check-2026-01-05.html"}


def test_a_file_that_is_not_ours_is_never_overwritten(tmp_path):
    (tmp_path / "heron.html").write_text("<title>somebody's page</title>")
    assert made(FULL, "heron", "2026-01-05", tmp_path) == "heron-2.html"
    assert "somebody" in (tmp_path / "heron.html").read_text()


def test_a_page_drawn_again_goes_by_its_day(tmp_path):
    record = FULL.record
    assert dated_path(tmp_path, record).name == "wren-2026-11-20.html"
    assert path_for(tmp_path, "wren", {"page": "history"}).name == "wren.html"
    assert is_full(record)
    assert not is_full(SMALL.record)


@pytest.mark.parametrize("words", ["../../etc", "a/b", " . ", "林檎", synthetic.HOSTILE])
def test_no_name_leaves_the_folder(words):
    stem = file_stem(words)
    assert stem
    assert "/" not in stem
    assert not stem.startswith((".", "-"))
