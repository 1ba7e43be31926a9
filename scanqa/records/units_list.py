"""Many units from a table (RFC 4180 CSV): read, checked against each other and what is noted.

A list is taken whole or not at all: each bad line is named, so that it can be mended and the same
list imported again; units noted before in the same words change nothing.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date

import sqlalchemy as sa
from sqlalchemy.engine import Engine

from scanqa.errors import NAME_RULE, BadOption, can_be_a_name
from scanqa.model import Identity
from scanqa.records.scanners import DATES, FIELDS, all_known, filled_by, may_be_one
from scanqa.records.schema import scanner as table

NAME = "scanner"
NAMES = (NAME, "name")  # of the column that holds it: as records and `scanners add` call it
LONGEST_LINE = 20_000  # characters
SEPARATORS = ",;\t"  # of tables as programs in several languages write them


@dataclass(frozen=True, slots=True)
class Listed:
    """A line of a list."""

    line: int
    unit: Identity


@dataclass(frozen=True, slots=True)
class Taken:
    """What became of a list: names that are new, those known already, a sentence for a bad line.

    Nothing was taken if a line is bad.
    """

    added: tuple[str, ...] = ()
    known: tuple[str, ...] = ()
    bad: tuple[str, ...] = ()


def read_list(content: bytes, file: str) -> tuple[list[Listed], tuple[str, ...]]:
    """The units of a table, and its columns that no unit has.

    Parameters
    ----------
    content : bytes
        UTF-8, the first line the names of the columns: ``scanner`` (or ``name``) and fields of
        `Identity`; separated by comma, semicolon or tab.
    file : str
        As the user named it.

    Raises
    ------
    BadOption
        If it is no such table.
    """
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise BadOption(f"{file}: not UTF-8 text; save the table as CSV in UTF-8") from error
    # Not left to the csv module, whose own limit other libraries change for all.
    if max(map(len, text.splitlines()), default=0) > LONGEST_LINE:
        why = f"a line of more than {LONGEST_LINE} characters"
        raise BadOption(f"{file}: not CSV ({why}); save the table anew")
    head = text.partition("\n")[0]
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=max(SEPARATORS, key=head.count))
    try:
        columns = [_plain(words) for words in next(rows, [])]
        names = [NAME if words in NAMES else words for words in columns]
        if NAME not in names:
            raise BadOption(
                f"{file}: no column {NAME!r}; the first line names the columns: {', '.join(FIELDS)}"
            )
        twice = sorted({words for words in names if words and names.count(words) > 1})
        if twice:
            raise BadOption(f"{file}: column {twice[0]!r} stands twice; leave one")
        listed = [
            Listed(rows.line_num, _unit(row, names)) for row in rows if any(map(str.strip, row))
        ]
    except csv.Error as error:
        raise BadOption(
            f"{file}, line {rows.line_num}: not CSV ({error}); save the table anew"
        ) from error
    unknown = tuple(w for w, name in zip(columns, names, strict=True) if name not in FIELDS and w)
    return listed, unknown


def _unit(row: Sequence[str], names: Sequence[str]) -> Identity:
    """The unit of a row; without a name if the row is too long: a comma too many shifts cells."""
    given = {name: w.strip() for name, w in zip(names, row, strict=False) if name in FIELDS}
    if any(word.strip() for word in row[len(names) :]):
        given[NAME] = ""
    return Identity(**{NAME: "", **given})


def _plain(words: str) -> str:
    return re.sub(r"[\s-]+", "_", words.strip().casefold())


def faults(listed: Sequence[Listed], known: Iterable[Identity]) -> list[str]:
    """What keeps a list from being taken, a line for each bad line of it.

    Parameters
    ----------
    known : iterable of Identity
        Units noted before.
    """
    noted = {each.scanner: each for each in known}
    seen: dict[str, str] = {}
    serials: dict[str, list[tuple[Identity, str]]] = {}
    for before in noted.values():
        serials.setdefault(before.serial.casefold(), []).append((before, "noted"))
    found = []
    for each in listed:
        unit = each.unit
        where = f"line {each.line}"
        reasons = [*_own_faults(unit), *_against_noted(unit, noted)]
        if unit.scanner and unit.scanner.casefold() in seen:
            reasons.append(f"{unit.scanner} stands in {seen[unit.scanner.casefold()]} too")
        seen.setdefault(unit.scanner.casefold(), where)
        alike = serials.setdefault(unit.serial.casefold(), []) if unit.serial else []
        owner = next((f"{one.scanner}, {at}" for one, at in alike if may_be_one(one, unit)), "")
        if owner:
            reasons.append(f"serial {unit.serial} is that of {owner}; one unit goes by one name")
        alike.append((unit, where))
        found += [f"{where}: {'; '.join(reasons)}"] if reasons else []
    return found


def of_one_serial(units: Iterable[Identity]) -> list[tuple[str, ...]]:
    """Names that may stand for one unit, by serial number: one unit, or a slip of the pen."""
    by_serial: dict[str, list[Identity]] = {}
    for each in units:
        if each.serial:
            by_serial.setdefault(each.serial.casefold(), []).append(each)
    found = (
        tuple(each.scanner for each in alike if any(may_be_one(each, one) for one in alike))
        for alike in by_serial.values()
    )
    return [names for names in found if names]


def _own_faults(unit: Identity) -> Iterator[str]:
    """What is wrong with a line in itself."""
    if not unit.scanner:
        yield "no scanner named, or more cells than columns"
    elif not can_be_a_name(unit.scanner) or unit.scanner.lower() == "index":
        yield f"{unit.scanner!r} cannot be a file name; {NAME_RULE}"
    for field, words in asdict(unit).items():
        most = getattr(table.c[field].type, "length", None) or 100
        if len(words) > most and field not in DATES:
            yield f"{field.replace('_', ' ')} is longer than {most} letters"
        elif not words.isprintable():
            yield f"{field.replace('_', ' ')} holds a control character"
        elif field in DATES and words and not _is_date(words):
            yield f"{field.replace('_', ' ')} {words!r} is not a date; write 2026-11-25"


def _is_date(words: str) -> bool:
    try:
        date.fromisoformat(words)
    except ValueError:
        return False
    return len(words) == len("2026-11-25")


def _against_noted(unit: Identity, noted: Mapping[str, Identity]) -> Iterator[str]:
    """What a list says otherwise than what is noted: it is never overwritten by a list."""
    before = noted.get(unit.scanner)
    for field, words in asdict(unit).items() if before else ():
        was = getattr(before, field)
        if words and was and words != was:
            yield (
                f"{unit.scanner} is noted with {field.replace('_', ' ')} {was}; change that with "
                f"scanqa scanners change {unit.scanner} --{field.replace('_', '-')}"
            )


def take(engine: Engine, listed: Sequence[Listed]) -> Taken:
    """Note all units of a list in one transaction, or none; blanks of what is noted are filled."""
    known = {each.scanner: each for each in all_known(engine)}
    bad = faults(listed, known.values())
    if bad:
        return Taken(bad=tuple(bad))
    added, same = [], []
    with engine.begin() as connection:
        for unit in (each.unit for each in listed):
            before = known.get(unit.scanner)
            if before is None:
                connection.execute(sa.insert(table).values(**asdict(unit)))
                added.append(unit.scanner)
                continue
            same.append(unit.scanner)
            filled = filled_by(before, unit)
            if filled != before:
                mine = table.c.scanner == unit.scanner
                connection.execute(sa.update(table).where(mine).values(**asdict(filled)))
    return Taken(tuple(added), tuple(same))
