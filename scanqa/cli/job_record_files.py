"""``scanqa job record`` and ``scanqa job check``: files, hashes, records in and out."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from scanqa.cli.checks import DONE, LIMIT_BROKEN, file_name
from scanqa.errors import BadOption, ScanqaError

if TYPE_CHECKING:
    from scanqa.model.job_record import JobCheck
    from scanqa.model.watched import Watched
    from scanqa.watch.job_manifest import Differences


def write_record(
    folder: Path,
    scanner: str,
    bag: Path | None,
    counting: tuple[int, int],
    out: Path,
    records: str | None,
    state: Path | None = None,
) -> int:
    """Write the record of a job and tell it; the exit status.

    Parameters
    ----------
    counting : (days, pages)
        How long a check counts.
    state : Path or None
        Where the watch keeps what it read, if not at the usual place.
    """
    from scanqa.codec import to_document
    from scanqa.report.job_record_page import render_job_record
    from scanqa.watch.job_manifest import files_of, manifest
    from scanqa.watch.tie_up import job_record
    from scanqa.whole import write_whole
    from scanqa.words.of_job_record import record_sentences

    watched = _as_watched(folder, scanner, state)
    files = files_of(folder, watched)
    found = job_record(
        watched,
        files,
        _checks(scanner, records),
        counts_days=counting[0],
        counts_pages=counting[1],
    )
    name = file_name(scanner)
    text, page = to_document(found), render_job_record(found)
    if bag is not None:
        from scanqa.archive.bag import write_bag

        documents = {"job-record.json": text.encode(), "job-record.html": page.encode()}
        copied = write_bag(found, folder, bag, documents=documents)
        linked = len(files) - copied
        click.echo(f"{bag}: {linked} files by hard link, {copied} copied")
    write_whole(out / f"{name}-job-record.json", text)
    write_whole(out / f"{name}-job-record.html", page)
    write_whole(out / f"{name}-job.sha256", manifest(files))
    for sentence in record_sentences(found):
        click.echo(sentence)
    click.echo(out / f"{name}-job-record.html")
    return LIMIT_BROKEN if watched.redo else DONE


def check_files(folder: Path, record: Path | None) -> int:
    """Say what became of the files; the exit status."""
    from scanqa.watch.job_manifest import compare

    if record is None:
        if not (folder / "bagit.txt").is_file():
            raise BadOption(f"{folder}: is no bag; name the job's record with --record")
        return _check_bag(folder)
    found = compare(folder, _hashes(record))
    _tell(found)
    return LIMIT_BROKEN if found.any else DONE


def _check_bag(folder: Path) -> int:
    from scanqa.archive.open_bag import faults_of

    faults = faults_of(folder)
    for fault in faults:
        click.echo(fault)
    if not faults:
        click.echo(f"{folder}: every file of the bag is as it was")
    return LIMIT_BROKEN if faults else DONE


def _hashes(record: Path) -> dict[str, str]:
    if record.suffix == ".json":
        from scanqa.codec import read_job_record

        return {file.file: file.sha256 for file in read_job_record(record).files}
    from scanqa.watch.job_manifest import hashes_in

    try:
        return hashes_in(record.read_text("utf-8"))
    except OSError as error:
        raise BadOption(f"{record}: cannot be read ({error.strerror})") from error
    except ValueError as error:
        raise BadOption(
            f"{record}: is neither a job's record nor lines of sha256sum ({error})"
        ) from error


def _tell(found: Differences) -> None:
    for word, names in (
        ("changed", found.changed),
        ("missing", found.missing),
        ("new, not in the record", found.new),
    ):
        for name in names:
            click.echo(f"{name}: {word}")
    click.echo(
        f"{len(found.same)} as recorded, {len(found.changed)} changed, {len(found.missing)} "
        f"missing, {len(found.new)} new"
    )


def _as_watched(folder: Path, scanner: str, state: Path | None) -> Watched:
    """What the watch knows of the folder, from its journal alone."""
    from scanqa.watch.events import watched
    from scanqa.watch.follow import from_journal
    from scanqa.watch.journal import open_journal

    with open_journal(folder, scanner, state) as journal:
        job, _ = from_journal(journal)
    if not job.facts:
        raise BadOption(
            f"{folder}: was never watched for {scanner}; run scanqa job watch {folder} "
            f"--scanner {scanner} first"
        )
    return watched(job, scanner, str(folder))


def _checks(scanner: str, records: str | None) -> list[JobCheck]:
    """Every check of the scanner on record; without records the job has none, which is said."""
    from scanqa.model.job_record import JobCheck
    from scanqa.records import store
    from scanqa.records.database import open_store

    made = []
    try:
        with open_store(records) as engine:
            for entry in store.entries(engine, scanner):
                record = store.read(engine, entry.id)
                if record is not None:
                    hashes = tuple(scan.sha256 for scan in record.scans)
                    outcome = record.outcome.judged
                    made.append(JobCheck(entry.taken, entry.created, outcome, hashes))
    except ScanqaError as error:
        click.echo(f"scanqa: {error}; recorded without checks", err=True)
    return made
