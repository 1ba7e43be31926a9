"""All traps, by area: the lists ``CASES`` of the modules ``cases_*.py`` of this folder."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path

from tests.traps.case import Case


def areas() -> dict[str, tuple[Case, ...]]:
    """Cases of each module, under the end of its name."""
    files = sorted(Path(__file__).parent.glob("cases_*.py"))
    return {
        file.stem.removeprefix("cases_"): tuple(import_module(f"tests.traps.{file.stem}").CASES)
        for file in files
    }
