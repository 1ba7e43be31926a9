"""A job as a BagIt bag (RFC 8493), made elsewhere: pages by hard link, or copied where none can be.

The user's files are neither moved nor changed. The bag is filled under a passing name and gets its
own when it is whole and valid.
"""

from __future__ import annotations

import logging
import os
import shutil
from collections.abc import Callable, Mapping
from pathlib import Path

import bagit

from scanqa.archive.image_metadata import mix
from scanqa.archive.preservation import premis
from scanqa.errors import BadOption
from scanqa.model.job_record import JobRecord

PAGES, ENTRIES = "pages", "mix"
logging.getLogger("bagit").setLevel(logging.ERROR)  # the user sees our lines


def write_bag(
    record: JobRecord,
    folder: Path,
    bag: Path,
    *,
    documents: Mapping[str, bytes],
    told: Callable[[str], None] = lambda name: None,
) -> int:
    """Write the bag of a job; how many pages had to be copied, for they could not be linked.

    Parameters
    ----------
    record : JobRecord
        The job; its files are taken from `folder`.
    bag : Path
        New folder.
    documents : mapping
        Further files of the bag by name: the record as JSON and as a page.
    told : callable
        Told each page.

    Raises
    ------
    BadOption
        If the place is taken, lies inside the job's folder, cannot be written to, or a page is
        gone or changed meanwhile.
    """
    if bag.exists():
        raise BadOption(f"{bag}: is there already; name another place for the bag")
    if bag.resolve().is_relative_to(folder.resolve()):
        raise BadOption(f"{bag}: lies in the job's own folder; name a place outside it")
    passing = bag.with_name(f".{os.getpid()}.{bag.name}")
    try:
        passing.mkdir(parents=True)
        copied = _filled(passing, record, folder, documents, told)
        info = {
            "External-Identifier": f"{record.scanner}: {folder.name}",
            "Internal-Sender-Description": f"{len(record.files)} pages, "
            f"{len(record.watched.redo)} to be scanned again",
        }
        made = bagit.make_bag(str(passing), info, checksums=["sha256"], encoding="utf-8")
        _agree(made, record)
        made.validate()
        passing.replace(bag)
    except (OSError, bagit.BagError) as error:
        why = getattr(error, "strerror", None) or " ".join(str(error).split())
        raise BadOption(f"{bag}: the bag cannot be made ({why}); nothing was changed") from error
    finally:
        shutil.rmtree(passing, ignore_errors=True)
    return copied


def _filled(
    place: Path,
    record: JobRecord,
    folder: Path,
    documents: Mapping[str, bytes],
    told: Callable[[str], None],
) -> int:
    (place / PAGES).mkdir()
    (place / ENTRIES).mkdir()
    copied = 0
    for file in record.files:
        told(file.file)
        copied += _linked(folder / file.file, place / PAGES / file.file)
        if file.format:
            entry = mix(file, record, record_uri="../job-record.json")
            (place / ENTRIES / f"{file.file}.xml").write_bytes(entry)
    (place / "premis.xml").write_bytes(premis(record, page_path=f"data/{PAGES}"))
    for name, content in documents.items():
        (place / name).write_bytes(content)
    return copied


def _linked(source: Path, target: Path) -> bool:
    """Link a file, or copy it to another file system; whether it was copied."""
    try:
        os.link(source, target)
    except OSError:
        shutil.copy2(source, target)
        return True
    return False


def _agree(bag: bagit.Bag, record: JobRecord) -> None:
    """The bag's hashes are those of the record, or a page has changed while it was made."""
    entries = bag.payload_entries()
    for file in record.files:
        if entries[f"data/{PAGES}/{file.file}"]["sha256"] != file.sha256:
            raise BadOption(
                f"{file.file}: changed while the record was made; run the command again"
            )
