"""Every type that crosses a border between rooms: frozen, no logic but validation and frames.

Conventions, stated once
------------------------
* Pixels: ``(x, y)`` = (column, row), **pixel centres at whole numbers**; the image covers
  ``-0.5 … width-0.5``.
* Image millimetres (``at_mm``): origin at the top-left *corner* of the image as delivered, x to
  the right, y down: ``x_mm = (x_px + 0.5) * 25.4 / dpi_x``.
* Sheet millimetres: origin at the top-left corner of the printed page, x right, y down.
* ``across`` is along the sensor line (image x), ``travel`` along the carriage (image y).
  The direction of an edge is the direction in which it is *measured* (across the edge).
* Uncertainties are standard uncertainties (one sigma) in the unit of the value.
* Light is linear and relative: 1 is the code at the top of the scale. L* takes that as its white.
* Arrays of pixels are ``(rows, columns, channels)``; channels is 1 (grey) or 3 (red, green, blue).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, Literal, Protocol, TypeAlias

import numpy as np
from numpy.typing import NDArray

from scanqa.catalogue import CATALOGUE
from scanqa.catalogue import Role as Role
from scanqa.catalogue import Side as Side

Floats: TypeAlias = NDArray[np.float64]
Pixels: TypeAlias = NDArray[Any]  # uint8 or uint16, (rows, columns, channels)

Direction = Literal["across", "travel"]
Channel = Literal["luma", "red", "green", "blue"]
Status = Literal["ok", "lower-bound", "not-measurable"]
EdgeKind = Literal["printed", "cut"]
Polarity = Literal["dark", "bright"]
Point: TypeAlias = tuple[float, float]

MM_PER_INCH = 25.4
LUMA_WEIGHTS = (0.2126, 0.7152, 0.0722)  # of linear R, G, B: IEC 61966-2-1 / ITU-R BT.709


# ---------------------------------------------------------------------------------- sheets


@dataclass(frozen=True, slots=True)
class Tag:
    """A fiducial (AprilTag 36h11); its black square is also a slanted-edge site.

    `corners_mm` are the corners of the black square in the tag's own order: top-left, top-right,
    bottom-right, bottom-left as the tag is drawn upright, then turned by its tilt.
    """

    id: int
    corners_mm: tuple[Point, Point, Point, Point]

    @property
    def centre_mm(self) -> Point:
        """Centre of the square."""
        xs, ys = zip(*self.corners_mm, strict=True)
        return sum(xs) / 4, sum(ys) / 4


@dataclass(frozen=True, slots=True)
class Edge:
    """A straight slanted edge on a sheet, dark on one side.

    Attributes
    ----------
    name : str
        Unique on the sheet.
    start_mm, end_mm : (x, y)
        Ends of the *usable* part of the edge in sheet mm. Walking from start to end, the dark
        side lies to the right (in the y-down frame).
    reach_mm : float
        Clean distance on each side of the edge, normal to it.
    kind : str
        ``printed`` or ``cut``.
    """

    name: str
    start_mm: Point
    end_mm: Point
    reach_mm: float
    kind: EdgeKind = "printed"


@dataclass(frozen=True, slots=True)
class Polygon:
    """An area of even ink: `cover` 1 is solid black, 0 bare paper; later shapes paint over."""

    points_mm: tuple[Point, ...]
    cover: float = 1.0


@dataclass(frozen=True, slots=True)
class Text:
    """A line of words. `at_mm` is the left (or `anchor`) end of the baseline."""

    at_mm: Point
    words: str
    size_mm: float
    bold: bool = False
    anchor: Literal["start", "middle", "end"] = "start"
    turn_deg: float = 0.0
    cover: float = 1.0


@dataclass(frozen=True, slots=True)
class Patch:
    """A tone patch: a rectangle (left, top, right, bottom in mm) printed at `cover`."""

    name: str
    box_mm: tuple[float, float, float, float]
    cover: float


@dataclass(frozen=True, slots=True)
class Rise:
    """How a piece leaves the glass: height = `height_mm` × distance from the foot / `length_mm`.

    Attributes
    ----------
    foot_mm : ((x, y), (x, y))
        The line where it still touches the glass.
    length_mm : float
        Length of the slope, measured on the paper.
    height_mm : float
        Height above the glass at its upper end, if it is folded as designed.
    """

    foot_mm: tuple[Point, Point]
    length_mm: float
    height_mm: float


@dataclass(frozen=True, slots=True)
class Piece:
    """A part of a sheet that is flat as one: found and placed on its own.

    The bed sheet is one piece; the edge-strip sheet is cut into several. Coordinates are those
    of the whole page.

    Attributes
    ----------
    fold_mm : ((x, y), (x, y)) or None
        The line that is laid on the edge of the glass (the strip is folded there).
    holes_mm : tuple of outlines
        Windows to cut out with a knife and back with black card; their sides are ``cut`` edges.
    rise : Rise or None
        Given if the piece does not lie on the glass but slopes up from it.
    back_patches : tuple of Patch
        Tone patches on the other side of the paper, where they lie as seen from this side.
    """

    name: str
    outline_mm: tuple[Point, ...]
    tags: tuple[Tag, ...]
    edges: tuple[Edge, ...] = ()
    patches: tuple[Patch, ...] = ()
    fold_mm: tuple[Point, Point] | None = None
    holes_mm: tuple[tuple[Point, ...], ...] = ()
    rise: Rise | None = None
    back_patches: tuple[Patch, ...] = ()


@dataclass(frozen=True, slots=True)
class Sheet:
    """A printable page: what is drawn, what is located and what is simulated, in mm.

    `back` and `back_words` are printed on the other side of the paper. `back` lies where it would
    be seen from the front if the paper were glass; the words read upright in the back's own frame.
    `bars_mm` are the lengths of the bars (across, down the page) that are measured with a rule.
    """

    id: str  # "bed-sheet-a4"
    role: Role
    paper: str  # "a4", "letter", "a3"
    width_mm: float
    height_mm: float
    pieces: tuple[Piece, ...]
    shapes: tuple[Polygon, ...]  # everything inked except tags and words
    words: tuple[Text, ...]
    back: tuple[Polygon, ...] = ()
    back_words: tuple[Text, ...] = ()
    bars_mm: Point | None = None


# ----------------------------------------------------------------------------------- scans


@dataclass(frozen=True, slots=True)
class Window:
    """A whole-pixel rectangle inside an image."""

    row: int
    col: int
    height: int
    width: int

    def __post_init__(self) -> None:
        if self.row < 0 or self.col < 0 or self.height < 1 or self.width < 1:
            raise ValueError(f"not a window: {self}")


class Scan(Protocol):
    """An image of which only strips and windows are in memory: a file, an array, a simulation."""

    @property
    def name(self) -> str:
        """Name to show: the file's name."""

    @property
    def width_px(self) -> int:
        """Columns."""

    @property
    def height_px(self) -> int:
        """Rows."""

    @property
    def channels(self) -> int:
        """1 (grey) or 3 (red, green, blue)."""

    @property
    def bits(self) -> int:
        """Bits per sample, 8 or 16."""

    @property
    def dpi(self) -> tuple[float, float] | None:
        """Samples per inch in x and y as the file says, or None when it says nothing usable."""

    @property
    def icc(self) -> bytes | None:
        """Embedded ICC profile."""

    @property
    def format(self) -> str:
        """``tiff``, ``png``, ``jpeg``, ``array``; lossy ones are said to be so in `lossy`."""

    @property
    def lossy(self) -> bool:
        """Whether the pixels went through lossy compression in this file."""

    @property
    def sha256(self) -> str:
        """Hash of the file's bytes, hexadecimal."""

    @property
    def modified(self) -> str:
        """When the file was last written, ISO 8601, or an empty string."""

    @property
    def notes(self) -> tuple[str, ...]:
        """What is worth knowing about the file: no resolution, turned by its tag."""

    def window(self, window: Window) -> Pixels:
        """Pixels of a window, (height, width, channels), uint8 or uint16."""

    def strips(self, rows: int = 256) -> Iterator[tuple[int, Pixels]]:
        """First row and pixels of each strip, from top to bottom."""


