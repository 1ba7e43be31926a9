"""One row for each measure: everything that is known of it, in one place.

A TOML file of ``families/`` for each family holds its title, what it needs and its measures. Code,
report, JSON, records, comparison and the table for readers (``README.md`` here, made by ``python -m
scanqa.catalogue.table``) read these rows. A row stands for several measures where it has ``each``:
its name, label and sentence then hold the key in braces. A measure that is not here cannot be
reported (`scanqa.model.Measurement` checks the name when it is built).
"""

from __future__ import annotations

import itertools
import math
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any, Literal, get_args

from scanqa.catalogue.sizes import FORMATS_MM

Role = Literal[
    "blank", "dark", "bed-sheet", "edge-strip", "gutter-ramp", "open-book", "back-print", "claim",
    "edge-card", "page", "picture", "white-strip", "uncalibrated",
]  # fmt: skip
PaperKind = Literal["office", "coated", "photo"]
Side = Literal["left", "right", "top", "bottom"]
Better = Literal["higher", "lower", "target", "neither"]
Per = Literal["pixel", "dpi", "bed"]
Owner = Literal["scanner", "paper", "print", "laying"]
OnCurve = Literal[
    "", "contrast", "square", "decibel", "share", "lightness", "sfr50", "sfr10", "dark"
]
OnOnePrint = Literal["", "least", "ratio"]

ROLES: tuple[Role, ...] = get_args(Role)
SIDES: tuple[Side, ...] = get_args(Side)
PAPERS: tuple[PaperKind, ...] = get_args(PaperKind)


@dataclass(frozen=True, slots=True)
class Matters:
    """The difference from which on a measure matters to the work: our limits.

    `size` is in the measure's unit, `share` relative to the larger value; one of them is given
    (common practice, no source).
    """

    size: float | None = None
    share: float | None = None

    def between(self, first: float, second: float) -> float:
        """That difference, in the measure's unit, for two values."""
        if self.share is not None:
            return self.share * max(abs(first), abs(second))
        return self.size or 0.0


@dataclass(frozen=True, slots=True)
class Definition:
    """What a measure is.

    Attributes
    ----------
    name : str
        Dotted name; the part before the first dot is the family and the room in
        `scanqa.measures`.
    label, sentence : str
        Its name for readers; what it is, for someone who does not know the term.
    unit : str
        Unit of the value and of its uncertainty; an empty string for a ratio.
    better : str
        Whether a higher or a lower value is better, or one near a target, or neither.
    digits : int
        Decimals printed in the report.
    version : int
        Raised when the method changes so that old values no longer compare.
    matters : Matters
        The difference from which on it matters to the work.
    per : str
        ``pixel``: in or of pixels, does not compare across dpi; ``dpi``: depends on the dpi, but
        compares; ``bed``: does not depend on it.
    of : str
        Whose value it is.
    compared, watched : bool
        Whether two scanners are compared by it, and a history watches it.
    by_size : bool
        Whether its sign only tells a way, and its size is what counts.
    spoiled_by : tuple of str
        Traces of processing that falsify it.
    on_one_print : str
        Whether two scanners compare by it on one named print only: their difference is then at
        ``least`` what is found, or, of a ``ratio``, free of the print; empty where no print is in
        it.
    within : (float, float)
        What it can be by its nature: the share that is left of something lies between none and all.
    second_look : str
        The row of ``second_looks.toml`` that confirms it as the scanner's.
    pattern : str
        The name as its row has it: ``edges.shadow_{side}``.
    curve : str
        How it depends on the tone curve: as a small ``contrast`` or its ``square``, in ``decibel``,
        as a ``share`` of light in %, as a ``lightness``; empty where it does not, or where its
        measure sees to it.
    at : dict
        What stands in place of each key of the pattern.
    """

    name: str
    label: str
    sentence: str
    unit: str
    better: Better
    digits: int
    version: int
    matters: Matters
    per: Per
    of: Owner
    compared: bool
    watched: bool
    by_size: bool
    spoiled_by: tuple[str, ...]
    second_look: str
    pattern: str
    at: dict[str, Any]
    curve: OnCurve = ""
    on_one_print: OnOnePrint = ""
    within: tuple[float, float] = (-math.inf, math.inf)

    @property
    def family(self) -> str:
        """The part of the name before the first dot."""
        return self.name.partition(".")[0]


