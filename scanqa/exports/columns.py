"""The tables that leave scanqa, and what their columns hold."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal["integer", "number", "string", "datetime", "date"]


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its name, what it holds, whether every row has it, and words on it."""

    name: str
    kind: Kind
    always: bool
    words: str


@dataclass(frozen=True, slots=True)
class Out:
    """A table; `of` are columns that name a row of another table: (column, table, its column)."""

    name: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]
    of: tuple[tuple[str, str, str], ...] = ()


def _text(name: str, words: str, *, always: bool = False) -> Column:
    return Column(name, "string", always, words)


VALUES = Out(
    "values",
    (
        Column("record", "integer", True, "Number of the record."),
        _text("scanner", "Name of the scanner.", always=True),
        Column("taken", "datetime", True, "When the scans were made, UTC."),
        _text("name", "The measure; scanqa explain NAME says what it is.", always=True),
        _text("direction", "Direction that it is measured in: across or travel."),
        _text("channel", "Colour channel."),
        _text("edge_kind", "Kind of edge that it is measured on."),
        Column("dpi", "integer", True, "Sampling of the scans where it matters, else 0."),
        Column("value", "number", True, "Median over the places of the check."),
        Column("random", "number", False, "Its own part of the standard uncertainty."),
        _text("status", "ok, at-least, at-most, or between low and high.", always=True),
        Column("low", "number", False, "Lower end, for status between."),
        Column("high", "number", False, "Upper end, for status between."),
        _text("unit", "Unit of value, random, low and high; empty for a ratio."),
        Column("count", "integer", True, "Places or scans that it is the median of."),
        Column("method_version", "integer", True, "Version of the measure's method."),
    ),
    ("record", "name", "direction", "channel", "edge_kind", "dpi"),
    (("record", "checks", "record"),),
)
CHECKS = Out(
    "checks",
    (
        Column("record", "integer", True, "Number of the record."),
        _text("scanner", "Name of the scanner.", always=True),
        Column("taken", "datetime", True, "When the scans were made, UTC."),
        Column("created", "datetime", True, "When they were measured, UTC."),
        _text("tool_version", "scanqa that measured them.", always=True),
        _text("decision", "What to do with the unit, by its id."),
    ),
    ("record",),
)
SCANNERS = Out(
    "scanners",
    (
        _text("scanner", "The name that its checks go by.", always=True),
        *(
            _text(name, words)
            for name, words in (
                ("make", "Who made it."), ("model", "Its model."), ("serial", "Serial number."),
                ("asset", "The owner's own number for it."), ("site", "Where it stands."),
                ("sensor", "Kind of sensor."), ("lamp", "Kind of lamp."),
                ("driver", "Driver and its version."), ("seller", "From whom it is."),
            )
        ),
        Column("acquired", "date", False, "When it came."),
        Column("return_until", "date", False, "Last day to return it."),
        Column("retired", "date", False, "When it was taken out of use."),
    ),
    ("scanner",),
)  # fmt: skip