@dataclass(frozen=True, slots=True, eq=False)
class Overview:
    """What one pass over a scan keeps, all in mean **codes** (not light), float32.

    Attributes
    ----------
    preview : (rows / step, columns / step, channels)
        Area means over `step_px` × `step_px` blocks (a last partial block is dropped).
    step_px : int
        Size of a block; about 0.3 mm.
    column_means : (bands, width_px, channels)
        Mean of each column within each band of rows; bands are `band_rows_px` rows high, the
        last may be shorter (its true height is used for its mean).
    band_rows_px : int
        Height of a band.
    row_means : (height_px, bands, channels)
        Mean of each row within each band of columns, bands of equal width.
    top_share : float
        Share of samples at the highest code.
    """

    preview: NDArray[np.float32]
    step_px: int
    column_means: NDArray[np.float32]
    band_rows_px: int
    row_means: NDArray[np.float32]
    top_share: float


@dataclass(frozen=True, slots=True, eq=False)
class Linear:
    """Codes to relative linear light, and where that knowledge comes from.

    Attributes
    ----------
    curves : (channels, 2**bits) float32
        Light for each code, rising; 1 at the highest code.
    source : str
        ``stated curve``, ``ICC profile`` or ``sRGB assumed``.
    """

    curves: NDArray[np.float32]
    source: str

    def light(self, codes: NDArray[Any]) -> NDArray[np.float32]:
        """Light of codes (…, channels): looked up if whole numbers, interpolated if means."""
        out = np.empty(codes.shape, np.float32)
        last = self.curves.shape[1] - 1
        for channel, curve in enumerate(self.curves):
            plane = codes[..., channel]
            if np.issubdtype(codes.dtype, np.integer):
                out[..., channel] = curve[plane]
            else:
                at = np.clip(plane, 0, last)
                low = np.minimum(at.astype(np.int32), last - 1)
                part = (at - low).astype(np.float32)
                steps = np.diff(curve, append=curve[-1])
                out[..., channel] = curve[low] + part * steps[low]
        return out


