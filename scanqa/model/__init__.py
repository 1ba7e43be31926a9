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

from scanqa.catalogue import Role, Side
from scanqa.model.decided import Act, Decided, Decision, Identity, Standing
from scanqa.model.image import (
    Calibrated,
    Driver,
    Linear,
    Overview,
    Placement,
    Scan,
    Window,
    of_role,
)
from scanqa.model.judgement import (
    GRAVE,
    SEVERITIES,
    Action,
    Criterion,
    Diagnosis,
    Finding,
    Fitness,
    Judged,
    Judgement,
    Legibility,
    Legible,
    Outcome,
    Seen,
    Severity,
    UseVerdict,
    Verdict,
    changed,
)
from scanqa.model.record import SCHEMA, PaperLies, Qualification, Record, Rejected, ScanFacts
from scanqa.model.result import (
    ColumnProfile,
    Curve,
    Evidence,
    Key,
    LineSigns,
    Mark,
    Measurement,
    Reason,
    ReasonKind,
    Results,
    Share,
    Shared,
    SharedKind,
    Status,
    Streak,
    as_bound,
    not_measurable,
    taken_back,
    together,
    with_doubt,
)
from scanqa.model.sheet import Edge, Patch, Piece, Polygon, Rise, Sheet, Tag, Text
from scanqa.model.terms import (
    COLOURS,
    DIRECTIONS,
    LIKE_DPI,
    LUMA_WEIGHTS,
    MM_PER_INCH,
    Array,
    Channel,
    Direction,
    EdgeKind,
    Floats,
    Pixels,
    Point,
    Polarity,
)
from scanqa.model.told import EdgeResponse, Told
from scanqa.model.work import FileSize, Job, OpticsFor, Plan

__all__ = [
    "COLOURS",
    "DIRECTIONS",
    "GRAVE",
    "LIKE_DPI",
    "LUMA_WEIGHTS",
    "MM_PER_INCH",
    "SCHEMA",
    "SEVERITIES",
    "Act",
    "Action",
    "Array",
    "Calibrated",
    "Channel",
    "ColumnProfile",
    "Criterion",
    "Curve",
    "Decided",
    "Decision",
    "Diagnosis",
    "Direction",
    "Driver",
    "Edge",
    "EdgeKind",
    "EdgeResponse",
    "Evidence",
    "FileSize",
    "Finding",
    "Fitness",
    "Floats",
    "Identity",
    "Job",
    "Judged",
    "Judgement",
    "Key",
    "Legibility",
    "Legible",
    "LineSigns",
    "Linear",
    "Mark",
    "Measurement",
    "OpticsFor",
    "Outcome",
    "Overview",
    "PaperLies",
    "Patch",
    "Piece",
    "Pixels",
    "Placement",
    "Plan",
    "Point",
    "Polarity",
    "Polygon",
    "Qualification",
    "Reason",
    "ReasonKind",
    "Record",
    "Rejected",
    "Results",
    "Rise",
    "Role",
    "Scan",
    "ScanFacts",
    "Seen",
    "Severity",
    "Share",
    "Shared",
    "SharedKind",
    "Sheet",
    "Side",
    "Standing",
    "Status",
    "Streak",
    "Tag",
    "Text",
    "Told",
    "UseVerdict",
    "Verdict",
    "Window",
    "as_bound",
    "changed",
    "not_measurable",
    "of_role",
    "taken_back",
    "together",
    "with_doubt",
]
