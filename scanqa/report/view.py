"""What the page shows, as frozen data: strings, and pictures that only need drawing.

The template does no arithmetic and the figures choose no data; both read these.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

from scanqa.model import Curve, Fitness, Pixels, Point, Side, Verdict

Box: TypeAlias = tuple[float, float, float, float]  # left, top, right, bottom


@dataclass(frozen=True, slots=True)
class Cell:
    """A table cell: its text, and smaller lines below it. `link` is an id on the page."""

    text: str
    small: tuple[str, ...] = ()
    link: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """A table whose first column heads its rows.

    Attributes
    ----------
    folded : bool
        Whether it is shown only when opened.
    notes : tuple of str
        Lines printed below it.
    """

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    notes: tuple[str, ...] = ()
    folded: bool = False


# -------------------------------------------------------------------------------- pictures


@dataclass(frozen=True, slots=True)
class Pointer:
    """A position along the x axis: `mark` is drawn there, `words` say what it is."""

    at: float
    mark: str
    words: str


@dataclass(frozen=True, slots=True, eq=False)
class Lines:
    """Curves over one axis.

    `levels` are heights worth a thin line; `wide` ones need the room; `scattered` ones are values
    at places with nothing known between them.
    """

    title: str
    caption: str
    alt: str
    x_label: str
    y_label: str
    curves: tuple[Curve, ...]
    pointers: tuple[Pointer, ...] = ()
    levels: tuple[tuple[float, str], ...] = ()
    wide: bool = False
    scattered: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Map:
    """Values over a part of the bed, drawn to scale."""

    title: str
    caption: str
    alt: str
    image: Pixels
    extent_mm: Box
    unit: str


@dataclass(frozen=True, slots=True, eq=False)
class Crop:
    """Real pixels, magnified."""

    title: str
    caption: str
    alt: str
    image: Pixels
    extent_mm: Box
    pointers: tuple[Pointer, ...] = ()


@dataclass(frozen=True, slots=True)
class Sites:
    """Values at places on the bed, drawn to scale; `texts` are written beside some of them.

    `span` is what the colours reach from and to: the same for all maps of a measure, and even
    about zero where the sign matters.
    """

    title: str
    caption: str
    alt: str
    bed_mm: Point
    unit: str
    places_mm: tuple[Point, ...]
    values: tuple[float, ...]
    texts: tuple[str, ...]
    span: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Margins:
    """The image with what is lost along its four sides, drawn to scale."""

    title: str
    caption: str
    alt: str
    bed_mm: Point
    shadow_mm: dict[Side, float]
    dead_mm: dict[Side, float]
    texts: dict[Side, str]
    usable: str


@dataclass(frozen=True, slots=True)
class Spots:
    """Marks on the glass, where they are: place, size and number of each."""

    title: str
    caption: str
    alt: str
    bed_mm: Point
    places_mm: tuple[Point, ...]
    sizes_mm: tuple[Point, ...]
    marks: tuple[str, ...]


Picture: TypeAlias = Lines | Map | Crop | Sites | Margins | Spots


# ------------------------------------------------------------------------------------ page


@dataclass(frozen=True, slots=True, eq=False)
class Section:
    """One family of measures."""

    id: str
    title: str
    text: str
    tables: tuple[Table, ...]
    pictures: tuple[Picture, ...]
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Use:
    """One word for one kind of work, or the two that are left; `fitness` gives its colour."""

    use: str
    word: str
    fitness: Fitness
    reason: str


@dataclass(frozen=True, slots=True)
class Step:
    """Something to do."""

    text: str
    because: str
    caution: str


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """What the values suggest. `steps` are what to look at, to do, when to stop: (head, words)."""

    title: str
    severity: str
    reason: str
    causes: tuple[str, ...]
    steps: tuple[tuple[str, str], ...]
    rests_on: str
    source: str


@dataclass(frozen=True, slots=True)
class Key:
    """A key number: what, how much (each with what it is of, if several), and what that means."""

    label: str
    values: tuple[tuple[str, str], ...]
    small: tuple[str, ...]
    explanation: str
    link: str


@dataclass(frozen=True, slots=True)
class Criterion:
    """A published limit and whether it is met."""

    title: str
    verdict: Verdict
    reason: str


@dataclass(frozen=True, slots=True)
class Criteria:
    """The limits of one document."""

    document: str
    counts: str
    rows: tuple[Criterion, ...]
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Gap:
    """What could not be measured, and why."""

    what: str
    why: str


@dataclass(frozen=True, slots=True)
class File:
    """A scan that was used; `lines` are its facts."""

    id: str
    mark: str
    name: str
    role: str
    lines: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Page:
    """The report of one qualification, from top to bottom."""

    scanner: str
    date: str
    taken: str
    tool_version: str
    fitness: Fitness
    sentence: str
    uses: tuple[Use, ...]
    next_scan: str
    nothing_to_do: str
    steps: tuple[Step, ...]
    diagnoses: tuple[Diagnosis, ...]
    keys: tuple[Key, ...]
    sections: tuple[Section, ...]
    criteria: tuple[Criteria, ...]
    gaps: tuple[Gap, ...]
    files: tuple[File, ...]
    rejected: tuple[Gap, ...]
    conditions: tuple[tuple[str, str], ...]
    glossary: tuple[tuple[str, str], ...]