@dataclass(frozen=True, slots=True, eq=False)
class Placement:
    """A scan with its frame in millimetres and, where one was found, a piece of a sheet.

    Attributes
    ----------
    dpi : (x, y)
        Used for image millimetres; from the file, an option or the located sheet (`dpi_source`).
    to_px : (2, 3) float64 or None
        Affine map from sheet mm to pixels, ``px = to_px[:, :2] @ mm + to_px[:, 2]``.
    rotation_deg : int
        0, 90, 180 or 270: how the sheet lies in the image, clockwise.
    residual_um : float or None
        Root-mean-square distance of the tag corners from the affine map, on the paper.
    corners_px : (tags, 4, 2) float64 or None
        Refined tag corners that the map was fitted to, with `tags` their ids.
    """

    scan: Scan
    overview: Overview
    light: Linear
    role: Role
    dpi: tuple[float, float]
    dpi_source: str  # "file", "option", "sheet"
    sheet: Sheet | None = None
    piece: Piece | None = None
    to_px: Floats | None = None
    rotation_deg: int = 0
    residual_um: float | None = None
    tags: tuple[int, ...] = ()
    corners_px: Floats | None = None
    notes: tuple[str, ...] = ()

    def mm(self, x_px: float, y_px: float) -> Point:
        """Image millimetres of a pixel position."""
        return ((x_px + 0.5) * MM_PER_INCH / self.dpi[0], (y_px + 0.5) * MM_PER_INCH / self.dpi[1])

    def px(self, x_mm: float, y_mm: float) -> Point:
        """Pixel position (not rounded) of image millimetres."""
        return x_mm * self.dpi[0] / MM_PER_INCH - 0.5, y_mm * self.dpi[1] / MM_PER_INCH - 0.5

    @property
    def size_mm(self) -> Point:
        """Width and height of the image."""
        return (
            self.scan.width_px * MM_PER_INCH / self.dpi[0],
            self.scan.height_px * MM_PER_INCH / self.dpi[1],
        )

    def sheet_px(self, points_mm: Floats) -> Floats:
        """Pixels of sheet points, (n, 2) to (n, 2); the piece must have been located."""
        if self.to_px is None:
            raise ValueError("no sheet was located in this scan")
        return points_mm @ self.to_px[:, :2].T + self.to_px[:, 2]


