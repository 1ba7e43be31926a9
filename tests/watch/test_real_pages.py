"""Real scans: true streaks are found, notes give no false line. Sources: tests/real/README.md."""

import pytest

from scanqa.watch.events import events_of, redo_of
from scanqa.watch.judge import Job, advance
from scanqa.watch.measure_page import measure_page
from tests.watch.real_pages import MENDED, STREAKS, film_job, notes_job

PAGES, BEGIN = 26, 14


@pytest.mark.slow
def test_true_streaks_of_a_real_scanner_are_found_under_pages(tmp_path):
    job = Job()
    for path in film_job(tmp_path, PAGES, BEGIN):
        job = advance(job, measure_page(path))
        path.unlink()
    events = events_of(job)
    lines = [event for event in events if event.kind == "line"]
    found = {at for at in STREAKS for line in lines if abs(line.at_px - at) <= 1.5}
    assert found == set(STREAKS)
    own = [line for line in lines if min(abs(line.at_px - at) for at in STREAKS) <= 1.5]
    assert all(line.contrast_percent > 0 for line in own)
    # No line but where a streak was mended before: nothing else changes on that page.
    assert all(min(abs(line.at_px - at) for at in MENDED) <= 1.5 for line in lines)
    assert {event.kind for event in events if event.action == "scan-again"} == {"line"}


@pytest.mark.slow
def test_real_leaves_of_notes_give_no_line(tmp_path):
    job = Job()
    for path in notes_job(tmp_path, 24):
        job = advance(job, measure_page(path))
        path.unlink()
    assert job.search is not None
    assert job.search.middle is not None
    assert redo_of(job, events_of(job)) == ()
