"""What happens beside the work: disks fill up, files change, clocks go back. Told, nothing lost."""

import os
import resource
import signal
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from scanqa import qualification
from scanqa.cli import main
from scanqa.codec import read_record
from scanqa.errors import BadOption, ScanqaError, UnreadableScan
from scanqa.placing import check_unchanged
from scanqa.records import store
from scanqa.records.database import open_store
from scanqa.scans.open import open_scan
from scanqa.scans.save import save_tiff
from tests.records import builders

SIZE = (900, 700)


@pytest.fixture
def scan(tmp_path):
    path = tmp_path / "scans" / "blank.tif"
    path.parent.mkdir()
    pixels = np.random.default_rng(3).normal(230, 1.5, (*SIZE, 3)).clip(0, 255)
    save_tiff(path, pixels.astype(np.uint8), 100)
    return path


def lines(result):
    assert result.exit_code == 2, result.output
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result.stderr.strip().splitlines()


def limited(size, *words):
    """A scanqa command that can write no file beyond a size, as on a disk that is full."""

    def limit():
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))

    return subprocess.run(
        [sys.executable, "-m", "scanqa", *map(str, words)],
        preexec_fn=limit, capture_output=True, text=True, timeout=300,
    )  # fmt: skip


def test_a_disk_that_fills_up_while_a_scan_is_unpacked_is_not_a_damaged_scan(scan, tmp_path):
    packed = scan.with_name("packed.png")
    Image.open(scan).save(packed, dpi=(100, 100))
    done = limited(
        1_000_000, "qualify", packed, "--scanner", "heron", "--no-keep", "--out", tmp_path / "out"
    )
    (line,) = done.stderr.strip().splitlines()
    assert done.returncode == 2
    assert "no room to unpack a scan (2 MB)" in line
    assert "damaged" not in line


def test_document_and_record_are_kept_if_the_page_finds_no_room(scan, tmp_path, monkeypatch):
    def full(*_, **__):
        raise BadOption("heron.html: cannot be written: No space left on device")

    monkeypatch.setattr("scanqa.report.pages.write_report", full)
    kept, records = tmp_path / "heron.json", str(tmp_path / "r.sqlite")
    words = ["qualify", str(scan), "--scanner", "heron", "--out", str(tmp_path / "out")]
    run = CliRunner().invoke(main, [*words, "--json", str(kept), "--records", records])
    (line,) = lines(run)
    assert "No space left" in line
    assert read_record(kept).scanner == "heron"
    with open_store(records) as engine:
        assert store.count(engine, "heron") == 1


def test_a_full_disk_for_the_records_leaves_page_and_document(scan, tmp_path):
    kept = tmp_path / "heron.json"
    words = ("qualify", scan, "--scanner", "heron", "--out", tmp_path / "out", "--json", kept)
    done = limited(600_000, *words, "--records", "/proc/records.sqlite")
    assert done.returncode == 2
    (line,) = done.stderr.strip().splitlines()
    assert "/proc/records.sqlite" in line
    assert "not put on record" in line
    assert read_record(kept).scanner == "heron"
    assert list((tmp_path / "out").glob("heron*.html"))


@pytest.mark.parametrize("how", ["rewritten", "gone", "longer"])
def test_a_file_that_changes_while_it_is_measured_is_told_and_goes_on_no_record(
    scan, tmp_path, monkeypatch, how
):
    measured = qualification._measured

    def disturbed(*given):
        results = measured(*given)
        if how == "gone":
            scan.unlink()
        elif how == "longer":
            with scan.open("ab") as file:
                file.write(b"more")
        else:
            os.utime(scan, ns=(1, scan.stat().st_mtime_ns + 1))
        return results

    monkeypatch.setattr(qualification, "_measured", disturbed)
    records = str(tmp_path / "r.sqlite")
    words = ["qualify", str(scan), "--scanner", "heron", "--out", str(tmp_path / "out")]
    (line,) = lines(CliRunner().invoke(main, [*words, "--records", records]))
    assert str(scan) in line
    assert "changed while it was measured" in line
    assert not (tmp_path / "out").exists() or not list((tmp_path / "out").iterdir())


def test_a_file_that_is_half_written_is_one_line_whatever_its_kind(scan):
    for name in ("half.png", "half.jpg", "half.tif"):
        part = scan.with_name(name)
        if name == "half.tif":
            part.write_bytes(scan.read_bytes())
        else:
            Image.open(scan).save(part)
        part.write_bytes(part.read_bytes()[: part.stat().st_size // 2])
        with pytest.raises(UnreadableScan, match=name.replace(".", r"\.")) as caught:
            list(open_scan(part).strips())
        assert "\n" not in str(caught.value)


def test_a_file_that_grows_shorter_under_the_reader_is_one_line(scan):
    opened = open_scan(scan)
    strips = opened.strips(100)
    next(strips)
    os.truncate(scan, scan.stat().st_size // 3)
    with pytest.raises(UnreadableScan, match="became shorter"):
        list(strips)
    with pytest.raises(ScanqaError, match="changed while"):
        opened.check_unchanged()
    check_unchanged([])  # of none there is nothing to say


def test_a_clock_that_goes_back_loses_no_record_and_no_order(tmp_path):
    records = str(tmp_path / "r.sqlite")
    days = [datetime(2026, 5, day, tzinfo=UTC) for day in (20, 3, 21)]  # the second too early
    with open_store(records) as engine:
        for number, day in enumerate(days):
            record = builders.qualification()
            scans = (replace(record.scans[0], sha256=f"{number:064x}"), *record.scans[1:])
            store.add(engine, replace(record, created=day.isoformat(), scans=scans))
        assert store.count(engine, "heron") == 3
        order = [record.created for record in store.read_all(engine, "heron")]
    assert sorted(order) == sorted(day.isoformat() for day in days)
    for words in (["history", "heron"], ["records", "list"]):
        run = CliRunner().invoke(main, [*words, "--records", records])
        assert run.exit_code == 0, run.output
        assert "2026-05-03" in run.stdout
