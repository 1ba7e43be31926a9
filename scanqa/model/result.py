"""What measures return: values with their doubt, lines, marks and pictures."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any, Literal, NamedTuple

from numpy.typing import NDArray

from scanqa.catalogue import CATALOGUE
from scanqa.model.terms import Channel, Direction, EdgeKind, Floats, Point, Polarity

Status = Literal["ok", "at-least", "at-most", "between", "not-measurable"]

# Why a value is missing or only a bound; the sentence beside it says it for this very case.
ReasonKind = Literal[
    "no-scan",  # nothing in this set shows it
    "too-small",  # the scan, or what it shows, is too small or too short
    "too-few",  # too few sites, patches, scans or codes
    "no-detail",  # nothing there to measure by
    "clipped",  # at the end of the scale
    "too-dark",  # not the white paper that it should be
    "uneven",  # paper or light too uneven to tell
    "print",  # the print is the limit
    "cut",  # the knife's cut is the limit
    "target",  # what print and paper of the target itself take is not known
    "sampling",  # the delivered dpi is the limit
    "range",  # beyond what the scan, the target or the search can show
    "noise",  # hidden in the noise
    "rounding",  # finer than the steps of the codes
    "unlike",  # scans that should agree differ, or the paper moved, or did not
    "compression",  # lossy compression hides or makes it
    "software",  # hidden processing falsifies it
    "not-told",  # rests on something only the user can say
    "not-found",  # a part of the target was not found
    "unclear",  # several explanations fit
    "method",  # no doubt at all: how a sound value was found
]
SharedKind = Literal["print", "paper", "curve", "laying", "rule"]


@dataclass(frozen=True, slots=True)
class Reason:
    """A reason as a kind, which code may ask for, and in words, which it must not."""

    kind: ReasonKind
    words: str


def together(*parts: Reason | None) -> Reason | None:
    """Several reasons as one, of the kind of the first; None if there are none."""
    said = [part for part in parts if part is not None]
    return Reason(said[0].kind, "; ".join(part.words for part in said)) if said else None


@dataclass(frozen=True, slots=True)
class Bounds:
    """Whether a value is but a bound; both ends of what it lies between."""

    status: Status = "ok"
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class Shared:
    """A part of the doubt that other values have in common.

    It does not shrink when values are put together, and drops out where two values share it: one
    scanner followed with one sheet, two scanners on one sheet.

    Attributes
    ----------
    of : str
        What it is shared with: the label of a print, the source of a curve.
    size : float
        Standard uncertainty in the value's unit.
    """

    kind: SharedKind
    of: str
    size: float


@dataclass(frozen=True, slots=True)
class Measurement:
    """One value, or the reason why there is none.

    Attributes
    ----------
    value : float or None
        The best value; for a bound the bound itself, for ``between`` the best value within.
    uncertainty : float or None
        All of its standard uncertainty, the parts in `shared` included; what is left is `random`.
    status : str
        ``ok`` only if the uncertainty covers all that the set-up leaves open.
    reason, reason_kind : str
        In words and as a kind; ``method`` unless said otherwise.
    low, high : float or None
        Ends of what is possible, for ``between``.

    Raises
    ------
    ValueError
        If the name is not in the catalogue, a number is not finite, or a status contradicts the
        value.
    """

    name: str
    value: float | None
    uncertainty: float | None = None
    status: Status = "ok"
    reason: str = ""
    scan: str = ""
    at_mm: Point | None = None
    direction: Direction | None = None
    channel: Channel | None = None
    edge_kind: EdgeKind | None = None
    reason_kind: ReasonKind | None = None
    low: float | None = None
    high: float | None = None
    shared: tuple[Shared, ...] = ()
    unit: str = ""

    def __post_init__(self) -> None:
        if self.name not in CATALOGUE:
            raise ValueError(f"{self.name} is not in the catalogue")
        numbers = [self.value, self.uncertainty, self.low, self.high, *(self.at_mm or ())]
        numbers += [part.size for part in self.shared]
        if any(number is not None and not math.isfinite(number) for number in numbers):
            raise ValueError(f"{self.name}: not a finite number in {numbers}")
        if (self.value is None) != (self.status == "not-measurable"):
            raise ValueError(f"{self.name}: value {self.value} with status {self.status}")
        if self.status != "ok" and not (self.reason and self.reason_kind):
            raise ValueError(f"{self.name}: status {self.status} needs a reason and its kind")
        if self.reason and self.reason_kind is None:
            object.__setattr__(self, "reason_kind", "method")
        if not self.unit:
            object.__setattr__(self, "unit", CATALOGUE[self.name].unit)
        self._check_doubt()

    def _check_doubt(self) -> None:
        if (self.status == "between") != (self.low is not None and self.high is not None):
            raise ValueError(f"{self.name}: low {self.low}, high {self.high}, {self.status}")
        known = self.low is not None and self.high is not None and self.value is not None
        if known and not self.low <= self.value <= self.high:  # type: ignore[operator]
            raise ValueError(f"{self.name}: {self.value} not in {self.low} to {self.high}")
        whole = self.uncertainty or 0.0
        if math.hypot(*(part.size for part in self.shared)) > whole * (1 + 1e-9):
            raise ValueError(f"{self.name}: shared parts exceed the whole uncertainty")

    @property
    def why(self) -> Reason:
        """Reason and kind as one; ``method`` and no words where nothing was said."""
        return Reason(self.reason_kind or "method", self.reason)

    @property
    def random(self) -> float | None:
        """What is left of the uncertainty without the shared parts."""
        if self.uncertainty is None:
            return None
        rest = self.uncertainty**2 - sum(part.size**2 for part in self.shared)
        return math.sqrt(max(rest, 0.0))


def not_measurable(
    name: str,
    why: Reason,
    scan: str = "",
    *,
    at_mm: Point | None = None,
    direction: Direction | None = None,
    channel: Channel | None = None,
    edge_kind: EdgeKind | None = None,
) -> Measurement:
    """A measurement without a value, and the reason."""
    return Measurement(
        name, None, None, "not-measurable", why.words, scan, at_mm, direction, channel, edge_kind,
        why.kind,
    )  # fmt: skip


def with_doubt(m: Measurement, part: Shared) -> Measurement:
    """A value with one more part of the doubt; the same where that part is nothing."""
    if not part.size:
        return m
    whole = math.hypot(m.uncertainty or 0.0, part.size)
    return replace(m, uncertainty=whole, shared=(*m.shared, part))


def as_bound(m: Measurement, status: Status, why: Reason) -> Measurement:
    """The same value, for a reason as a bound."""
    return replace(m, status=status, reason=why.words, reason_kind=why.kind)


def taken_back(m: Measurement, why: Reason) -> Measurement:
    """The same measurement without its value, and why."""
    return replace(
        m, value=None, uncertainty=None, status="not-measurable", reason=why.words,
        reason_kind=why.kind, low=None, high=None, shared=(),
    )  # fmt: skip


class Key(NamedTuple):
    """What makes values of one measure comparable; empty, or 0, where it does not apply.

    `dpi` is the sampling of the scans they come from, for measures that depend on it.
    """

    name: str
    direction: str = ""
    channel: str = ""
    edge_kind: str = ""
    dpi: int = 0


@dataclass(frozen=True, slots=True)
class LineSigns:
    """What is known of a line's cause, for the diagnosis.

    Attributes
    ----------
    compared : bool
        Whether another scan, the paper moved, was searched too.
    stays : float
        How much likelier it is that the line is in all scans than in its own only; 1 if unknown.
    full : bool
        Whether it runs through all of the bed.
    one_colour, one_sample, regular : bool
        In one colour channel only; one sample wide (None where the sampling or the compression
        is too coarse to tell); in a row of lines at one pitch.
    """

    compared: bool = False
    stays: float = 1.0
    full: bool = False
    one_colour: bool = False
    one_sample: bool | None = False
    regular: bool = False


@dataclass(frozen=True, slots=True)
class Share:
    """A cause, by its id in the table of causes, and its probability among those considered."""

    cause: str
    share: float


@dataclass(frozen=True, slots=True)
class Streak:
    """A line that runs through scans of plain paper.

    Attributes
    ----------
    axis : str
        The way the line runs: ``travel`` (down the image) or ``across``.
    at_mm, at_px : float
        Where it crosses the other axis, in image mm and as a pixel centre.
    width_um : float
        Full width at half height.
    contrast_percent, delta_L : float
        Size of the light difference at its middle, positive; `polarity` says dark or bright.
    extent_mm : (start, end)
        Where along its axis it begins and ends.
    significance : float
        Contrast over its standard uncertainty, in the search's own estimate of both.
    since : str
        Date of the earlier check against which it is new, where these scans alone do not show it;
        empty for a line that they show by themselves.
    causes : tuple of Share
        All causes considered, the likeliest first; `likely_cause` names the first in words. Both
        come with the diagnosis, from `signs`.
    """

    at_mm: float
    at_px: float
    width_um: float
    contrast_percent: float
    delta_L: float
    polarity: Polarity
    channels: tuple[Channel, ...]
    extent_mm: tuple[float, float]
    significance: float
    visible: bool
    scan: str
    axis: Direction = "travel"
    likely_cause: str = ""
    causes: tuple[Share, ...] = ()
    signs: LineSigns = LineSigns()
    since: str = ""

    @property
    def of_the_paper(self) -> bool:
        """Whether it moved with the paper between scans."""
        return self.signs.compared and self.signs.stays < 1


@dataclass(frozen=True, slots=True)
class Mark:
    """A spot or scratch that stays on the glass while the paper moves."""

    at_mm: Point
    size_mm: Point  # width, height of its box
    contrast_percent: float  # at its middle, positive
    polarity: Polarity
    kind: Literal["spot", "scratch"]
    scan: str


@dataclass(frozen=True, slots=True)
class ColumnProfile:
    """Mean of all rows of a blank scan, kept so that a later check finds what is new.

    Attributes
    ----------
    first : int
        Column of the image that the first value is of.
    light : bytes
        Log light (luma) of each column, shading taken off, in steps of 0.00001: int16, little
        endian, deflated (zlib).
    """

    scan: str
    first: int
    light: bytes


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """A line in a figure."""

    label: str
    x: Floats
    y: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """A picture that explains a measure: curves, a map, or a crop of the real pixels.

    Attributes
    ----------
    explains : str
        A measure's name or its family (``streaks``).
    shows : str
        What kind of thing it is, for those that draw it: ``response`` for curves of contrast
        against frequency, an axis (``travel``, ``across``) for lines along it.
    curves : tuple of Curve
        For ``curves``.
    image : array or None
        For ``map`` float (rows, columns) in `unit`; for ``crop`` uint8 (rows, columns, 3).
    extent_mm : (left, top, right, bottom)
        Of the image, in image mm.
    lines_mm : tuple of (x, label) or (y, label)
        Positions to point out along the x axis of curves (or the crop's x).
    codes : (low, high) or None
        Of a crop whose contrast was stretched: the codes that became black and white.
    """

    explains: str
    kind: Literal["curves", "map", "crop"]
    title: str
    scan: str = ""
    x_label: str = ""
    y_label: str = ""
    unit: str = ""
    curves: tuple[Curve, ...] = ()
    image: NDArray[Any] | None = None
    extent_mm: tuple[float, float, float, float] | None = None
    lines_mm: tuple[tuple[float, str], ...] = ()
    note: str = ""
    shows: Literal["", "response", "travel", "across"] = ""
    codes: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Results:
    """What measures return; two of them add."""

    measurements: tuple[Measurement, ...] = ()
    streaks: tuple[Streak, ...] = ()
    marks: tuple[Mark, ...] = ()
    evidence: tuple[Evidence, ...] = ()
    columns: tuple[ColumnProfile, ...] = ()

    def __add__(self, other: Results) -> Results:
        return Results(
            self.measurements + other.measurements,
            self.streaks + other.streaks,
            self.marks + other.marks,
            self.evidence + other.evidence,
            self.columns + other.columns,
        )

    def named(self, name: str) -> tuple[Measurement, ...]:
        """All measurements of one name that have a value."""
        return tuple(m for m in self.measurements if m.name == name and m.value is not None)
