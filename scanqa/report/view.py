"""What the page shows, as frozen data: strings, and pictures that only need drawing.

The template does no arithmetic and the figures choose no data; both read these.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from scanqa.catalogue import Side
from scanqa.model import Curve, Fitness, Pixels, Point, Verdict

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
class Place:
    """Where on the glass a finding shows.

    Attributes
    ----------
    mark : str
        Its number in the list.
    box_mm : Box
        In image mm; of a line its ends, of what lies outside the image negative or beyond it.
    sure : bool
        Whether a second look confirmed it.
    polarity : str
        ``dark`` or ``bright``, of a line.
    """

    mark: str
    kind: Literal["line", "spot", "strip", "outside", "corner", "bands"]
    box_mm: Box
    sure: bool = True
    polarity: str = "dark"


@dataclass(frozen=True, slots=True)
class Glass:
    """The glass seen from above, with every finding at its place.

    `papers` are the borders of what lay on it, corner by corner in image mm.
    """

    title: str
    caption: str
    alt: str
    bed_mm: Point
    places: tuple[Place, ...]
    spine: Side | None = None
    papers: tuple[tuple[Point, ...], ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Strokes:
    """How much contrast is left of a stroke against its width; `zones` are (width in mm, word)."""

    title: str
    caption: str
    alt: str
    curves: tuple[Curve, ...]
    zones: tuple[tuple[float, str], ...]


@dataclass(frozen=True, slots=True, eq=False)
class SpineStrip:
    """A strip of the page beside the spine: L* below the page further in, against mm."""

    title: str
    caption: str
    alt: str
    curve: Curve
    marks: tuple[tuple[float, str], ...]
    x_label: str


@dataclass(frozen=True, slots=True, eq=False)
class Beside:
    """Real pixels as they are, beside what makes a fault seen; both (rows, columns[, 3]) bytes."""

    title: str
    caption: str
    alt: str
    as_it_is: Pixels
    stronger: Pixels
    words: tuple[str, str]


Picture: TypeAlias = Lines | Map | Crop | Sites | Glass | Strokes | SpineStrip | Beside


@dataclass(frozen=True, slots=True)
class Bar:
    """A value against its limit; None is an end that is open."""

    value: float
    low: float | None
    high: float | None
    limit: float
    higher: bool
    tone: str


# ------------------------------------------------------------------------------------ page


@dataclass(frozen=True, slots=True, eq=False)
class Section:
    """One family of measures; `result` is what came out; `details` are folded once more."""

    id: str
    title: str
    result: str
    text: str
    tables: tuple[Table, ...]
    pictures: tuple[Picture, ...]
    remarks: tuple[str, ...] = ()
    details: tuple[Picture, ...] = ()


@dataclass(frozen=True, slots=True)
class UseRow:
    """One word for one kind of work: what decides it, its limit, how sure it is."""

    use: str
    word: str
    tone: str
    decides: str
    limit: str
    sure: str
    bar: Bar | None


@dataclass(frozen=True, slots=True)
class Listed:
    """A finding beside the picture of the glass, by its number there."""

    mark: str
    words: str
    sure: str
    severity: str


@dataclass(frozen=True, slots=True)
class Act:
    """Something to do, and why."""

    text: str
    because: str


@dataclass(frozen=True, slots=True)
class Card:
    """The first screen. `rule` gives the decision's colour."""

    decision: str
    rule: str
    why: str
    unit: str
    uses: tuple[UseRow, ...]
    glass: Glass | None
    found: tuple[Listed, ...]
    nothing_found: str
    more: str
    acts: tuple[Act, ...]
    more_acts: int
    nothing_to_do: str
    caution: str
    open: str


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
    day: str
    taken: str
    tool_version: str
    fitness: Fitness
    sentence: str
    card: Card
    diagnoses: tuple[Diagnosis, ...]
    found: str
    cautions: tuple[str, ...]
    sections: tuple[Section, ...]
    criteria: tuple[Criteria, ...]
    limits: str
    gaps: tuple[Gap, ...]
    files: tuple[File, ...]
    rejected: tuple[Gap, ...]
    conditions: tuple[tuple[str, str], ...]
    glossary: tuple[tuple[str, str], ...]
