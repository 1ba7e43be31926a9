"""Sections on the work itself: how small print may be, and what a job of many pages takes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from scanqa.catalogue.sizes import HOURS_A_DAY, TURN_S
from scanqa.model import FileSize, Legibility, Legible, Plan, Record, Status
from scanqa.report.view import Cell, Section, Table
from scanqa.words.numbers import number, sentence_case, significant, told, with_unit
from scanqa.words.of_plan import hours_words, rate_words

MB, GB = 1e6, 1e9
TURNED: dict[Status, Status] = {"at-least": "at-most", "at-most": "at-least"}
FINE_MM = 0.5  # smaller sizes get a third decimal
_LEGIBILITY = (
    "How small letters and strokes may be and still be read, by the quality index of the Cornell "
    "tutorial on benchmarking resolution, in grey or colour: height of the smallest lower-case e, "
    "width of the finest stroke. It counts the samples that the optics support in the worse "
    "direction, not those delivered."
)
_PLAN = (
    "Scan at the dpi that the smallest letters ask for and the optics support: more makes files "
    "larger and nothing else. Time is that of scanning and turning pages, without breaks, "
    "preparing and checking."
)


def work_sections(record: Record) -> Iterator[Section]:
    """Legibility if sharpness was measured; the plan if one was asked for."""
    if record.legibility:
        yield Section(
            "section-legibility",
            "Legibility",
            _smallest(record.legibility),
            _LEGIBILITY,
            (_legibility_table(record.legibility),),
            (),
        )
    if record.plan is not None:
        pages = f"{record.plan.job.pages} pages"
        yield Section(
            "section-plan",
            f"Plan for {pages}",
            _in_short(record.plan),
            _PLAN,
            (_plan_table(record.plan), _size_table(record.plan)),
            (),
        )


def _smallest(found: Sequence[Legibility]) -> str:
    """The smallest characters that come out good, at the finest dpi."""
    finest = max(found, key=lambda each: each.dpi)
    good = [row for row in finest.sizes if (row.what, row.level) == ("character", "good")]
    return f"good from {_size_text(finest, good[0])} up" if good else ""


def _in_short(plan: Plan) -> str:
    hours = "" if plan.hours is None else f", {significant(plan.hours, 2)} h"
    return f"scan at {plan.dpi}\u202fdpi{hours}"


def _legibility_table(found: Sequence[Legibility]) -> Table:
    """A row for each level, a column for each dpi that was measured."""
    levels = found[0].sizes
    rows = tuple(
        (
            Cell(
                f"{row.what.capitalize()}, {row.level}",
                (f"quality index {row.index:g}",),
            ),
            *(Cell(_size_text(each, each.sizes[at])) for each in found),
        )
        for at, row in enumerate(levels)
    )
    heads = [f"Scans at {each.dpi}\u202fdpi, {_effective(each)}" for each in found]
    notes = tuple(sentence_case(f"at {each.dpi} dpi: {each.note}.") for each in found if each.note)
    return Table("Smallest print that can be read", ("Level", *heads), rows, notes)


def _effective(each: Legibility) -> str:
    text = told(each.bound, each.effective_dpi, None, (each.low, each.high), 0)
    return f"{with_unit(text, 'dpi')} effective"


def _size_text(each: Legibility, size: Legible) -> str:
    if each.bound != "ok":  # the smaller the dpi, the larger the print that can be read
        ends = [size.size_mm * each.effective_dpi / end for end in (each.high, each.low) if end]
        between = (ends[0], ends[1]) if len(ends) > 1 else (None, None)
        status = TURNED.get(each.bound, each.bound)
        return with_unit(told(status, size.size_mm, size.uncertainty_mm, between, 2), "mm")
    spread = ""
    if size.uncertainty_mm:
        spread = f"\u00a0±\u00a0{significant(max(size.uncertainty_mm, 0.001), 1)}"
    digits = 2 if size.size_mm >= FINE_MM else 3
    return with_unit(number(size.size_mm, digits) + spread, "mm")


def _plan_table(plan: Plan) -> Table:
    job = plan.job
    needed = with_unit(number(plan.needed_dpi, 0), "dpi")
    come_out = "they come out" if plan.optics_known else "if they do, the letters come out"
    rows = [
        (
            Cell("Pages"),
            Cell(
                f"{job.pages} of {job.page}",
                (f"smallest letters {with_unit(significant(job.smallest_mm), 'mm')} high",),
            ),
        ),
        (
            Cell("Resolution"),
            Cell(
                with_unit(str(plan.dpi), "dpi"),
                (
                    f"the letters ask for {needed} to be excellent",
                    plan.why_dpi,
                    f"{come_out} {plan.legibility} (quality index {number(plan.index, 1)})",
                ),
            ),
        ),
        (Cell("Pages an hour"), _rate(plan)),
        (Cell("Time in all"), _time(plan)),
    ]
    return Table("Settings and time", ("What", "Plan"), tuple(rows))


def _rate(plan: Plan) -> Cell:
    if plan.pages_per_hour is None or plan.seconds is None:
        return Cell("not known", (plan.why_time,))
    spread = ""
    if plan.rate_uncertainty and not plan.at_most:
        spread = f"\u00a0±\u00a0{number(max(plan.rate_uncertainty, 1), 0)}"
    turn = with_unit(significant(plan.job.turn_s), "s")
    assumed = " (an assumption)" if plan.job.turn_s == TURN_S else ""
    lines = (
        f"{with_unit(number(plan.seconds, 1), 's')} a scan, {plan.why_time}",
        f"{turn} to turn a page{assumed}",
    )
    return Cell(rate_words(plan) + spread, lines)


def _time(plan: Plan) -> Cell:
    if plan.hours is None or plan.days is None:
        return Cell("not known")
    days = f"{plan.days} day{'s' if plan.days != 1 else ''}"
    day = with_unit(significant(HOURS_A_DAY), "h")
    return Cell(with_unit(hours_words(plan), "h"), (f"{days} of {day} each",))


def _size_table(plan: Plan) -> Table:
    rows = tuple(_size_row(size, plan.job.pages) for size in plan.sizes)
    note = "MB and GB are millions and thousand millions of bytes."
    if len(plan.sizes) == 1:
        note += " Other formats: no scan of this scanner could be compressed to see."
    return Table("Disk", ("Format, 8 bits a sample", "A page", "All pages"), rows, (note,))


def _size_row(size: FileSize, pages: int) -> tuple[Cell, ...]:
    spread = ""
    if size.uncertainty:
        spread = f"\u00a0±\u00a0{significant(size.uncertainty / MB, 1)}"
    return (
        Cell(size.format, (size.basis,)),
        Cell(with_unit(significant(size.bytes / MB) + spread, "MB")),
        Cell(with_unit(significant(size.bytes * pages / GB), "GB")),
    )
