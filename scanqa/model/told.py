"""What the user knows and the files do not say."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from scanqa.catalogue import PaperKind, Role, Side
from scanqa.model.decided import Identity
from scanqa.model.record import Record
from scanqa.model.terms import Floats
from scanqa.model.work import Job

EdgeResponse = Callable[[Floats], Floats]  # frequencies in cy/mm to response


@dataclass(frozen=True, slots=True)
class Told:
    """Everything that measures and judgement take from the user.

    Attributes
    ----------
    dpi : float or None
        Sampling of scans whose file does not say it, or says it wrongly.
    book_edge : str or None
        The side of the image where the spine lies.
    curve : str or None
        Tone curve of the scanner when it is known: ``linear``, ``srgb``, a gamma, or a file.
    bars_mm : (across, down) or None
        Lengths of the bed sheet's two bars as measured with a steel rule.
    ramp_height_mm : float or None
        Height of the gutter ramp at its lip as measured with a rule.
    line_time_ms : float or None
        Time that the scanner takes for one row, when it is known.
    dead_margins_mm : mapping from side to mm
        Dead margins read by eye from the scale of the edge strips.
    print_label : str
        Name of the printed sheet, so that values of one print are known to share its error.
    paper, card_paper : str or None
        Kind of paper of the printed sheet, and of the edge card.
    reference : mapping or None
        Measured values of the tone patches, from a CGATS file.
    edge_response : callable or None
        Response of the printed edges at frequencies in cy/mm, to be divided out.
    uses : Path or None
        File of the user's own kinds of work and limits, in place of those of the package.
    job : Job or None
        Pages that are to be scanned; the record then holds a plan for them.
    roles : mapping from path to role
        Roles that override what is recognised.
    conditions : mapping
        Words to keep with the record (light, operator, temperature …).
    earlier : Record or None
        An earlier check of the same scanner: shows a lamp that has faded since, and lines that are
        new since and too faint for one check.
    identity : Identity or None
        Which unit it is, as its driver says; what the files state fills the blanks.
    """

    dpi: float | None = None
    book_edge: Side | None = None
    curve: str | None = None
    bars_mm: tuple[float, float] | None = None
    ramp_height_mm: float | None = None
    line_time_ms: float | None = None
    dead_margins_mm: Mapping[Side, float] = field(default_factory=dict)
    print_label: str = ""
    paper: PaperKind | None = None
    card_paper: PaperKind | None = None
    reference: Mapping[str, Mapping[str, float]] | None = None
    edge_response: EdgeResponse | None = None
    uses: Path | None = None
    job: Job | None = None
    roles: Mapping[Path, Role] = field(default_factory=dict)
    conditions: Mapping[str, str] = field(default_factory=dict)
    earlier: Record | None = None
    identity: Identity | None = None
