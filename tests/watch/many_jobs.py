"""Two hundred sound jobs of 400 pages, and as many again with a line, from measured pages.

By hand, some twenty minutes::

    python -m tests.watch.many_jobs --write   # into tests/watch/many_jobs.md

Pages are drawn and scanned by the simulator, saved, read and measured once (`pool`); a job draws
400 of them: mixed, or chapter by chapter, loosely or tightly laid, half of them turned or none. A
line is planted in the measured columns, so what JPEG does to lines is not in here, but in
`tests.watch`. Truth is what was planted.
"""

from __future__ import annotations

import argparse
import pickle
import sys
import tempfile
import time
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np

from scanqa.simulate import one_thread
from scanqa.simulate.job_pages import KINDS
from scanqa.simulate.job_scanner import JobScanner
from scanqa.watch.column_lines import Columns
from scanqa.watch.events import events_of, redo_of
from scanqa.watch.features import PageFeatures
from scanqa.watch.judge import Job, advance
from scanqa.watch.line_watch import blind
from scanqa.watch.measure_page import measure_page
from tests.watch.jobs import Play, files

TABLE = Path(__file__).with_name("many_jobs.md")
POOL = 20  # pages of each kind, placement and way
APART = POOL - 1  # pages: of one kind laid one way there are no more than `POOL`
PAGES, JOBS, PLANTED = 400, 200, 100
LOOSE = {"loose": (0.7, 0.2), "tight": (0.1, 0.02)}
CONTRASTS = (0.3, 0.5)  # per cent of a column of the reduced page
WITHIN = 5

Pool = dict[tuple[str, str, bool], list[PageFeatures]]


def pool(*, each: int = POOL) -> Pool:
    """Measured pages by kind, placement, and whether they were turned."""
    made: Pool = {}
    with tempfile.TemporaryDirectory() as folder:
        for number, (laid, loose) in enumerate(LOOSE.items()):
            for at, kind in enumerate(KINDS):
                play = Play(
                    100 + 10 * number + at,
                    2 * each,
                    (kind,),
                    turned=True,
                    loose=loose,
                    scanner=JobScanner(dpi=150),
                    blank_first=False,
                )
                plan = play.plan()
                for page, path in zip(plan, files(Path(folder), play, plan), strict=True):
                    key = (kind, laid, page.state.upside_down)
                    made.setdefault(key, []).append(measure_page(path))
                    path.unlink()
                print(f"{kind}, {laid}", file=sys.stderr, flush=True)
    return made


def drawn(pages: Pool, rng: np.random.Generator) -> list[tuple[PageFeatures, bool]]:
    """The pages of a job, and whether each was turned."""
    laid = str(rng.choice(list(LOOSE)))
    kinds = [str(kind) for kind in rng.choice(list(KINDS), int(rng.integers(1, 5)), replace=False)]
    turned = bool(rng.random() < 0.5)
    chapters = bool(rng.random() < 0.5)
    made, kind = [], kinds[0]
    drawn_pages: list[tuple[PageFeatures, bool]] = []
    for at in range(PAGES):
        if not chapters or rng.random() < 0.02:
            kind = str(rng.choice(kinds))
        way = turned and at % 2 == 1
        # No page twice among few: its grain would count as a thing that stays.
        near = {id(page) for page, _ in drawn_pages[-APART:]}
        page = pages[kind, laid, way][int(rng.integers(POOL))]
        while id(page) in near:
            page = pages[kind, laid, way][int(rng.integers(POOL))]
        drawn_pages.append((page, way))
        made.append((replace(page, file=f"{at:04d}.tif"), way))
    return made


def with_line(page: PageFeatures, turned: bool, column: int, contrast: float) -> PageFeatures:
    """A page whose sensor column is off, over the whole height."""
    at = len(page.columns.off) - 1 - column if turned else column
    parts = page.columns
    off, ends = parts.off.copy(), parts.ends.copy()
    off[at] += contrast
    ends[at] += contrast
    return replace(page, columns=Columns(off, parts.error, ends, parts.ends_error))


