"""Sentences of a job's record."""

from __future__ import annotations

from scanqa.model.job_record import JobRecord, Lot
from scanqa.words.of_watch import summary_sentence

COVERED = {
    "yes": "A check before that still counted, and one after, cover every page.",
    "open": "The check before still counted at the last page; a check after it would close the "
    "record (scanqa qualify).",
    "no": "No check that counts covers every page: check the scanner (scanqa qualify).",
}


def record_sentences(record: JobRecord) -> tuple[str, ...]:
    """The record in a few sentences."""
    made = [f"{len(record.files)} files, each with its SHA-256."]
    for state, words in (
        ("changed", "changed since the watch read them"),
        ("not-watched", "never read by the watch: run scanqa job watch, then record again"),
        ("unreadable", "no scans that can be read"),
    ):
        names = [file.file for file in record.files if file.state == state]
        if names:
            more = f" and {len(names) - 3} more" if len(names) > 3 else ""
            made.append(f"{words[0].upper()}{words[1:]}: {', '.join(names[:3])}{more}.")
    made.append(summary_sentence(record.watched))
    made.append(check_sentence(record))
    made.append(COVERED[record.covered])
    made += [lot_sentence(lot) for lot in record.lots]
    return tuple(made)


def check_sentence(record: JobRecord) -> str:
    """Which checks there are, and until when the one before counts."""
    before, after = record.before, record.after
    begin = "No check before the job is on record"
    if before is not None:
        begin = (
            f"Check before: {before.taken[:10]}, {before.outcome}; it counts until "
            f"{record.counts_until} or for {record.counts_pages} pages, what ends first "
            f"({record.counts_days} days: our rule)"
        )
    end = "no check after" if after is None else f"check after: {after.taken[:10]}, {after.outcome}"
    return f"{begin}; {end}."


def lot_sentence(lot: Lot) -> str:
    """What is to be looked at of a lot."""
    faulty = (
        "one faulty page rejects"
        if lot.reject_from == 1
        else (f"{lot.reject_from} faulty pages reject")
    )
    return (
        f"Lot {lot.number}, {lot.first} to {lot.last}, {lot.pages} pages: look at "
        f"{len(lot.sample)} by eye; {faulty} the lot."
    )
