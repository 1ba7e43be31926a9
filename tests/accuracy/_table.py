"""One module's table, in a room that the processes of the pool can import."""

from __future__ import annotations

import importlib
import time
from collections.abc import Iterator

from tests.accuracy import Row

HEAD = (
    "| what | bound | measured | holds | scans made by | seed |",
    "| --- | --- | --- | --- | --- | --- |",
)


def table(name: str) -> Iterator[str]:
    """Lines of one module, under its mark."""
    yield from (f"<!-- accuracy: {name} -->", "", *HEAD)
    for row in importlib.import_module(f"tests.accuracy.{name}").rows():
        yield line(row)
    yield ""


def made_and_timed(name: str) -> tuple[list[str], float]:
    """Lines of one module, and the seconds that they took."""
    started = time.monotonic()
    return list(table(name)), time.monotonic() - started


def line(row: Row) -> str:
    seed = "–" if row.seed is None else str(row.seed)
    holds = "yes" if row.passed else "**no**"
    return f"| {row.what} | {row.bound} | {row.measured} | {holds} | {row.path} | {seed} |"