def sound(pages: Pool, seed: int) -> tuple[int, Counter[str]]:
    """Pages wrongly ordered in a sound job, and the events by kind."""
    job = Job()
    for page, _ in drawn(pages, np.random.default_rng((seed, 1))):
        job = advance(job, page)
    events = events_of(job)
    return len(redo_of(job, events)), Counter(event.kind for event in events)


def planted(pages: Pool, seed: int, contrast: float) -> tuple[str, int]:
    """What becomes of a line, in a word, and how many other lines are told."""
    rng = np.random.default_rng((seed, 2))
    drawn_ = drawn(pages, rng)
    width = len(drawn_[0][0].columns.off)
    column, begin = int(rng.integers(0, width)), int(rng.integers(20, 160))
    signed = contrast if rng.random() < 0.5 else -contrast
    job, told, kind, could = Job(), None, "", 0
    judged = True
    for at, (page, turned) in enumerate(drawn_[: begin + 40]):
        if at == begin:
            judged = job.search is not None and not blind(job.search)[column]
        page = with_line(page, turned, column, signed) if at >= begin else page
        value = page.columns.off[::-1][column] if turned else page.columns.off[column]
        could += int(at >= begin and told is None and np.isfinite(value))
        job = advance(job, page)
        for line in job.search.lines if job.search else ():
            if abs(line.column - column) <= 2 and (told is None or kind != "line"):
                told, kind = (at - begin + 1 if told is None else told), line.kind
    lines = job.search.lines if job.search else ()
    wrong = sum(abs(line.column - column) > 8 for line in lines if line.kind == "line")
    if not judged:
        return "blind", wrong
    if told is None:
        return "missed", wrong
    if kind != "line":
        return "line or print", wrong
    return ("found" if could <= WITHIN else "late"), wrong


def main() -> int:
    """Run, print, write; 1 if more jobs than stated have wrong orders."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--write", action="store_true", help=f"write {TABLE.name}")
    parser.add_argument("--pool", type=Path, help="keep the measured pages in this file")
    options = parser.parse_args()
    one_thread()
    started = time.monotonic()
    if options.pool and options.pool.exists():
        pages = pickle.loads(options.pool.read_bytes())
    else:
        pages = pool()
        if options.pool:
            options.pool.write_bytes(pickle.dumps(pages))
    wrong, kinds = 0, Counter[str]()
    with_kind: Counter[str] = Counter()
    for seed in range(JOBS):
        orders, events = sound(pages, seed)
        wrong += orders > 0
        kinds += events
        with_kind += Counter(set(events))
        if orders:
            print(f"sound job {seed}: {orders} pages ordered, {dict(events)}", flush=True)
    rows = [
        "# Many jobs from measured pages",
        "",
        "Made by `python -m tests.watch.many_jobs --write`; do not edit by hand. What is counted,",
        "the module says.",
        "",
        f"{JOBS} sound jobs of {PAGES} pages: **{wrong} with a wrong order to scan again**. Jobs",
        "with an event that only asks for a blank, by kind: "
        + (", ".join(f"{kind} {count}" for kind, count in sorted(with_kind.items())) or "none")
        + ".",
        "",
        "A line planted at a random page and column; *within 5*: of the pages on which that column",
        "is judged. Columns that were blind when the line began are not counted in the share.",
        "",
        "| contrast | within 5 | later | line or print | missed | blind | share | wrong lines |",
        "| --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for contrast in CONTRASTS:
        results = [planted(pages, seed, contrast) for seed in range(PLANTED)]
        count = Counter(name for name, _ in results)
        judged = PLANTED - count["blind"]
        rows.append(
            f"| {contrast:g} % | {count['found']} | {count['late']} | {count['line or print']} | "
            f"{count['missed']} | {count['blind']} | {count['found'] / judged:.1%} | "
            f"{sum(n for _, n in results)} |"
        )
        print(rows[-1], flush=True)
    text = "\n".join(rows) + "\n"
    print(text)
    print(f"{time.monotonic() - started:.0f} s", file=sys.stderr)
    if options.write:
        TABLE.write_text(text, "utf-8")
    return int(wrong > JOBS // 100)


if __name__ == "__main__":
    sys.exit(main())
