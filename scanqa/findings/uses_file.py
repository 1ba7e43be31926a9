"""Uses as TOML: those of the package, and a user's own in the same form.

A file holds one ``[[use]]`` for each kind of work (``name``, ``sentence``) and, below it, one
``[[use.condition]]`` for each limit (``measure``, ``statistic``, ``operator``, ``fit``,
``limited``, ``words``, and ``required = true`` where there is no word without it). What is wrong
with it is told in one line: file, use, condition, and what to do.
"""

from __future__ import annotations

import difflib
import math
import tomllib
from collections.abc import Collection
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

from scanqa.catalogue import CATALOGUE
from scanqa.errors import BadOption
from scanqa.findings.statistic import OPERATORS, STATISTICS
from scanqa.findings.uses import Condition, Use

_KINDS: dict[type | tuple[type, ...], str] = {
    str: "words in quotes",
    bool: "true or false",
    (int, float): "a number",
    list: "a list",
}
_USE_KEYS: dict[str, Any] = {"name": str, "sentence": str, "condition": list}
_CONDITION_KEYS: dict[str, Any] = {
    "measure": str,
    "statistic": str,
    "operator": str,
    "fit": (int, float),
    "limited": (int, float),
    "words": str,
}
_OPTIONAL = {"required": bool}
MOST_BYTES = 1_000_000


@cache
def own_uses() -> tuple[Use, ...]:
    """The uses that the package brings."""
    text = (resources.files("scanqa.findings") / "uses.toml").read_text("utf-8")
    return _uses(tomllib.loads(text), "uses.toml")


def read_uses(path: Path) -> tuple[Use, ...]:
    """Uses of a user's file.

    Raises
    ------
    BadOption
        If the file cannot be read, is not TOML, or a use cannot be judged by what it says.
    """
    try:
        if path.stat().st_size > MOST_BYTES:
            raise BadOption(f"{path}: too large for a file of limits; name a TOML file of uses")
        text = path.read_text("utf-8")
        data = tomllib.loads(text)
    except OSError as error:
        raise BadOption(f"{path}: cannot be read ({error.strerror}); check the name") from error
    except UnicodeDecodeError as error:
        raise BadOption(f"{path}: is not text in UTF-8; save it as such") from error
    except tomllib.TOMLDecodeError as error:
        raise BadOption(
            f"{path}: is not TOML: {error}; see the example in scanqa/findings/README.md"
        ) from error
    return _uses(data, str(path))


def _uses(data: dict[str, Any], file: str) -> tuple[Use, ...]:
    strange = sorted(set(data) - {"use"})
    if strange:
        raise BadOption(f"{file}: {strange[0]!r} is not known; write [[use]] before each use")
    rows = data.get("use")
    if not isinstance(rows, list) or not rows or not all(isinstance(row, dict) for row in rows):
        raise BadOption(f"{file}: holds no use; write [[use]] before each use")
    uses = tuple(_use(row, f"{file}: use {at}") for at, row in enumerate(rows, 1))
    names = [use.name for use in uses]
    for at, name in enumerate(names, 1):
        if name in names[: at - 1]:
            raise BadOption(f"{file}: use {at}: the name {name!r} is taken; give it another")
    return uses


def _use(row: dict[str, Any], where: str) -> Use:
    if isinstance(row.get("name"), str):
        where += f" ({row['name']})"
    if "condition" not in row:
        raise BadOption(f"{where}: has no limit; write [[use.condition]] below it")
    _check(row, _USE_KEYS, {}, where)
    conditions = row["condition"]
    if not conditions or not all(isinstance(each, dict) for each in conditions):
        raise BadOption(f"{where}: has no limit; write [[use.condition]] below it")
    return Use(
        row["name"],
        row["sentence"].rstrip("."),
        tuple(
            _condition(each, f"{where}, condition {at}") for at, each in enumerate(conditions, 1)
        ),
    )


def _condition(row: dict[str, Any], where: str) -> Condition:
    _check(row, _CONDITION_KEYS, _OPTIONAL, where)
    _among(row["measure"], _measures(), f"{where}: measure")
    _among(row["statistic"], STATISTICS, f"{where}: statistic")
    _among(row["operator"], OPERATORS, f"{where}: operator")
    for key in ("fit", "limited"):
        if not math.isfinite(row[key]):
            raise BadOption(f"{where}: {key} = {row[key]}: give a finite number")
    rising = row["operator"] in (">=", ">")
    if row["fit"] != row["limited"] and (row["fit"] > row["limited"]) != rising:
        order = "not under" if rising else "not over"
        raise BadOption(
            f"{where}: fit = {row['fit']:g} is milder than limited = {row['limited']:g}; with "
            f"{row['operator']} fit must be {order} limited"
        )
    return Condition(
        row["measure"],
        row["statistic"],
        row["operator"],
        float(row["fit"]),
        float(row["limited"]),
        row["words"],
        row.get("required", False),
    )


@cache
def _measures() -> frozenset[str]:
    """Every measure, and every family whose members differ in the last part of the name only."""
    families = {name.rpartition("_")[0] for name in CATALOGUE}
    return frozenset(CATALOGUE) | {family for family in families if "." in family}


def _check(row: dict[str, Any], needed: dict[str, Any], more: dict[str, Any], where: str) -> None:
    """Every key that is needed, no other, each of its kind."""
    for key in row:
        if key not in needed | more:
            raise BadOption(f"{where}: {key!r} is not known{_meant(key, needed | more)}")
    for key in needed:
        if key not in row:
            raise BadOption(f"{where}: {key!r} is missing; add it")
    for key, value in row.items():
        kind = (needed | more)[key]
        if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
            raise BadOption(f"{where}: {key} = {value!r}: write {_KINDS[kind]}")
        if kind is str and not value.strip():
            raise BadOption(f"{where}: {key} is empty; write {_KINDS[kind]}")


def _among(word: str, known: Collection[str], where: str) -> None:
    if word not in known:
        raise BadOption(f"{where} {word!r} is not known{_meant(word, known)}")


def _meant(word: str, known: Collection[str]) -> str:
    near = difflib.get_close_matches(word, sorted(known), n=1, cutoff=0.7)
    if near:
        return f"; did you mean {near[0]!r}?"
    if len(known) <= 12:
        return f"; write one of {', '.join(known)}"
    return "; see the names in a JSON document (--json)"