@dataclass(frozen=True, slots=True)
class Family:
    """Measures of one physical quantity.

    Attributes
    ----------
    name : str
        The room in `scanqa.measures` that measures them.
    title, text, needs : str
        Heading; what is measured and how to read it; what must lie on the glass.
    roles : tuple of Role
        The scans that its `measure` is given.
    without_dpi : bool
        Whether it is given scans whose dpi nobody knows, too.
    """

    name: str
    title: str
    text: str
    needs: str
    roles: tuple[Role, ...]
    measures: tuple[Definition, ...]
    without_dpi: bool = False


@cache
def _read(name: str) -> dict[str, Any]:
    return tomllib.loads((resources.files("scanqa.catalogue") / name).read_text("utf-8"))


def _families() -> Iterator[Family]:
    """Every family, in reading order."""
    folder = resources.files("scanqa.catalogue") / "families"
    names = [f.name.removesuffix(".toml") for f in folder.iterdir()]
    found = [(name, _read(f"families/{name}.toml")) for name in names]
    for name, data in sorted(found, key=lambda item: item[1]["order"]):
        roles: tuple[Role, ...] = ROLES if data["roles"] == ["every"] else tuple(data["roles"])
        rows = tuple(row for given in data["measure"] for row in _rows(name, given))
        any_dpi = data.get("without_dpi", False)
        yield Family(name, data["title"], data["text"], data["needs"], roles, rows, any_dpi)


def _rows(family: str, given: dict[str, Any]) -> Iterator[Definition]:
    """The measures of a row: one, or one for each combination of its ``each``."""
    each = given.get("each", {})
    for values in itertools.product(*each.values()):
        named = dict(zip(each, values, strict=True))
        words = {key: FORMATS_MM[v][0] if key == "format" else v for key, v in named.items()}
        row = {key: value for key, value in given.items() if key != "each"}
        row |= {"pattern": f"{family}.{row['name']}", "at": named}
        row["name"] = f"{family}.{row['name'].format(**named)}"
        row["label"] = row["label"].format(**words)
        row["sentence"] = row["sentence"].format(**words)
        row["matters"] = Matters(**row["matters"])
        row["spoiled_by"] = tuple(row["spoiled_by"])
        row["within"] = tuple(row.get("within", (-math.inf, math.inf)))
        yield Definition(**row)


def each(family: str, name: str, key: str) -> tuple[Any, ...]:
    """Values that a row of a family stands for: ``each("gutter", "reach_{delta}", "delta")``."""
    row = next(row for row in _read(f"families/{family}.toml")["measure"] if row["name"] == name)
    return tuple(row["each"][key])


def rows_of(name: str) -> tuple[Definition, ...]:
    """The row of a measure, or those that a family such as ``edges.dead_margin`` stands for.

    ``gutter.focus_at_5mm`` is a measure, and does not stand for ``gutter.focus_at_5mm_height``.
    """
    if name in CATALOGUE:
        return (CATALOGUE[name],)
    return tuple(row for key, row in CATALOGUE.items() if key.startswith(name + "_"))


FAMILIES: dict[str, Family] = {family.name: family for family in _families()}
CATALOGUE: dict[str, Definition] = {
    row.name: row for family in FAMILIES.values() for row in family.measures
}
SECOND_LOOKS: dict[str, str] = {
    name: row["scan"] for name, row in _read("second_looks.toml").items()
}
# Causes that a second look rules out where it shows the same, and is where it does not.
EXCLUDED_BY: dict[str, tuple[str, ...]] = {
    name: tuple(row.get("excludes", ())) for name, row in _read("second_looks.toml").items()
}
# Signs that need another second look than the measure they rest on.
LOOK_OF_SIGN: dict[str, str] = {
    sign: name for name, row in _read("second_looks.toml").items() for sign in row.get("signs", ())
}
# Scans that lift a bound, by the kind of its reason, whatever the measure.
LOOK_OF_REASON: dict[str, str] = {
    reason: name
    for name, row in _read("second_looks.toml").items()
    for reason in row.get("reasons", ())
}
# Second looks that tell a fault, but make no value more certain.
SETTLING_NOTHING: frozenset[str] = frozenset(
    name for name, row in _read("second_looks.toml").items() if not row.get("settles", True)
)
FALLOFF_DISTANCES_MM: tuple[int, ...] = each("shading", "falloff_{side}_{distance}mm", "distance")
GUTTER_DISTANCES_MM: tuple[int, ...] = each("gutter", "delta_L_at_{distance}mm", "distance")
GUTTER_LIFT_MM: tuple[int, ...] = each("gutter", "lift_at_{distance}mm", "distance")
GUTTER_REACH_DELTA_L: tuple[int, ...] = each("gutter", "reach_{delta}", "delta")
RAMP_HEIGHTS_MM: tuple[int, ...] = each("gutter", "light_at_{height}mm_height", "height")
