"""A trap: scans that invite a wrong word, what must not be said of them and what must be."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from scanqa.model import Told


@dataclass(frozen=True)
class Case:
    """Scans and the words (ids) that must and must not be said of them."""

    name: str
    make: Callable[[Path], Sequence[Path]]
    must_not: tuple[str, ...]
    must: tuple[str, ...]
    told: Told = Told()  # noqa: RUF009 (frozen)
    fast: bool = False
    source: str = ""
