"""One qualification, whole: what is kept, written as JSON, compared and followed."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from scanqa.catalogue import Role
from scanqa.model.decided import Decision, Identity
from scanqa.model.image import Driver
from scanqa.model.judgement import Action, Criterion, Diagnosis, Finding, Legibility, Outcome
from scanqa.model.result import ColumnProfile, Evidence, Key, Mark, Measurement, Streak
from scanqa.model.terms import Point
from scanqa.model.work import Plan

SCHEMA = "scanqa.qualification/2"

# How plain paper lies against that of the first blank scan of its size; empty if unknown.
PaperLies = Literal["", "first", "still", "moved", "quarter", "half"]


@dataclass(frozen=True, slots=True)
class ScanFacts:
    """What is kept of a scan; `file` is unlike that of all other scans of the record.

    Attributes
    ----------
    dpi : (x, y) or None
        None if neither file nor user nor sheet says it: then nothing in mm was measured.
    paper : str
        Of a blank: how its paper lies against that of the first blank of its size (``first``):
        ``still``, ``moved``, turned by a ``quarter`` or ``half``; empty if it shows too little.
    driver : Driver or None
        What ``scanqa capture`` wrote of the driver; None for scans made elsewhere.
    border_mm : tuple of (x, y)
        Corners of the paper in image mm, one after the other: of a bed sheet that was located, and
        of the inside of a blank's paper that does not cover the glass; empty if it is not known.
    """

    file: str
    role: Role
    width_px: int
    height_px: int
    bits: int
    channels: int
    dpi: tuple[float, float] | None
    dpi_source: str
    rotation_deg: int
    sheet: str | None
    format: str
    lossy: bool
    light: str
    sha256: str
    modified: str | None = None
    notes: tuple[str, ...] = ()
    paper: PaperLies = ""
    driver: Driver | None = None
    border_mm: tuple[Point, ...] = ()


@dataclass(frozen=True, slots=True)
class Rejected:
    """A file that could not be used, and the line that says why."""

    file: str
    why: str


@dataclass(frozen=True, slots=True)
class MeasuredBefore:
    """What an older method gave of the same scans, where they were measured anew by another.

    Attributes
    ----------
    name, direction, channel, edge_kind, dpi
        As for a `Key`.
    method_version : int
        Of the older method.
    value : float
        In the measure's unit.
    """

    name: str
    direction: str
    channel: str
    edge_kind: str
    dpi: int
    method_version: int
    value: float

    @property
    def key(self) -> Key:
        """What makes it comparable."""
        return Key(self.name, self.direction, self.channel, self.edge_kind, self.dpi)


@dataclass(frozen=True, slots=True)
class Record:
    """One qualification of one scanner, whole.

    Attributes
    ----------
    created : str
        ISO 8601, UTC.
    options : dict
        What the user told of the scans, by option: other options make another measurement.
    conditions : dict
        Words kept with the record.
    columns : tuple of ColumnProfile
        Of up to two blanks of each size and dpi: what a later check is compared with.
    decision : Decision
        What to do with the unit.
    identity : Identity or None
        Which unit it is, if anybody says.
    measured_before : tuple of MeasuredBefore
        Values that another method has taken the place of.
    """

    scanner: str
    created: str
    tool_version: str
    scans: tuple[ScanFacts, ...]
    measures: tuple[Measurement, ...]
    streaks: tuple[Streak, ...]
    glass_marks: tuple[Mark, ...]
    findings: tuple[Finding, ...]
    actions: tuple[Action, ...]
    outcome: Outcome
    legibility: tuple[Legibility, ...] = ()
    plan: Plan | None = None
    rejected: tuple[Rejected, ...] = ()
    options: dict[str, str] = field(default_factory=dict)
    conditions: dict[str, str] = field(default_factory=dict)
    columns: tuple[ColumnProfile, ...] = ()
    decision: Decision = field(default_factory=Decision)
    identity: Identity | None = None
    measured_before: tuple[MeasuredBefore, ...] = ()
    schema: str = SCHEMA

    def named(self, name: str) -> tuple[Measurement, ...]:
        """All measurements of one name that have a value."""
        return tuple(m for m in self.measures if m.name == name and m.value is not None)

    @property
    def diagnoses(self) -> tuple[Diagnosis, ...]:
        """Findings that name a cause, the gravest first."""
        return tuple(f for f in self.findings if isinstance(f, Diagnosis))

    @property
    def criteria(self) -> tuple[Criterion, ...]:
        """Findings against published limits."""
        return tuple(f for f in self.findings if isinstance(f, Criterion))


@dataclass(frozen=True, slots=True, eq=False)
class Qualification:
    """A record and the pictures that explain it, which are drawn but not kept."""

    record: Record
    evidence: tuple[Evidence, ...] = ()
