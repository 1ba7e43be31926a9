"""What was scanned so far, in a file beside the scans: written whole after each scan.

``session.json`` holds for each scan its step, file, hash, seconds, device, every option of the
device, what the driver said and what the check found. A session goes on where it stopped; a scan
whose file was changed or removed since is to be made again.
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

from scanqa.capture.one_scan import Taken
from scanqa.errors import BadOption
from scanqa.whole import hash_of

FILE = "session.json"
SCHEMA = "scanqa.session/1"
MOVE_IT = "move it away to begin anew, or choose another --folder"


@dataclass(frozen=True, slots=True)
class Entry:
    """One scan of a session.

    Attributes
    ----------
    step : str
        Of the plan.
    file : str
        Name inside the folder.
    seconds : float or None
        Time that the scan took, None if it was not made here.
    options : mapping
        Every option of the device and its value.
    said : tuple of str
        What the driver said.
    facts : mapping
        What the check found: role, rotation, skew, clipping.
    kept_despite : str
        Why the check would have had it scanned again, if the user kept it.
    """

    step: str
    file: str
    sha256: str
    started: str
    seconds: float | None
    device: str
    mode: str
    width_px: int
    height_px: int
    channels: int
    bits: int
    true_bits: int | None
    dpi: tuple[float, float] | None
    options: Mapping[str, str] = field(default_factory=dict)
    said: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    facts: Mapping[str, Any] = field(default_factory=dict)
    kept_despite: str = ""


@dataclass(frozen=True, slots=True)
class Session:
    """Scans of one scanner, by step.

    Attributes
    ----------
    accepted : tuple of str
        Kinds of fault that the user has accepted; they are not asked about again.
    """

    scanner: str
    entries: tuple[Entry, ...] = ()
    accepted: tuple[str, ...] = ()

    def entry(self, step: str) -> Entry | None:
        """The scan of a step, if there is one."""
        return next((entry for entry in self.entries if entry.step == step), None)

    def with_entry(self, entry: Entry) -> Session:
        """With a scan added, or put in the place of the one before."""
        others = tuple(e for e in self.entries if e.step != entry.step)
        return replace(self, entries=(*others, entry))

    def without(self, step: str) -> Session:
        """With the scan of a step taken out."""
        return replace(self, entries=tuple(e for e in self.entries if e.step != step))


def entry_of(
    step: str, taken: Taken, *, facts: Mapping[str, Any], notes: tuple[str, ...], kept: str = ""
) -> Entry:
    """What a session keeps of a scan."""
    scan, settings = taken.scan, taken.settings
    return Entry(
        step=step,
        file=taken.path.name,
        sha256=scan.sha256,
        started=taken.started,
        seconds=taken.seconds,
        device=settings.device if settings else "",
        mode=settings.mode if settings else "",
        width_px=scan.width_px,
        height_px=scan.height_px,
        channels=scan.channels,
        bits=scan.bits,
        true_bits=taken.true_bits,
        dpi=scan.dpi,
        options=dict((settings.all_options or settings.values) if settings else {}),
        said=taken.said,
        notes=(*taken.notes, *notes),
        facts=dict(facts),
        kept_despite=kept,
    )


def save(folder: Path, session: Session) -> None:
    """Write a session; a reader, or a crash, finds the old file or the new one, never a part.

    Raises
    ------
    BadOption
        If the folder cannot be written to.
    """
    text = json.dumps(
        {"schema": SCHEMA, **asdict(session)}, indent=1, ensure_ascii=False, allow_nan=False
    )
    passing = folder / f".{FILE}.part"
    try:
        with passing.open("w", encoding="utf-8") as file:
            file.write(text + "\n")
            file.flush()
            os.fsync(file.fileno())
        passing.replace(folder / FILE)
    except OSError as error:
        passing.unlink(missing_ok=True)
        raise BadOption(
            f"{folder / FILE}: cannot be written ({error.strerror}); the scans made so far are kept"
        ) from error


def load(folder: Path, scanner: str) -> Session:
    """The session of a folder, or a new one.

    Raises
    ------
    BadOption
        If the file is damaged, names files elsewhere, or is of another scanner.
    """
    path = folder / FILE
    try:
        text = path.read_text("utf-8")
    except FileNotFoundError:
        return Session(scanner)
    except (OSError, UnicodeDecodeError) as error:
        raise BadOption(f"{path}: cannot be read; {MOVE_IT}") from error
    try:
        data = json.loads(text)
        if data.pop("schema") != SCHEMA:
            raise BadOption(f"{path}: of another version of scanqa; {MOVE_IT}")
        entries = tuple(_entry(entry) for entry in data.pop("entries"))
        session = Session(
            scanner=str(data["scanner"]),
            entries=entries,
            accepted=tuple(map(str, data["accepted"])),
        )
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise BadOption(f"{path}: is damaged; {MOVE_IT}") from error
    if session.scanner != scanner:
        raise BadOption(f"{path}: holds scans of {session.scanner}, not {scanner}; {MOVE_IT}")
    return session


def _entry(data: dict[str, Any]) -> Entry:
    name = data["file"]
    if not re.fullmatch(r"[^/\0]+", name) or name in (".", ".."):
        raise ValueError(name)
    dpi = data["dpi"]
    return Entry(
        **{
            **data,
            "dpi": None if dpi is None else (float(dpi[0]), float(dpi[1])),
            "said": tuple(map(str, data["said"])),
            "notes": tuple(map(str, data["notes"])),
            "options": dict(data["options"]),
            "facts": dict(data["facts"]),
        }
    )


def changed(folder: Path, session: Session) -> dict[str, str]:
    """Steps whose files are no longer what was scanned, and what became of them, in words."""
    gone = {}
    for entry in session.entries:
        path = folder / entry.file
        try:
            same = hash_of(path) == entry.sha256
        except OSError:
            gone[entry.step] = f"{entry.file} is gone"
            continue
        if not same:
            gone[entry.step] = f"{entry.file} was changed since"
    return gone
