"""The main job as one call: files in, a `Qualification` out.

A loop over the families of the catalogue: each says which roles of scans it takes, and the room of
its name in `scanqa.measures` measures them. Then what hidden processing falsifies is taken back,
judged, put in words, and proved with crops of the real pixels.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import nullcontext
from dataclasses import asdict, replace
from datetime import UTC, datetime
from functools import partial
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np

from scanqa.catalogue import FAMILIES
from scanqa.findings import Use, judge, plan, read_uses
from scanqa.model import (
    FileSize,
    Identity,
    Judgement,
    PaperLies,
    Placement,
    Plan,
    Qualification,
    Record,
    Rejected,
    Results,
    Role,
    ScanFacts,
    Told,
    of_role,
)
from scanqa.on_paper import cut_to_paper, put_back
from scanqa.placing import check_unchanged, find_scans, placed
from scanqa.proof import proof
from scanqa.scans.one_thread import one_thread
from scanqa.side_by_side import processes_to_use, side_by_side
from scanqa.summary import summarise
from scanqa.version import __version__
from scanqa.words.of_judgement import worded
from scanqa.words.of_plan import worded_plan

RESPONSE_AT_CY_MM = np.linspace(0.0, 25.0, 26)  # where a response is read to tell it from others

NOTHING_TOLD = Told()
LONGEST = (  # families by the time that they take, the longest first
    "claim", "colour", "sharpness", "processing", "noise", "gutter", "streaks", "glass"
)  # fmt: skip
LOADED_LATE = ("scipy.fft", "scipy.linalg", "skimage.color.colorconv")  # by several families
OF_WHOLE_IMAGES = ("processing", "pace")  # families that compare sizes, not light

Progress = Callable[[int, int, str], None]  # steps done, steps in all, what is being done
Meanwhile = Callable[[Collection[Results]], None]

# What compresses like the pages of a job, the likest first.
LIKE_PAGES: dict[Role, str] = {
    "open-book": "an open book, the whole image",
    "back-print": "a printed sheet, not a page of yours",
    "bed-sheet": "a printed sheet, not a page of yours",
    "blank": "blank paper: pages with print take more",
}


def _untold(done: int, total: int, words: str) -> None:
    """Progress that nobody asked for."""


def qualify(
    paths: Sequence[Path],
    *,
    scanner: str,
    told: Told = NOTHING_TOLD,
    progress: Progress = _untold,
    processes: int | None = None,
    meanwhile: Meanwhile | None = None,
) -> Qualification:
    """Measure and judge one scanner from its scans.

    Parameters
    ----------
    paths : sequence of Path
        Files and folders.
    scanner : str
        The name that the record goes by.
    told : Told
        What the user adds.
    progress : callable
        Told before each step.
    processes : int, optional
        At most so many, 1 for this one alone (`side_by_side`); the result is the same.
    meanwhile : callable, optional
        What this process does while others measure (load what shows it): told results so far.

    Returns
    -------
    Qualification
        Files that could not be used are in `Record.rejected`; a record may have no scans at all.

    Raises
    ------
    BadOption, UnreadableScan
        If an option cannot be used whatever the files; if a file changed while it was measured.
    """
    uses = read_uses(told.uses) if told.uses else None
    files, rejected = find_scans([*paths, *told.roles])
    how = (told, progress, processes, meanwhile)
    placements, unusable, results, papers = _read_and_measured(files, *how)
    scans = tuple(_facts(placements, papers))
    judgement = _judged(results, scans, uses, told.earlier)
    crops = proof(judgement.findings, results, placements, book_edge=told.book_edge).evidence
    record = Record(
        scanner=scanner,
        created=datetime.now(UTC).isoformat(timespec="seconds"),
        tool_version=__version__,
        scans=scans,
        measures=results.measurements,
        glass_marks=results.marks,
        plan=_plan(told, results, scans, judgement, placements),
        rejected=(*rejected, *unusable),
        options=options_said(told),
        conditions=dict(told.conditions),
        columns=results.columns,
        identity=_identity(told, files, scanner),
        **_judged_fields(judgement),
    )
    return Qualification(record, results.evidence + crops)


def told_from(record: Record, earlier: Record | None, uses: Path | None = None) -> Record:
    """A record judged beside an earlier check, which it was measured without.

    It needs no pixels, so that checks can be measured in any order and at once. What only the
    pixels of both show is not found: lines too faint for one check (`Streak.since`).

    Parameters
    ----------
    record : Record
        From `qualify`, whole.
    earlier : Record or None
        What `Told.earlier` would have been.
    uses : Path or None
        What `Told.uses` was.
    """
    results = Results(record.measures, record.streaks, record.glass_marks, (), record.columns)
    own = read_uses(uses) if uses else None
    return replace(record, **_judged_fields(_judged(results, record.scans, own, earlier)))


def _judged_fields(judgement: Judgement) -> dict[str, Any]:
    """The fields of a record that come from its judgement."""
    names = ("streaks", "findings", "actions", "outcome", "legibility", "decision")
    return {name: getattr(judgement, name) for name in names}


# --------------------------------------------------------------------------------- measures


def _read_and_measured(
    files: Sequence[Path],
    told: Told,
    progress: Progress,
    processes: int | None,
    meanwhile: Meanwhile | None,
) -> tuple[list[Placement], list[Rejected], Results, Sequence[PaperLies]]:
    """What lies on the scans, files that cannot be used, all values, and how the blanks lie."""
    total, count = len(files) + len(FAMILIES) + 2, processes_to_use(processes)
    with one_thread() if count > 1 else nullcontext():
        placements, unusable = placed(
            files, told, count, lambda at, of: progress(at, total, of), _load_rooms
        )
        results, papers = _measured(
            placements, told, count, lambda at, of: progress(len(files) + at, total, of), meanwhile
        )
    check_unchanged(placements)
    progress(total - 1, total, "judging")
    return placements, unusable, results, papers


def _load_rooms(_: object) -> None:
    """Load all that measures: once, and not by each process that will."""
    for name in (*(f"scanqa.measures.{name}" for name in FAMILIES), *LOADED_LATE):
        import_module(name)


def _measured(
    placements: Sequence[Placement],
    told: Told,
    processes: int,
    progress: Callable[[int, str], None],
    meanwhile: Meanwhile | None,
) -> tuple[Results, Sequence[PaperLies]]:
    """What is left of all values when hidden processing is accounted for, and how blanks lie."""
    from scanqa.measures import processing
    from scanqa.reading.paper_lies import paper_lies

    on_paper, cuts = cut_to_paper(placements)
    works = _families(placements, on_paper, told)
    works.append(("", "how paper lies", partial(paper_lies, of_role(placements, "blank"))))

    def results_so_far(done: Collection[Any]) -> None:
        if meanwhile is not None:
            meanwhile([found for found in done if isinstance(found, Results)])

    *measured, papers = side_by_side(
        lambda work: work[2](),
        works,
        cost=lambda work: -LONGEST.index(work[0]) if work[0] in LONGEST else -len(LONGEST),
        begun=lambda done, work: progress(done, f"measuring: {work[1]}"),
        processes=processes,
        meanwhile=results_so_far,
    )
    results = put_back(processing.bounded(sum(measured, Results()), on_paper), cuts)
    return processing.settled(results, placements), papers


def _families(
    placements: Sequence[Placement], on_paper: Sequence[Placement], told: Told
) -> list[tuple[str, str, Callable[[], Any]]]:
    """Name and title of each family that has scans, and how it is measured."""
    works: list[tuple[str, str, Callable[[], Any]]] = []
    for family in FAMILIES.values():
        of = placements if family.name in OF_WHOLE_IMAGES else on_paper
        scans = [
            scan
            for scan in of_role(of, *family.roles)
            if family.without_dpi or scan.dpi_source != "assumed"
        ]
        if scans:  # imported here, so that asking for help loads none of them
            measure = import_module(f"scanqa.measures.{family.name}").measure
            works.append((family.name, family.title.lower(), partial(measure, scans, told)))
    return works


def _judged(
    results: Results,
    scans: tuple[ScanFacts, ...],
    uses: Sequence[Use] | None,
    earlier: Record | None,
) -> Judgement:
    """Ids and numbers of the judgement, then its words."""
    before = summarise(earlier.measures, earlier.scans) if earlier else ()
    return worded(judge(results, scans, uses=uses, earlier=before), results)


def _facts(placements: Sequence[Placement], papers: Sequence[PaperLies]) -> Iterator[ScanFacts]:
    """One for each scan, whatever the number of pieces found on it; papers: how its blanks lie."""
    lies = dict(zip(map(id, of_role(placements, "blank")), papers, strict=True))
    seen: set[int] = set()
    by_hash: dict[str, str] = {}
    for placement in placements:
        scan = placement.scan
        if id(scan) in seen:
            continue
        seen.add(id(scan))
        notes = [*scan.notes, *placement.notes]
        if scan.sha256 in by_hash:
            notes.append(f"the same file as {by_hash[scan.sha256]}: it tells nothing more")
        by_hash.setdefault(scan.sha256, scan.name)
        yield ScanFacts(
            file=scan.name,
            role=placement.role,
            width_px=scan.width_px,
            height_px=scan.height_px,
            bits=scan.bits,
            channels=scan.channels,
            dpi=None if placement.dpi_source == "assumed" else placement.dpi,
            dpi_source=placement.dpi_source,
            rotation_deg=placement.rotation_deg,
            sheet=placement.sheet.id if placement.sheet else None,
            format=scan.format,
            lossy=scan.lossy,
            light=placement.light.source,
            sha256=scan.sha256,
            modified=scan.modified or None,
            notes=tuple(dict.fromkeys(notes)),
            paper=lies.get(id(placement), ""),
            driver=scan.driver,
            border_mm=placement.border_mm,
        )


def _identity(told: Told, files: Sequence[Path], scanner: str) -> Identity | None:
    """Which unit it is: as told by its driver, blanks filled by what the files state."""
    from scanqa.scans.origin import stated_identity

    stated = stated_identity(files, scanner)
    if told.identity is None or stated is None:
        return told.identity or stated
    blanks = {
        name: words for name, words in asdict(stated).items() if not getattr(told.identity, name)
    }
    return replace(told.identity, **blanks)


# ----------------------------------------------------------------------------- job, options


def _plan(
    told: Told,
    results: Results,
    scans: tuple[ScanFacts, ...],
    judgement: Judgement,
    placements: Sequence[Placement],
) -> Plan | None:
    if told.job is None or not scans:
        return None
    from scanqa.scans.compressed import bytes_per_pixel

    sizes: dict[str, FileSize] = {}
    for role, words in LIKE_PAGES.items():
        like = of_role(placements, role)
        if like:
            sizes = bytes_per_pixel(like[0].scan, what=words)
            break
    found = plan(told.job, results, scans, judgement.legibility, sizes)
    return worded_plan(found, judgement.legibility)


def options_said(told: Told) -> dict[str, str]:
    """What was told, by option: with other options the same scans are another measurement."""
    response = told.edge_response
    said = {
        "dpi": _number_said(told.dpi),
        "book-edge": told.book_edge or "",
        "curve": _curve_said(told.curve),
        "bars": " ".join(map(_number_said, told.bars_mm or ())),
        "ramp-height": _number_said(told.ramp_height_mm),
        "line-time": _number_said(told.line_time_ms),
        "dead-margin": " ".join(f"{side} {mm:g}" for side, mm in told.dead_margins_mm.items()),
        "print": told.print_label,
        "paper": told.paper or "",
        "card-paper": told.card_paper or "",
        "role": " ".join(f"{role}={path.name}" for path, role in told.roles.items()),
        "reference": _digest(told.reference) if told.reference is not None else "",
        "edge-response": _digest(response(RESPONSE_AT_CY_MM).tolist()) if response else "",
        "uses": _file_said(told.uses) if told.uses else "",
    }
    return {option: words for option, words in said.items() if words}


def _number_said(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def _digest(value: Mapping[str, object] | list[float]) -> str:
    """A short hash over values, for what is too long to be said."""
    text = json.dumps(value, sort_keys=True)
    return f"sha256:{hashlib.sha256(text.encode()).hexdigest()[:16]}"


def _file_said(path: Path) -> str:
    return f"{path.name} sha256:{hashlib.sha256(path.read_bytes()).hexdigest()[:16]}"


def _curve_said(curve: str | None) -> str:
    return _file_said(Path(curve)) if curve and Path(curve).is_file() else curve or ""
