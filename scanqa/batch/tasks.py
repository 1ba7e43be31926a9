"""One piece of a batch, done whole in a worker: a check measured and put on record, a job watched.

A task holds names only and can be done again at any time, by several workers at once: the record's
unique key decides. A database that goes away is waited for, since what was measured is dear.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from scanqa.batch.fetch import StoreGone, at_hand, is_url
from scanqa.batch.manifest import Piece
from scanqa.errors import ScanqaError
from scanqa.model import Record, Rejected
from scanqa.records import scanners, store
from scanqa.records.database import Unreachable, patiently
from scanqa.records.settled import Beside, keep_undecided, on_record, settle
from scanqa.whole import hash_of, write_whole

How = Literal["new", "measured anew", "corrected", "known", "older", "watched", "failed", "gone"]


@dataclass(frozen=True, slots=True)
class Measure:
    """A piece to be measured.

    Attributes
    ----------
    records : str
        The database, without its password.
    again : bool
        Also measure what is on record by an older method.
    out : str
        Folder for what a job shows.
    """

    piece: Piece
    records: str
    again: bool = False
    out: str = "reports"


@dataclass(frozen=True, slots=True)
class LookBack:
    """New checks of a scanner to be decided, by what was known when each was made.

    Attributes
    ----------
    mine : frozenset of int
        Numbers of the records.
    needed : tuple of str
        Uses that count; all unless given.
    uses : Path or None
        The user's own kinds of work.
    """

    scanner: str
    mine: frozenset[int]
    records: str
    needed: tuple[str, ...] = ()
    uses: Path | None = None


Task = Measure | LookBack


@dataclass(frozen=True, slots=True)
class Done:
    """What became of a task.

    Attributes
    ----------
    how : str
        As `scanqa.records.store.Kept` has it; ``known``: on record, not measured; ``older``: the
        same by an older method; ``watched``: a job; ``failed``; ``gone``: database or store do not
        answer, and nothing is wrong with the piece.
    record_id : int or None
        Its record.
    why : tuple of str
        Lines on what could not be used; a check may be on record without some of its files.
    """

    how: How
    record_id: int | None = None
    why: tuple[str, ...] = ()


def perform(task: Task) -> Done:
    """Do a task; what the user's input can cause is told, anything else is raised."""
    try:
        if isinstance(task, LookBack):
            return _look_back(task)
        return _watch(task) if task.piece.kind == "job" else _check(task)
    except (Unreachable, StoreGone) as error:
        return Done("gone", None, (str(error),))
    except ScanqaError as error:
        return Done("failed", None, (str(error),))


# ---------------------------------------------------------------------------------- checks


def _check(task: Measure) -> Done:
    """Measure the scans of a set, unless that was done."""
    from scanqa.placing import find_scans
    from scanqa.qualification import options_said, qualify

    piece = task.piece
    with at_hand(piece.files) as here:
        roles = {here[name]: role for name, role in piece.roles.items()}
        told = replace(piece.told, roles=roles)
        paths = list(here.values())
        hashes = _hashes(find_scans(paths)[0])
        known = patiently(task.records, lambda engine: on_record(engine, piece.scanner, hashes))
        if known and known.options == options_said(told) and not (task.again and known.older):
            return Done("older" if known.older else "known", known.id)
        found = qualify(paths, scanner=piece.scanner, told=told, processes=1)
        record = _in_names(found.record, here)
    if not record.scans:
        return Done("failed", None, tuple(each.why for each in record.rejected))
    kept = patiently(task.records, lambda engine: keep_undecided(engine, record))
    return Done(kept.how, kept.id, tuple(each.why for each in record.rejected))


def _hashes(files: list[Path]) -> list[str]:
    """Hashes of files; none if one cannot be read, so that it is measured and told."""
    hashes: list[str] = []
    with suppress(OSError):
        hashes = list(map(hash_of, files))
    return hashes


def _in_names(record: Record, here: dict[str, Path]) -> Record:
    """A record that speaks of files by the user's names, not by where they were fetched to."""

    def named(words: str) -> str:
        for name, path in here.items():
            if is_url(name):
                words = words.replace(str(path), name)
        return words

    rejected = tuple(Rejected(named(each.file), named(each.why)) for each in record.rejected)
    return replace(record, rejected=rejected)


# ------------------------------------------------------------------------------- looking back


def _look_back(task: LookBack) -> Done:
    """Decide the new checks of a scanner."""
    from scanqa.qualification import told_from
    from scanqa.standing import decided

    def judged(record: Record, beside: Beside) -> Record:
        return decided(
            told_from(record, beside.earlier, task.uses),
            identity=scanners.joint(beside.identity, record.identity),
            before=beside.before,
            noted=beside.noted,
            needed=task.needed,
        )

    patiently(task.records, lambda engine: settle(engine, task.scanner, task.mine, judged))
    return Done("known")


# ------------------------------------------------------------------------------------- jobs


def _watch(task: Measure) -> Done:
    """Watch the pages of a job that are there, and write what is found; goes on where it was."""
    from scanqa.codec import to_document
    from scanqa.report.job_page import write_job_page
    from scanqa.watch.events import known_before, watched
    from scanqa.watch.fault_pictures import pictures_of
    from scanqa.watch.follow import watch
    from scanqa.watch.journal import open_journal
    from scanqa.words.of_watch import summary_sentence

    piece, folder = task.piece, Path(task.piece.files[0])
    newest = patiently(task.records, lambda engine: store.newest(engine, piece.scanner))
    with open_journal(folder, piece.scanner) as journal:
        last = watch(
            folder, journal, tell=lambda progress: True, follow=False, curve=piece.told.curve
        )
    before = known_before(newest)
    found = watched(last.job, piece.scanner, str(folder), unread=last.unread, before=before)
    out = Path(task.out)
    stem = f"{piece.name.replace(' ', '-')}-job"
    write_whole(out / f"{stem}.json", to_document(found))
    write_job_page(found, pictures_of(found, folder), out / f"{stem}.html")
    return Done("watched", None, (summary_sentence(found),) if found.redo else ())
