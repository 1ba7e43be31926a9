"""The main job as one call: files in, a `Record` out.

Says which role feeds which measure; knows the rooms and no numerics.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from scanqa import __version__
from scanqa.errors import BadOption, ScanqaError, UnreadableScan
from scanqa.findings import judge, plan, read_uses
from scanqa.model import (
    FileSize,
    Floats,
    Job,
    Judgement,
    Placement,
    Plan,
    Record,
    Rejected,
    Results,
    Role,
    ScanFacts,
    Side,
)
from scanqa.proof import proof

SUFFIXES = frozenset({".tif", ".tiff", ".png", ".jpg", ".jpeg"})

Progress = Callable[[int, int, str], None]  # steps done, steps in all, what is being done


@dataclass(frozen=True, slots=True)
class Options:
    """What the user knows and the files do not say.

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
    reference : mapping or None
        Measured values of the tone patches, from a CGATS file.
    edge_response : callable or None
        Response of the printed edges at frequencies in cy/mm, to be divided out.
    uses : Path or None
        File of the user's own kinds of work and limits, in place of those of the package.
    job : Job or None
        Pages that are to be scanned; the record then holds a plan for them.
    earlier : Results or None
        What the same scanner gave at an earlier check, for the diagnosis.
    roles : mapping from path to role
        Roles that override what is recognised.
    conditions : mapping
        Words to keep with the record (light, operator, temperature …).
    """

    dpi: float | None = None
    book_edge: Side | None = None
    curve: str | None = None
    bars_mm: tuple[float, float] | None = None
    ramp_height_mm: float | None = None
    line_time_ms: float | None = None
    dead_margins_mm: Mapping[Side, float] = field(default_factory=dict)
    reference: Mapping[str, Mapping[str, float]] | None = None
    edge_response: Callable[[Floats], Floats] | None = None
    uses: Path | None = None
    job: Job | None = None
    earlier: Results | None = None
    roles: Mapping[Path, Role] = field(default_factory=dict)
    conditions: Mapping[str, str] = field(default_factory=dict)


def find_scans(paths: Sequence[Path]) -> tuple[list[Path], list[Rejected]]:
    """Files to read: those named, and the images in the folders named (not below them)."""
    files: list[Path] = []
    rejected: list[Rejected] = []
    for path in paths:
        if not path.is_dir():
            files.append(path)
            continue
        inside = sorted(
            p for p in path.iterdir() if p.suffix.lower() in SUFFIXES and not p.is_dir()
        )
        if not inside:
            error = UnreadableScan(
                path, "the folder holds no scans", "put TIFF, PNG or JPEG files in it"
            )
            rejected.append(Rejected(str(path), str(error)))
        files += inside
    return list(dict.fromkeys(files)), rejected


def qualify(
    paths: Sequence[Path],
    *,
    scanner: str,
    options: Options | None = None,
    progress: Progress = lambda done, total, words: None,
) -> Record:
    """Measure and judge one scanner from its scans.

    Parameters
    ----------
    paths : sequence of Path
        Files and folders.
    scanner : str
        The name that the record goes by.
    options : Options
        What the user adds.
    progress : callable
        Told before each step.

    Returns
    -------
    Record
        Files that could not be used are in `Record.rejected`; the others are measured all the
        same. A record may have no scans at all: then nothing could be used.

    Raises
    ------
    BadOption
        If an option cannot be used whatever the files.
    """
    options = options or Options()
    uses = read_uses(options.uses) if options.uses else None
    files, rejected = find_scans([*paths, *options.roles])
    total = len(files) + len(MEASURE_STEPS) + 1
    placements: list[Placement] = []
    with ThreadPoolExecutor(1) as second_core:
        for step, path in enumerate(files):
            progress(step, total, f"reading {path.name}")
            try:
                found = _place(path, options)
            except BadOption:
                raise
            except ScanqaError as error:
                rejected.append(Rejected(str(path), str(error)))
                continue
            placements += found
            second_core.submit(getattr, found[0].scan, "sha256")  # kept by the scan for `_facts`
        results = Results()
        for step, (words, measure) in enumerate(MEASURE_STEPS.items()):
            progress(len(files) + step, total, f"measuring {words}")
            if placements:
                results += measure(placements, options)
        results = _trusted(results, placements)
    progress(total - 1, total, "judging")
    scans = tuple(_facts(placements))
    judgement = judge(results, scans, uses=uses, earlier=options.earlier)
    crops = proof(judgement.findings, results, placements, book_edge=options.book_edge)
    return Record(
        scanner=scanner,
        created=datetime.now(UTC).isoformat(timespec="seconds"),
        tool_version=__version__,
        scans=scans,
        results=results + crops,
        judgement=judgement,
        rejected=tuple(rejected),
        conditions=dict(options.conditions),
        plan=_plan(options.job, results, scans, judgement, placements),
    )


def _trusted(results: Results, placements: Sequence[Placement]) -> Results:
    """What is left when hidden processing has been accounted for."""
    from scanqa.measures import processing

    beds = {placement.scan.name for placement in _of(placements, "blank", "edge-strip")}
    return processing.withhold(results, beds=beds)


def _place(path: Path, options: Options) -> tuple[Placement, ...]:
    from scanqa.locate import locate
    from scanqa.scans.linear import linear
    from scanqa.scans.open import open_scan
    from scanqa.scans.overview import overview

    scan = open_scan(path)
    light = linear(scan, curve=options.curve)
    role = options.roles.get(path)
    return locate(scan, overview(scan), light, dpi=options.dpi, role=role)


def _facts(placements: Sequence[Placement]) -> Iterator[ScanFacts]:
    """One for each scan, whatever the number of pieces found on it."""
    seen: set[int] = set()
    for placement in placements:
        scan = placement.scan
        if id(scan) in seen:
            continue
        seen.add(id(scan))
        yield ScanFacts(
            file=scan.name,
            role=placement.role,
            width_px=scan.width_px,
            height_px=scan.height_px,
            bits=scan.bits,
            channels=scan.channels,
            dpi=placement.dpi,
            dpi_source=placement.dpi_source,
            rotation_deg=placement.rotation_deg,
            sheet=placement.sheet.id if placement.sheet else None,
            format=scan.format,
            lossy=scan.lossy,
            light=placement.light.source,
            sha256=scan.sha256,
            modified=scan.modified,
            notes=placement.notes,
        )


# What compresses like the pages of a job, the likest first.
LIKE_PAGES: dict[Role, str] = {
    "open-book": "an open book, the whole image",
    "back-print": "a printed sheet, not a page of yours",
    "bed-sheet": "a printed sheet, not a page of yours",
    "blank": "blank paper: pages with print take more",
}


def _plan(
    job: Job | None,
    results: Results,
    scans: tuple[ScanFacts, ...],
    judgement: Judgement,
    placements: Sequence[Placement],
) -> Plan | None:
    if job is None or not scans:
        return None
    from scanqa.scans.compressed import bytes_per_pixel

    sizes: dict[str, FileSize] = {}
    for role, words in LIKE_PAGES.items():
        like = _of(placements, role)
        if like:
            sizes = bytes_per_pixel(like[0].scan, what=words)
            break
    return plan(job, results, scans, judgement.legibility, sizes)


def _of(placements: Sequence[Placement], *roles: Role) -> list[Placement]:
    return [placement for placement in placements if placement.role in roles]


# Each step imports its own measure, so that asking for help loads none of them.


def _sharpness(placements: Sequence[Placement], options: Options) -> Results:
    from scanqa.measures import sharpness

    sheets = _of(placements, "bed-sheet", "claim")
    return sharpness.measure(sheets, edge_response=options.edge_response)


def _colour(placements: Sequence[Placement], options: Options) -> Results:
    from scanqa.measures import colour

    return colour.measure(_of(placements, "bed-sheet"), _of(placements, "blank"))


def _geometry(placements: Sequence[Placement], options: Options) -> Results:
    from scanqa.measures import geometry

    return geometry.measure(_of(placements, "bed-sheet"), bars_mm=options.bars_mm)


def _claim(placements: Sequence[Placement], options: Options) -> Results:
    from scanqa.measures import claim, processing

    printed = _of(placements, "bed-sheet", "claim")
    whole_bed = _of(placements, "blank", "dark", "edge-strip", "open-book")
    return claim.measure(printed) + processing.measure([*printed, *whole_bed])


def _streaks(placements: Sequence[Placement], options: Options) -> Results:
    from scanqa.measures import banding, streaks

    blanks = _of(placements, "blank")
    return streaks.measure(blanks) + banding.measure(blanks, line_time_ms=options.line_time_ms)


def _glass(placements: Sequence[Placement], options: Options) -> Results:
    from scanqa.measures import glass

    return glass.measure(_of(placements, "blank"))


def _shading(placements: Sequence[Placement], options: Options) -> Results:
    from scanqa.measures import drift, shading

    blanks = _of(placements, "blank")
    return shading.measure(blanks) + drift.measure(blanks)


def _edges(placements: Sequence[Placement], options: Options) -> Results:
    from scanqa.measures import edges

    return edges.measure(
        _of(placements, "blank"), _of(placements, "edge-strip"), read_mm=options.dead_margins_mm
    )


def _gutter(placements: Sequence[Placement], options: Options) -> Results:
    from scanqa.measures import gutter, ramp

    blanks, ramps = _of(placements, "blank"), _of(placements, "gutter-ramp")
    books = _of(placements, "open-book")
    height = options.ramp_height_mm
    return gutter.measure(
        books, book_edge=options.book_edge, ramps=ramps, ramp_height_mm=height, blanks=blanks
    ) + ramp.measure(ramps, height_mm=height, blanks=blanks)


def _noise(placements: Sequence[Placement], options: Options) -> Results:
    from scanqa.measures import noise

    return noise.measure(_of(placements, "blank"), _of(placements, "dark"))


def _tone(placements: Sequence[Placement], options: Options) -> Results:
    from scanqa.measures import backing, tone, veil

    blanks, darks = _of(placements, "blank"), _of(placements, "dark")
    levels = tone.measure(blanks, darks, placements, reference=options.reference)
    levels += veil.measure(_of(placements, "bed-sheet"))
    return levels + backing.measure(_of(placements, "back-print"))


def _pace(placements: Sequence[Placement], options: Options) -> Results:
    from scanqa.measures import pace
    from scanqa.scans.taken import seconds_taken

    seconds = {p.scan.name: taken for p in placements if (taken := seconds_taken(p.scan))}
    return pace.measure(placements, seconds=seconds)


MEASURE_STEPS: dict[str, Callable[[Sequence[Placement], Options], Results]] = {
    "sharpness": _sharpness,
    "colour registration": _colour,
    "geometry": _geometry,
    "dpi and processing": _claim,
    "streaks and banding": _streaks,
    "the glass": _glass,
    "shading and drift": _shading,
    "edges": _edges,
    "the gutter": _gutter,
    "noise": _noise,
    "tone": _tone,
    "pace": _pace,
}
