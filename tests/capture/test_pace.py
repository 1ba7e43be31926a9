"""Pages per hour against the trade's own figures."""

from dataclasses import replace

import pytest

from scanqa.capture.faults import ScanFailed
from scanqa.capture.timing import Pace, paces, table
from scanqa.cli.capture_devices import time_scans
from scanqa.errors import BadOption
from tests.capture.fake import OPTIONS, paper
from tests.capture.test_session import ENTRY


def test_the_mechanical_limit_and_steady_hand_work_of_an_a3_book_edge_flatbed():
    """Common practice, no source: 200 pages an hour at the limit, 150 to 160 by hand."""
    pace = Pace(600, "Color", 8, 1, seconds=3600 / 200)
    assert pace.pages_per_hour(0) == pytest.approx(200)
    assert 150 <= pace.pages_per_hour() <= 160


def test_paces_are_medians_by_dpi_and_mode_of_whole_beds():
    def entry(step, seconds, dpi=300, **changes):
        width, height = round(8.27 * dpi), round(11.69 * dpi)
        return replace(
            ENTRY,
            step=step,
            seconds=seconds,
            dpi=(dpi, dpi),
            width_px=width,
            height_px=height,
            **changes,
        )

    part = replace(entry("claim", 50, 1200), width_px=4000, height_px=4000)
    foreign = entry("x", None)
    found = paces(
        [
            entry("a", 30),
            entry("b", 11),
            entry("c", 12),
            entry("d", 25, 600),
            part,
            foreign,
            entry("e", 5, mode="Gray"),
        ]
    )
    assert [(p.dpi, p.mode, p.scans, p.seconds) for p in found] == [
        (300, "Gray", 1, 5),
        (300, "Color", 3, 12),
        (600, "Color", 1, 25),
    ]


def test_the_plan_says_hours_and_days():
    text = table([Pace(300, "Color", 16, 3, 13.0)], pages=1000)
    assert "1000 pages: 5.0 h, 2 days of 4 h" in text  # 3600 / (13 + 5) = 200 pages an hour
    assert "200" in text


def test_no_timed_scan_is_said():
    assert table([]).startswith("No pace")


def test_no_pages_are_refused():
    with pytest.raises(BadOption):
        table([], pages=0)


@pytest.fixture
def two_modes(fake):
    """A device of one dpi that is timed in colour and in grey."""
    fake.offers(OPTIONS.replace("100|200|300dpi [100]", "200dpi [200]"))
    colour = paper(1, dpi=200)
    fake.queue(colour, colour[..., 0], dpi=200)
    return fake


def test_a_scan_that_fails_once_is_timed_again(two_modes, tmp_path, capsys):
    two_modes.does("unplugged once")
    time_scans("fake", {}, tmp_path, None, stall_s=30)
    out, said = capsys.readouterr()
    timed = sorted(line.split()[1] for line in out.splitlines()[1:])  # the quicker one first
    assert timed == ["Color", "Gray"]
    assert "input/output error" in said


def test_one_that_fails_twice_ends_it_and_what_was_timed_is_shown(two_modes, tmp_path, capsys):
    two_modes.does("serve once")
    with pytest.raises(ScanFailed, match="input/output error"):
        time_scans("fake", {}, tmp_path, None, stall_s=30)
    (row,) = capsys.readouterr().out.splitlines()[1:]
    assert row.split()[:2] == ["200", "Color"]
