"""What a batch is to do: a CSV file with a line for each file, or folders of folders.

A manifest has the columns ``set``, ``scanner`` and ``file``; lines of one scanner and set belong
together. A file is a path (from the folder of the manifest unless it says the whole way), a folder
of scans, or an fsspec URL such as ``s3://BUCKET/NAME.tif``. ``kind`` is ``check`` unless it says
``job``: then the file is the folder of a job, which is watched. The other columns are options of
``scanqa qualify`` (`OPTIONS`), empty where nothing is to be said.

A folder holds a folder for each scanner, and that one a folder for each set. Its name is the set's;
if it begins with a date (``2026-11-25``), that is when the scans were made.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any, Literal, get_args
from urllib.parse import urlsplit

from scanqa.batch.fetch import is_url
from scanqa.catalogue import PAPERS, ROLES, Role, Side
from scanqa.errors import NAME_RULE, BadOption, can_be_a_name
from scanqa.model import Told

Kind = Literal["check", "job"]
COLUMNS = ("set", "scanner", "file", "kind")
OPTIONS = (
    "date", "role", "dpi", "book-edge", "curve", "bars", "ramp-height", "line-time", "dead-margin",
    "print", "paper", "card-paper", "light",
)  # fmt: skip
DATED = re.compile(r"\d{4}-\d{2}-\d{2}(?!\d)")
WIDEST_MARGIN_MM = 60.0


@dataclass(frozen=True, slots=True)
class Piece:
    """One set of scans, or one job, as the user lists it.

    Attributes
    ----------
    files : tuple of str
        Paths, folders and URLs.
    roles : dict from file to role
        What the user says that a file shows.
    told : Told
        What else is said of them; its `roles` are empty.
    where : str
        Where it is listed, for the line that says what is wrong.
    """

    name: str
    scanner: str
    files: tuple[str, ...]
    kind: Kind = "check"
    roles: Mapping[str, Role] = field(default_factory=dict)
    told: Told = field(default_factory=Told)
    where: str = ""


@dataclass(frozen=True, slots=True)
class Listed:
    """What can be done, and a line for each piece that cannot."""

    pieces: tuple[Piece, ...] = ()
    wrong: tuple[str, ...] = ()

    def __add__(self, other: Listed) -> Listed:
        return Listed(self.pieces + other.pieces, self.wrong + other.wrong)


def read_all(paths: Sequence[Path], usual: Mapping[str, Mapping[str, str]]) -> Listed:
    """Everything that manifests and folders list.

    Parameters
    ----------
    paths : sequence of Path
        CSV files and folders.
    usual : mapping from scanner to options
        What holds unless a manifest says otherwise; ``""`` for scanners that are not named.

    Raises
    ------
    BadOption
        If a manifest cannot be read at all.
    """
    found = Listed()
    for path in paths:
        found += _of_folder(path, usual) if path.is_dir() else _of_manifest(path, usual)
    kept: dict[tuple[str, str], Piece] = {}
    wrong = list(found.wrong)
    for piece in found.pieces:
        other = kept.setdefault((piece.scanner, piece.name), piece)
        if other is not piece:
            wrong.append(
                f"{piece.where}: set {piece.name} of {piece.scanner} is listed in {other.where} "
                "too; give one of them another name"
            )
    return Listed(tuple(kept.values()), tuple(wrong))


# -------------------------------------------------------------------------------- folders


def _of_folder(folder: Path, usual: Mapping[str, Mapping[str, str]]) -> Listed:
    found = Listed()
    sets = [
        inside
        for scanner in sorted(p for p in folder.iterdir() if p.is_dir())
        for inside in sorted(p for p in scanner.iterdir() if p.is_dir())
    ]
    if not sets:
        raise BadOption(
            f"{folder}: holds no sets; put a folder for each set in a folder for each scanner, "
            f"{folder.name}/heron/2026-11-25, or name a manifest"
        )
    for inside in sets:
        dated = DATED.match(inside.name)
        said = {"date": dated[0]} if dated else {}
        row = {"set": inside.name, "scanner": inside.parent.name, "file": str(inside), **said}
        found += _piece([row], str(inside), usual, Path())
    return found


# ------------------------------------------------------------------------------- manifest


def _of_manifest(path: Path, usual: Mapping[str, Mapping[str, str]]) -> Listed:
    rows = _rows(path)
    found = Listed()
    for lines in rows.values():
        found += _piece([row for _, row in lines], f"{path}:{lines[0][0]}", usual, path.parent)
    return found


def _rows(path: Path) -> dict[tuple[str, str], list[tuple[int, dict[str, str]]]]:
    """Lines by scanner and set, each with its number."""
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.DictReader(file, restkey="", strict=True)
            head = reader.fieldnames or []
            _check_head(path, head)
            sets: dict[tuple[str, str], list[tuple[int, dict[str, str]]]] = {}
            for row in reader:
                if "" in row:
                    raise BadOption(f"{path}:{reader.line_num}: more cells than the first line has")
                cells = {name: (words or "").strip() for name, words in row.items()}
                of = (cells["scanner"], cells["set"])
                sets.setdefault(of, []).append((reader.line_num, cells))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        why = error.strerror if isinstance(error, OSError) else error
        raise BadOption(f"{path}: cannot be read: {why}; name a CSV file or a folder") from error
    if not sets:
        raise BadOption(f"{path}: lists no set")
    return sets


def _check_head(path: Path, head: Iterable[str]) -> None:
    names = list(head)
    missing = [name for name in COLUMNS[:3] if name not in names]
    if missing:
        raise BadOption(
            f"{path}: the first line names no column {missing[0]}; it needs set, scanner and file"
        )
    for name in names:
        if name not in COLUMNS + OPTIONS:
            raise BadOption(
                f"{path}: no column is called {name!r}; there are {', '.join(COLUMNS + OPTIONS)}"
            )


def _piece(
    rows: Sequence[Mapping[str, str]],
    where: str,
    usual: Mapping[str, Mapping[str, str]],
    base: Path,
) -> Listed:
    """The set of some lines, or what is wrong with it."""
    try:
        return Listed((_read_piece(rows, where, usual, base),))
    except BadOption as error:
        return Listed((), (f"{where}: {error}",))


def _read_piece(
    rows: Sequence[Mapping[str, str]],
    where: str,
    usual: Mapping[str, Mapping[str, str]],
    base: Path,
) -> Piece:
    said = {name: _one_word(name, rows) for name in ("set", "scanner", "kind", *OPTIONS)
            if name != "role"}  # fmt: skip
    name, scanner, kind = said.pop("set"), said.pop("scanner"), said.pop("kind") or "check"
    if not can_be_a_name(name):
        raise BadOption(f"set {name!r} cannot be a name; {NAME_RULE}")
    if not can_be_a_name(scanner):
        raise BadOption(f"set {name}: scanner {scanner!r} cannot be a name")
    if kind not in get_args(Kind):
        raise BadOption(f"set {name}: kind {kind!r} is none; write check or job")
    files = [_file(row.get("file", ""), name, base) for row in rows]
    roles = {}
    for file, row in zip(files, rows, strict=True):
        if role := row.get("role", ""):
            roles[file] = _chosen("role", role, ROLES)
    options = {**usual.get(scanner, usual.get("", {})), **{n: w for n, w in said.items() if w}}
    try:
        told = told_of(options)
    except BadOption as error:
        raise BadOption(f"set {name}: {error}") from None
    if kind == "check" and any(map(is_url, files)) and "date" not in options:
        raise BadOption(
            f"set {name}: say its date; a file from a store does not say when it was scanned"
        )
    if kind == "job" and (len(files) > 1 or is_url(files[0])):
        raise BadOption(f"set {name}: a job is one folder, where the worker can read it")
    return Piece(name, scanner, tuple(dict.fromkeys(files)), kind, roles, told, where)  # type: ignore[arg-type]


def _one_word(name: str, rows: Sequence[Mapping[str, str]]) -> str:
    """What the lines of a set say of all of it: empty, or one thing."""
    words = sorted({row.get(name, "") for row in rows} - {""})
    if len(words) > 1:
        raise BadOption(
            f"set {rows[0].get('set')}: says {name} {words[0]} and {words[1]}; say it once"
        )
    return words[0] if words else ""


def _file(words: str, name: str, base: Path) -> str:
    if not words:
        raise BadOption(f"set {name}: a line names no file")
    if is_url(words):
        if "@" in urlsplit(words).netloc:
            raise BadOption(
                f"set {name}: a URL holds a user or password; keep it where the workers run, in "
                "their environment or the store's own settings"
            )
        return words
    return str((base / words).resolve())


# -------------------------------------------------------------------------------- options


def told_of(options: Mapping[str, str]) -> Told:
    """Options in words as what the user told.

    Raises
    ------
    BadOption
        If a value makes no sense.
    """
    words = {name: options[name] for name in ("light", "date") if options.get(name)}
    if "date" in words:
        try:
            datetime.fromisoformat(words["date"])
        except ValueError:
            raise BadOption(f"date {words['date']!r} is none; write 2026-11-25") from None
    told = Told(conditions=words)
    for name, text in options.items():
        if text and name in _READ:
            field_of_told, read = _READ[name]
            told = replace(told, **{field_of_told: read(name, text)})  # type: ignore[arg-type]
    return told


def _numbers(text: str, count: int, name: str, low: float, high: float) -> Iterator[float]:
    try:
        read = [float(word) for word in text.replace(",", " ").split()]
    except ValueError:
        read = []
    if len(read) != count or not all(low < number < high for number in read):
        raise BadOption(f"{name} {text!r}: write {count} number(s) from {low:g} to {high:g}")
    yield from read


def _chosen(name: str, text: str, among: Sequence[str]) -> Any:
    """A word that is one of those that an option takes."""
    if text not in among:
        raise BadOption(f"{name} {text!r} is none; choose of {', '.join(among)}")
    return text


def _dead_margins(name: str, text: str) -> dict[str, float]:
    words = text.split()
    if len(words) % 2:
        raise BadOption(f"{name} {text!r}: write SIDE MM, as left 3.5")
    return {
        _chosen(name, side, get_args(Side)): next(_numbers(mm, 1, name, -1e-9, WIDEST_MARGIN_MM))
        for side, mm in zip(words[::2], words[1::2], strict=True)
    }


def _number(name: str, text: str) -> float:
    low, high = (19.9, 20_001) if name == "dpi" else (0, 10_000)
    return next(_numbers(text, 1, name, low, high))


def _bars(name: str, text: str) -> tuple[float, ...]:
    return tuple(_numbers(text, 2, name, 0, 10_000))


def _side(name: str, text: str) -> Any:
    return _chosen(name, text, get_args(Side))


def _paper(name: str, text: str) -> Any:
    return _chosen(name, text, PAPERS)


def _words(name: str, text: str) -> str:
    return text


_READ: dict[str, tuple[str, Callable[[str, str], object]]] = {  # field of `Told`, and its value
    "dpi": ("dpi", _number),
    "book-edge": ("book_edge", _side),
    "curve": ("curve", _words),
    "bars": ("bars_mm", _bars),
    "ramp-height": ("ramp_height_mm", _number),
    "line-time": ("line_time_ms", _number),
    "dead-margin": ("dead_margins_mm", _dead_margins),
    "print": ("print_label", _words),
    "paper": ("paper", _paper),
    "card-paper": ("card_paper", _paper),
    "uses": ("uses", lambda name, text: Path(text)),
}
