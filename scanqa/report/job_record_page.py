"""The record of a job as a page."""

from __future__ import annotations

from scanqa.model.job_record import JobRecord
from scanqa.report.pages import environment
from scanqa.version import __version__
from scanqa.words.of_job_record import COVERED, check_sentence, lot_sentence
from scanqa.words.of_watch import event_sentence, judged_sentence, summary_sentence


def render_job_record(record: JobRecord) -> str:
    """The page: checks, settings, what was found, what to look at, every file with its hash."""
    facts = [
        ("page", "job-record"),
        ("scanner", record.scanner),
        ("date", record.created[:10]),
        ("sentence", summary_sentence(record.watched)),
    ]
    events = [event for event in record.watched.events if event.action != "none"]
    return (
        environment()
        .get_template("job-record.html.j2")
        .render(
            record=record,
            facts=facts,
            summary=summary_sentence(record.watched),
            judged=judged_sentence(record.watched),
            check=check_sentence(record),
            covered=COVERED[record.covered],
            events=[event_sentence(event) for event in events],
            lots=[(lot_sentence(lot), lot.sample) for lot in record.lots],
            version=__version__,
        )
    )