# --------------------------------------------------------------------------------- results


@dataclass(frozen=True, slots=True)
class Measurement:
    """One value, or the reason why there is none.

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

    def __post_init__(self) -> None:
        if self.name not in CATALOGUE:
            raise ValueError(f"{self.name} is not in the catalogue")
        numbers = [self.value, self.uncertainty, *(self.at_mm or ())]
        if any(number is not None and not math.isfinite(number) for number in numbers):
            raise ValueError(f"{self.name}: not a finite number in {numbers}")
        if (self.value is None) != (self.status == "not-measurable"):
            raise ValueError(f"{self.name}: value {self.value} with status {self.status}")
        if self.status != "ok" and not self.reason:
            raise ValueError(f"{self.name}: status {self.status} needs a reason")

    @property
    def unit(self) -> str:
        """Unit of the value, from the catalogue."""
        return CATALOGUE[self.name].unit


def not_measurable(
    name: str,
    why: str,
    scan: str = "",
    *,
    at_mm: Point | None = None,
    direction: Direction | None = None,
    channel: Channel | None = None,
    edge_kind: EdgeKind | None = None,
) -> Measurement:
    """A measurement without a value, and the reason in words."""
    return Measurement(
        name, None, None, "not-measurable", why, scan, at_mm, direction, channel, edge_kind
    )


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
    causes : tuple of (words, probability)
        All causes considered, the likeliest first; `likely_cause` is the first one's words.
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
    likely_cause: str
    visible: bool
    scan: str
    axis: Direction = "travel"
    causes: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Mark:
    """A spot or scratch that stays on the glass while the paper moves."""

    at_mm: Point
    size_mm: Point  # width, height of its box
    contrast_percent: float  # at its middle, positive
    polarity: Polarity
    kind: Literal["spot", "scratch"]
    scan: str


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
    curves : tuple of Curve
        For ``curves``.
    image : array or None
        For ``map`` float (rows, columns) in `unit`; for ``crop`` uint8 (rows, columns, 3).
    extent_mm : (left, top, right, bottom)
        Of the image, in image mm.
    lines_mm : tuple of (x, label) or (y, label)
        Positions to point out along the x axis of curves (or the crop's x).
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


@dataclass(frozen=True, slots=True)
class Results:
    """What measures return; two of them add."""

    measurements: tuple[Measurement, ...] = ()
    streaks: tuple[Streak, ...] = ()
    marks: tuple[Mark, ...] = ()
    evidence: tuple[Evidence, ...] = ()

    def __add__(self, other: Results) -> Results:
        return Results(
            self.measurements + other.measurements,
            self.streaks + other.streaks,
            self.marks + other.marks,
            self.evidence + other.evidence,
        )

    def named(self, name: str) -> tuple[Measurement, ...]:
        """All measurements of one name that have a value."""
        return tuple(m for m in self.measurements if m.name == name and m.value is not None)


# -------------------------------------------------------------------------------- judgement

Verdict = Literal["met", "not met", "not judged"]
Severity = Literal["good", "note", "warning", "fault"]
Fitness = Literal["fit", "limited", "unfit", "not judged"]


@dataclass(frozen=True, slots=True)
class Finding:
    """A judgement or diagnosis and what it rests on.

    Attributes
    ----------
    kind : str
        ``criterion`` (a published limit) or ``diagnosis``.
    title : str
        A plain sentence.
    rests_on : tuple of str
        Names of measures.
    causes : tuple of str
        Likely causes, the likeliest first (diagnosis).
    shares : tuple of float
        Probability of each cause among those considered, or empty where causes are not weighed.
    check_next : str
        What to look at next to be surer.
    action, caution : str
        What to do, and what to beware of while doing it.
    stop : str
        When to stop and see someone qualified.
    source : str
        Document, edition and table (criterion), or the basis of the rule.
    """

    kind: Literal["criterion", "diagnosis"]
    title: str
    severity: Severity
    verdict: Verdict = "not judged"
    reason: str = ""
    rests_on: tuple[str, ...] = ()
    causes: tuple[str, ...] = ()
    action: str = ""
    caution: str = ""
    source: str = ""
    shares: tuple[float, ...] = ()
    check_next: str = ""
    stop: str = ""


@dataclass(frozen=True, slots=True)
class UseVerdict:
    """Whether the scanner is good enough for one kind of work."""

    use: str
    fitness: Fitness
    reason: str
    deciding: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Action:
    """Something to do, in order of urgency."""

    text: str
    because: str
    caution: str = ""


@dataclass(frozen=True, slots=True)
class Outcome:
    """The first thing a reader sees: the overall word and a sentence, then one word per use."""

    fitness: Fitness
    sentence: str
    uses: tuple[UseVerdict, ...] = ()


@dataclass(frozen=True, slots=True)
class Legible:
    """The smallest character (its height), or stroke (its width), at a level of legibility."""

    what: str  # "character" or "stroke"
    level: str
    index: float
    size_mm: float
    uncertainty_mm: float | None


@dataclass(frozen=True, slots=True)
class Legibility:
    """How small print may be in scans of one dpi.

    Attributes
    ----------
    dpi : int
        Of the scans.
    effective_dpi, uncertainty : float
        What the optics support of it.
    at_least : bool
        Whether that is a lower bound; sizes are upper bounds then.
    note : str
        What limits it, if not the optics.
    """

    dpi: int
    effective_dpi: float
    uncertainty: float | None
    at_least: bool
    sizes: tuple[Legible, ...]
    note: str = ""


@dataclass(frozen=True, slots=True)
class Judgement:
    """All that findings say about results."""

    findings: tuple[Finding, ...]
    actions: tuple[Action, ...]
    outcome: Outcome
    legibility: tuple[Legibility, ...] = ()


@dataclass(frozen=True, slots=True)
class Job:
    """Pages to be scanned.

    Attributes
    ----------
    page_mm : (width, height)
        Size of what is kept of each scan, in mm; `page` is its name.
    smallest_mm : float
        Height of the smallest lower-case letters.
    turn_s : float
        Time to turn a page, between scans.
    seconds : float or None
        Time of a scan, if the user says it.
    """

    pages: int
    page: str
    page_mm: Point
    smallest_mm: float
    turn_s: float
    seconds: float | None = None


@dataclass(frozen=True, slots=True)
class FileSize:
    """Bytes in one format, and where the number comes from."""

    format: str
    bytes: float
    uncertainty: float | None
    basis: str


@dataclass(frozen=True, slots=True)
class Plan:
    """What a job will take.

    Attributes
    ----------
    needed_dpi, dpi : float, int
        What the smallest letters ask for; the setting to scan at, and `why_dpi`.
    index, legibility : float, str
        Quality index that they reach, and its word.
    optics_known : bool
        Whether the optics are known to support it; the index is what it would be otherwise.
    seconds, pages_per_hour, hours, days : float or None
        None if no scan was timed; `why_time` says so, or how it was timed.
    at_most : bool
        Whether the pace is an upper bound.
    sizes : tuple of FileSize
        Of one page.
    """

    job: Job
    needed_dpi: float
    dpi: int
    why_dpi: str
    index: float
    legibility: str
    optics_known: bool
    sizes: tuple[FileSize, ...]
    seconds: float | None = None
    pages_per_hour: float | None = None
    rate_uncertainty: float | None = None
    at_most: bool = False
    hours: float | None = None
    days: int | None = None
    why_time: str = ""


@dataclass(frozen=True, slots=True)
class ScanFacts:
    """What is kept of a scan in a record."""

    file: str
    role: Role
    width_px: int
    height_px: int
    bits: int
    channels: int
    dpi: tuple[float, float]
    dpi_source: str
    rotation_deg: int
    sheet: str | None
    format: str
    lossy: bool
    light: str
    sha256: str
    modified: str
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Rejected:
    """A file that could not be used, and the line that says why."""

    file: str
    why: str


@dataclass(frozen=True, slots=True)
class Record:
    """One qualification of one scanner, whole."""

    scanner: str
    created: str  # ISO 8601, UTC
    tool_version: str
    scans: tuple[ScanFacts, ...]
    results: Results
    judgement: Judgement
    rejected: tuple[Rejected, ...] = ()
    conditions: dict[str, str] = field(default_factory=dict)
    plan: Plan | None = None
