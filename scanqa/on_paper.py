"""Blank paper that does not cover the glass: only the paper is measured.

Blanks of one size are cut to the part that the paper of all of them covers, so that their columns
still agree, and are measured as images of their own; then places are put back, and what needs glass
that the paper left bare is taken back.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from scanqa.catalogue import CATALOGUE, SIDES, Side
from scanqa.model import (
    ColumnProfile,
    Evidence,
    Mark,
    Measurement,
    Placement,
    Point,
    Reason,
    Results,
    Streak,
    Window,
    as_bound,
    not_measurable,
)
from scanqa.scans.cut import CutScan
from scanqa.scans.overview import overview

LEAST_MM = 50.0  # of common paper, each way
REACHES_MM = 1.0  # paper that ends so near the side of the image reaches it
OF_THE_WHOLE = ("edges.usable", "edges.lost")
BY_SIDE = ("edges.shadow", "shading.falloff")
PAPER_ONLY = Reason("too-small", "over the paper only, which does not cover the glass")
AT_LEAST = ("shading.nonuniformity", "shading.range_L")


@dataclass(frozen=True, slots=True)
class Cut:
    """What was left of a blank, where it began, and the sides of the image that it lacks."""

    placement: Placement
    origin_px: tuple[int, int]
    bare: tuple[Side, ...]

    @property
    def origin_mm(self) -> Point:
        """Of the cut in mm of the whole image."""
        x, y = self.placement.mm(self.origin_px[0] - 0.5, self.origin_px[1] - 0.5)
        return x, y


def cut_to_paper(placements: Sequence[Placement]) -> tuple[list[Placement], tuple[Cut, ...]]:
    """Placements to measure, blanks cut to their paper, and what was cut.

    Blanks whose common paper is too small to measure are left out.
    """
    groups: dict[tuple[float, ...], list[Placement]] = {}
    for placement in placements:
        if placement.role == "blank":
            size = placement.scan.width_px, placement.scan.height_px
            groups.setdefault((*size, *placement.dpi), []).append(placement)
    cuts: dict[int, Cut | None] = {}
    for group in groups.values():
        boxes = [p.paper_mm for p in group if p.paper_mm is not None]
        if boxes:
            width, height = group[0].size_mm
            left, top = (max(box[axis] for box in boxes) for axis in (0, 1))
            right, bottom = (min(box[axis] for box in boxes) for axis in (2, 3))
            bare = (left, width - right, top, height - bottom)
            for placement in group:
                cuts[id(placement)] = _cut(placement, (left, top, right, bottom), bare)
    kept = [cuts.get(id(p), p) for p in placements]
    found = tuple(cut for cut in cuts.values() if cut is not None)
    return [k.placement if isinstance(k, Cut) else k for k in kept if k is not None], found


def _cut(
    placement: Placement, box: tuple[float, float, float, float], bare_mm: Sequence[float]
) -> Cut | None:
    left, top, right, bottom = box
    if min(right - left, bottom - top) < LEAST_MM:
        return None
    x0, y0 = (math.ceil(v + 0.5) for v in placement.px(left, top))
    x1, y1 = (math.floor(v + 0.5) for v in placement.px(right, bottom))
    scan = placement.scan
    x0, y0, x1, y1 = max(x0, 0), max(y0, 0), min(x1, scan.width_px), min(y1, scan.height_px)
    part = CutScan(scan, Window(y0, x0, y1 - y0, x1 - x0))
    bare = tuple(side for side, mm in zip(SIDES, bare_mm, strict=True) if mm > REACHES_MM)
    cut = replace(placement, scan=part, overview=overview(part), paper_mm=None)
    return Cut(cut, (x0, y0), bare)


def put_back(results: Results, cuts: Sequence[Cut]) -> Results:
    """Results in millimetres of the whole images, less what bare glass does not show."""
    if not cuts:
        return results
    by_name = {cut.placement.scan.name: cut for cut in cuts}
    bare = {side for cut in cuts for side in cut.bare}
    return Results(
        tuple(_judged(_moved(m, by_name.get(m.scan)), bare) for m in results.measurements),
        tuple(_moved_streak(s, by_name.get(s.scan)) for s in results.streaks),
        tuple(_moved_mark(m, by_name.get(m.scan)) for m in results.marks),
        tuple(_moved_figure(e, by_name.get(e.scan)) for e in results.evidence),
        tuple(_moved_columns(c, by_name.get(c.scan)) for c in results.columns),
    )


def _judged(m: Measurement, bare: set[Side]) -> Measurement:
    """The value, or why bare glass leaves none."""
    pattern, at = CATALOGUE[m.name].pattern, CATALOGUE[m.name].at
    if m.value is None or not bare:
        return m
    of_whole = m.name.startswith(OF_THE_WHOLE)
    whole = of_whole or (pattern.startswith(BY_SIDE) and at.get("side") in bare)
    if whole:
        words = (
            "the paper does not reach "
            + ("all sides" if of_whole else f"the {at['side']} side")
            + " of the glass: lay paper that covers it"
        )
        return not_measurable(
            m.name, Reason("too-small", words), m.scan, direction=m.direction, channel=m.channel
        )
    if m.name in AT_LEAST and m.status in ("ok", "between"):
        least = m.value if m.low is None else m.low
        return replace(as_bound(m, "at-least", PAPER_ONLY), value=least, low=None, high=None)
    return m


def _moved(m: Measurement, cut: Cut | None) -> Measurement:
    if cut is None or m.at_mm is None:
        return m
    return replace(m, at_mm=(m.at_mm[0] + cut.origin_mm[0], m.at_mm[1] + cut.origin_mm[1]))


def _moved_streak(streak: Streak, cut: Cut | None) -> Streak:
    if cut is None:
        return streak
    axis = 0 if streak.axis == "travel" else 1
    along = cut.origin_mm[1 - axis]
    return replace(
        streak,
        at_mm=streak.at_mm + cut.origin_mm[axis],
        at_px=streak.at_px + cut.origin_px[axis],
        extent_mm=(streak.extent_mm[0] + along, streak.extent_mm[1] + along),
    )


def _moved_columns(columns: ColumnProfile, cut: Cut | None) -> ColumnProfile:
    return columns if cut is None else replace(columns, first=columns.first + cut.origin_px[0])


def _moved_mark(mark: Mark, cut: Cut | None) -> Mark:
    if cut is None:
        return mark
    return replace(mark, at_mm=(mark.at_mm[0] + cut.origin_mm[0], mark.at_mm[1] + cut.origin_mm[1]))


def _moved_figure(figure: Evidence, cut: Cut | None) -> Evidence:
    """Maps and crops, and curves over places on the bed."""
    if cut is None:
        return figure
    x, y = cut.origin_mm
    if figure.extent_mm is not None:
        left, top, right, bottom = figure.extent_mm
        figure = replace(figure, extent_mm=(left + x, top + y, right + x, bottom + y))
    if figure.shows in ("travel", "across"):
        by = x if figure.shows == "travel" else y
        figure = replace(
            figure,
            curves=tuple(replace(curve, x=curve.x + by) for curve in figure.curves),
            lines_mm=tuple((at + by, label) for at, label in figure.lines_mm),
        )
    return figure
