"""Jobs in pixels with planted faults and traps; what must be found, and what must not.

Written before a case was first run. Truth is what was planted (`tests.watch.jobs`).
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path

import cv2
import numpy as np

from scanqa.model.watched import Event, Watched
from scanqa.simulate.job_scanner import DirtLine, JobScanner
from scanqa.watch.events import events_of, watched
from scanqa.watch.judge import Job, advance
from scanqa.watch.line_watch import blind
from scanqa.watch.measure_page import measure_page
from tests.watch.jobs import Page, Play, blank, changed, dirty, write

LAYS_AGAIN_MM, BLOCK_PX = 0.4, 8
TURN_AT = 25  # page at which most faults begin


@dataclass(frozen=True)
class Told:
    """An event, the page at which it was first told, and with which action."""

    event: Event
    page: int


@dataclass(frozen=True)
class Result:
    """A job played to its end.

    Attributes
    ----------
    told : tuple of Told
        First told, in order.
    blind : (columns,)
        Of the sensor, when `TURN_AT` came.
    judged : tuple of (columns,)
        From `TURN_AT` on, the columns that each page let judge; a whole page may be left out.
    """

    watched: Watched
    told: tuple[Told, ...]
    blind: np.ndarray
    judged: tuple[np.ndarray, ...]
    dpi: float


Check = Callable[[Result], tuple[str, list[str]]]  # what is said, what is wrong


@dataclass(frozen=True)
class Case:
    """A job, its plan, what is checked.

    Attributes
    ----------
    blanks : bool
        Whoever scans lays a blank when asked for one.
    flat : dict
        Of the state, what a blank does not have: it lies flat where a book does not.
    """

    name: str
    play: Play
    plan: Callable[[Play], list[Page]]
    check: Check
    blanks: bool = True
    flat: dict[str, object] = field(default_factory=dict)


def run(case: Case) -> Result:
    """Play a job: pages are scanned one after the other, and a blank when it is asked for."""
    cv2.setNumThreads(1)
    plan, job = case.plan(case.play), Job()
    told: dict[int, Told] = {}
    blind_then = np.zeros(0)
    asked: set[int] = set()
    judged = []
    with tempfile.TemporaryDirectory() as folder:

        def scan(name: str, page: Page, seed: int) -> None:
            nonlocal job
            path = write(Path(folder), name, page, case.play.scanner, seed)
            job = advance(job, measure_page(path))
            path.unlink()

        for at, page in enumerate(plan):
            if at == TURN_AT and job.search is not None:
                blind_then = blind(job.search)
            scan(f"{at:04d}", page, case.play.seed * 100_000 + at)
            if at >= TURN_AT and job.search is not None:
                newest = job.search.newest[-1]
                nothing_ = np.zeros(job.search.width, np.bool_)
                mine = newest.number == job.facts[-1].number
                judged.append(np.isfinite(newest.off) if mine else nothing_)
            for event in events_of(job):
                told.setdefault(event.number, Told(event, at))
            open_ = {e.number for e in events_of(job) if e.action == "scan-blank"} - asked
            if case.blanks and open_:
                asked |= open_
                flat = replace(page, state=replace(page.state, **case.flat))  # type: ignore[arg-type]
                scan(f"blank-{at:04d}", blank(flat), case.play.seed * 100_000 + 50_000 + at)
    found = watched(job, "heron", "job")
    return Result(found, tuple(told.values()), blind_then, tuple(judged), case.play.scanner.dpi)


# --------------------------------------------------------------------------------- checks


def nothing(result: Result) -> tuple[str, list[str]]:
    """A sound job: nothing ordered."""
    said = ", ".join(f"{t.event.kind} at {t.page}" for t in result.told) or "nothing"
    wrong = [f"{len(result.watched.redo)} pages ordered"] if result.watched.redo else []
    return said, wrong


def lines(planted: Sequence[DirtLine], within: int, *, lossy: bool = False) -> Check:
    """Every planted line in a column that can be judged is found within so many pages that do."""

    def check(result: Result) -> tuple[str, list[str]]:
        px_mm = result.dpi / 25.4
        reach = BLOCK_PX / px_mm if lossy else LAYS_AGAIN_MM
        width_mm = len(result.blind) / px_mm
        wrong, found, judged, late = [], 0, 0, []
        own = [t for t in result.told if t.event.kind in ("line", "line-or-print")]
        fact = {page.file: page for page in result.watched.pages}
        places = []
        for each in own:
            at = each.event.at_mm or 0.0
            places.append(width_mm - at if fact[each.event.from_file].turned else at)
        for line in planted:
            column = round(line.at_mm * px_mm - 0.5)
            if result.blind[max(column - 1, 0) : column + 2].any():
                continue
            judged += 1
            near = [t for t, p in zip(own, places, strict=True) if abs(p - line.at_mm) <= reach]
            if near:
                after = near[0].page - TURN_AT + 1
                could = sum(int(page[column]) for page in result.judged[:after])
                late.append((after, could))
                found += could <= within
        other = [
            f"a line at {p:.1f} mm"
            for t, p in zip(own, places, strict=True)
            if all(abs(p - line.at_mm) > reach for line in planted) and t.event.kind == "line"
        ]
        wrong += other
        if found < 0.95 * judged:
            wrong.append(f"{found} of {judged} found within {within} pages")
        after = ", ".join(f"{pages} ({could})" for pages, could in sorted(late))
        said = f"{found} of {judged} in judged columns (of {len(planted)}) within {within}"
        return f"{said}; pages until told (that judged the column): {after}", wrong

    return check


def gone(line: DirtLine, first: int, last: int) -> Check:
    """A line that is cleaned away: exactly its pages are ordered."""

    def check(result: Result) -> tuple[str, list[str]]:
        asked = [f"{n:04d}.{result.watched.pages[0].file[-3:]}" for n in range(first, last + 1)]
        redo = list(result.watched.redo)
        wrong = [] if redo == asked else [f"ordered {redo[:1]} to {redo[-1:]}"]
        if any(e.lasts for e in result.watched.events if e.kind == "line"):
            wrong.append("told to last")
        return f"ordered {len(redo)} pages, {redo[0] if redo else ''} to {redo[-1:]}", wrong

    return check


def on_its_page(expected: dict[str, list[int]]) -> Check:
    """Kinds that one page shows: told at that page, of these pages and no others."""

    def check(result: Result) -> tuple[str, list[str]]:
        wrong, said = [], []
        for kind, pages in expected.items():
            events = [e for e in result.watched.events if e.kind == kind]
            names = [int(f[:4]) for e in events for f in e.files]
            first = [t.page for t in result.told if t.event.kind == kind]
            said.append(f"{kind}: {len(names)} pages, told at {first}")
            if names != pages:
                wrong.append(f"{kind} on {names}, not {pages}")
            if not first or first[0] != pages[0]:
                wrong.append(f"{kind} first told at {first}")
        others = {e.kind for e in result.watched.events if e.action == "scan-again"} - set(expected)
        wrong += [f"{kind} told" for kind in others]
        ordered = sorted(int(f[:4]) for f in result.watched.redo)
        if ordered != sorted({n for pages in expected.values() for n in pages}):
            wrong.append(f"ordered {ordered}")
        return "; ".join(said), wrong

    return check


def decided(kind: str, cause: str, *, within: int = 20, order: bool = False) -> Check:
    """Asked for by "scan one blank now" in time, and the blank decides rightly."""

    def check(result: Result) -> tuple[str, list[str]]:
        told = [t for t in result.told if t.event.kind == kind and t.page >= TURN_AT]
        wrong = []
        if not told:
            return "not told", ["not told"]
        first = told[0]
        if first.event.action != "scan-blank":
            wrong.append(f"asks for {first.event.action}")
        if first.page - TURN_AT + 1 > within:
            wrong.append(f"after {first.page - TURN_AT + 1} pages")
        now = next(e for e in result.watched.events if e.number == first.event.number)
        if now.cause != cause:
            wrong.append(f"the blank says {now.cause or 'nothing'}")
        if result.watched.redo and not order:
            wrong.append("pages ordered")
        size = "" if now.contrast_percent is None else f", {now.contrast_percent:+.1f} %"
        return f"told after {first.page - TURN_AT + 1} pages{size}; the blank: {now.cause}", wrong

    return check


def said_not_judged(result: Result) -> tuple[str, list[str]]:
    """Pages whose columns were moved afterwards: no line is told, and it is said why."""
    pages = [p for p in result.watched.pages if p.shows == "page"]
    left = sum(p.left_out in ("resampled", "columns") for p in pages)
    wrong = ["pages ordered"] if result.watched.redo else []
    if left < 0.8 * len(pages) and result.watched.columns_known:
        wrong.append(f"only {left} of {len(pages)} said to be left out")
    known = "known" if result.watched.columns_known else "not recognised, which is said"
    return f"{left} of {len(pages)} left out of the search; column pattern {known}", wrong


# ---------------------------------------------------------------------------------- plans


def scattered(seed: int, contrast: float, count: int = 8) -> list[DirtLine]:
    """Lines of dirt over the glass, dark and bright, 8 mm apart or more."""
    rng = np.random.default_rng((seed, 3))
    while True:
        at = np.sort(rng.uniform(5, 205, count))
        if np.diff(at).min() > 8:
            break
    ways = rng.choice([-1, 1], count)
    return [DirtLine(float(x), 0.13, float(w * contrast)) for x, w in zip(at, ways, strict=True)]


def with_lines(planted: Sequence[DirtLine]) -> Callable[[Play], list[Page]]:
    """A plan with lines from `TURN_AT` on."""

    def plan(play: Play) -> list[Page]:
        made = play.plan()
        for line in planted:
            made = dirty(made, line, TURN_AT, play.pages)
        return made

    return plan


def deskewed(codes: np.ndarray, degrees: float) -> np.ndarray:
    """Turned by a few tenths of a degree afterwards, as software does that sets print upright."""
    height, width = codes.shape[:2]
    turn = cv2.getRotationMatrix2D((width / 2, height / 2), degrees, 1.0)
    made = cv2.warpAffine(codes, turn, (width, height), flags=cv2.INTER_LINEAR, borderValue=235)
    return made.reshape(codes.shape)


def all_deskewed(play: Play) -> list[Page]:
    """Every page of the job deskewed afterwards."""
    rng = np.random.default_rng(play.seed)
    plan, angles = play.plan(), rng.normal(0, 0.4, play.pages)
    return [
        replace(page, after=partial(deskewed, degrees=float(angle)))
        for page, angle in zip(plan, angles, strict=True)
    ]


def rules_begin(play: Play, *, bleeds: bool = False, ink: float = 0.3) -> list[Page]:
    """A rule near the outer edge of every page from `TURN_AT` on."""
    return [
        replace(page, laid=replace(page.laid, rule_mm=30.0, rule_ink=ink, rule_bleeds=bleeds))
        if at >= TURN_AT
        else page
        for at, page in enumerate(play.plan())
    ]


def driver_changes(play: Play) -> list[Page]:
    """Cropping, clipping, dpi and compression, each on pages of its own."""
    plan = play.plan()
    plan[20] = replace(plan[20], after=lambda codes: codes[:, : int(0.9 * codes.shape[1])])
    plan[26] = changed([plan[26]], 0, 0, light=1.35)[0]
    plan[32] = replace(plan[32], dpi=150.0)
    plan[38] = replace(plan[38], after=lambda codes: codes[: int(0.8 * codes.shape[0]), 40:])

    def through_jpeg(codes: np.ndarray) -> np.ndarray:
        coded = cv2.imencode(".jpg", codes, [cv2.IMWRITE_JPEG_QUALITY, 85])[1]
        return cv2.imdecode(coded, cv2.IMREAD_GRAYSCALE)[..., None]

    return [replace(p, after=through_jpeg) if at >= 45 else p for at, p in enumerate(plan)]


def to_jpeg(play: Play) -> list[Page]:
    """The driver saves JPEG from page 30 on."""
    return [
        replace(p, format="jpg", quality=90) if at >= 30 else p for at, p in enumerate(play.plan())
    ]


def darker_paper(play: Play) -> list[Page]:
    """Another paper from `TURN_AT` on."""
    return [
        replace(p, laid=replace(p.laid, paper=p.laid.paper * 0.95)) if at >= TURN_AT else p
        for at, p in enumerate(play.plan())
    ]


def slipped(play: Play) -> list[Page]:
    """The book slips from the edge: deeper shadow, pages askew, shifted."""
    plan = changed(play.plan(), TURN_AT, play.pages, gutter=0.30, gutter_mm=16.0)
    return [
        replace(p, laid=replace(p.laid, turn_deg=p.laid.turn_deg + 0.6, shift_mm=(6.0, 0.0)))
        if at >= TURN_AT
        else p
        for at, p in enumerate(plan)
    ]


TEXTS = ("text", "columns", "tinted")
SOFT = 1.25  # factor on the optics' blur of 0.6 samples: with the letters' own, SFR50 less 15 %


def cases() -> list[Case]:
    """All of them."""
    half, jpeg90, jpeg75 = (scattered(s, c) for s, c in ((1, 0.005), (2, 0.01), (3, 0.02)))
    again, colour = scattered(4, 0.005), scattered(5, 0.01)
    one = DirtLine(71.3, 0.13, -0.01)
    bare = Play(30, pages=48)
    return [
        Case("lines of 0.5 %, lossless, half of the pages turned afterwards",
             Play(1, turned=True), with_lines(half), lines(half, 5)),
        Case("lines of 0.5 %, lossless, none turned, tightly laid",
             Play(4, loose=(0.15, 0.06)), with_lines(again), lines(again, 5)),
        Case("lines of 1 %, JPEG 90", Play(2, turned=True, format="jpg", quality=90),
             with_lines(jpeg90), lines(jpeg90, 10, lossy=True)),
        Case("lines of 2 %, JPEG 75", Play(3, format="jpg", quality=75),
             with_lines(jpeg75), lines(jpeg75, 10, lossy=True)),
        Case("lines of 1 %, ledgers and tables", Play(5, kinds=("ledger", "table", "ruled")),
             with_lines(colour), lines(colour, 5)),
        Case("a line of 1 % from page 25 to 40, then cleaned", Play(6, turned=True),
             lambda play: dirty(play.plan(), one, 25, 40), gone(one, 25, 40)),
        Case("cropping, clipping, another dpi, JPEG inside TIFF from page 45", Play(7),
             driver_changes, on_its_page({"crop": [20, 38], "clipped": [26], "dpi": [32],
                                          "compression": list(range(45, 60))})),
        Case("JPEG files from page 30", Play(8), to_jpeg,
             on_its_page({"compression": list(range(30, 60))})),
        Case("light less by 5 %: the scanner", Play(9),
             lambda play: changed(play.plan(), TURN_AT, 60, light=0.95),
             decided("light", "scanner")),
        Case("paper darker by 5 %: the book", Play(10), darker_paper, decided("light", "book")),
        Case("left side softer by 15 %: the scanner", Play(11, kinds=TEXTS),
             lambda play: changed(play.plan(), TURN_AT, 60, soft=(SOFT, 1.0)),
             decided("sharpness", "scanner")),
        Case("right side softer by 15 %, paper that rises: the book", Play(12, kinds=TEXTS),
             lambda play: changed(play.plan(), TURN_AT, 60, soft=(1.0, SOFT)),
             decided("sharpness", "book"), flat={"soft": (1.0, 1.0)}),
        Case("the book slips: the book", Play(13, kinds=TEXTS), slipped, decided("gutter", "book")),
        Case("trap: rules begin, tightly laid, none turned", Play(14, loose=(0.05, 0.01)),
             rules_begin, nothing),
        Case("trap: rules begin on fronts and backs, half turned, tightly laid",
             Play(15, turned=True, loose=(0.05, 0.01)), rules_begin, nothing),
        Case("trap: faint rules that bleed begin, tightly laid: line or print, the blank decides",
             Play(16, loose=(0.05, 0.01)),
             lambda play: rules_begin(play, bleeds=True, ink=0.93),
             decided("line-or-print", "book")),
        Case("trap: every page deskewed afterwards", Play(17), all_deskewed, said_not_judged),
        Case("sound: all kinds, half turned", Play(18, turned=True), Play.plan, nothing),
        Case("sound: ledgers, tightly laid", Play(19, kinds=("ledger",), loose=(0.05, 0.02)),
             Play.plan, nothing),
        Case("sound: two columns and pictures, JPEG 75",
             Play(20, kinds=("columns", "picture"), format="jpg", quality=75), Play.plan, nothing),
        Case("sound: colour, a pattern of 0.02 % only",
             replace(bare, scanner=JobScanner(dpi=200, pattern=0.0002, seed=5), turned=True),
             lambda play: [replace(p, colour=True) for p in play.plan()], nothing),
    ]  # fmt: skip


@dataclass(frozen=True)
class Row:
    """A case as it came out."""

    name: str
    said: str
    wrong: list[str] = field(default_factory=list)


def row(case: Case) -> Row:
    """Play a case and check it."""
    said, wrong = case.check(run(case))
    return Row(case.name, said, wrong)
