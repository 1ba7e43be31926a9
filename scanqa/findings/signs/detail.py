"""Sharpness over the bed and at its sides, and colours that lie apart."""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from scanqa.catalogue import Side
from scanqa.findings.signs.sign import Looked, graded, sign
from scanqa.findings.statistic import figure, known, members, of_all_edges, pick, quoted
from scanqa.model import DIRECTIONS, Channel, Direction, Measurement, Point, ScanFacts, Seen
from scanqa.summary import Summary, value_of

# Of the delivered dpi; the mildest published level is 60 %.
SOFT, VERY_SOFT, USELESS = 0.8, 0.6, 0.35
ONE_WAY = 0.75  # effective dpi of one direction against the other
TILT_SHARE, TILT_FAULT = 0.75, 0.45  # SFR50 of a side or corner against the whole
FEWEST_SITES = 12
FRINGES = 0.25, 0.33, 1.0  # px; FADGI 2023, 4 star: 0.33
VARYING_FRINGES = 0.15  # px from one end of the bed to the other
EFFECTIVE, SFR50, FRINGE = "sharpness.effective_dpi", "sharpness.sfr50", "colour.registration"
SHEET_SFR50 = "sharpness.sheet_sfr50"


def of_direction(found: Sequence[Summary], direction: Direction) -> tuple[Summary, ...]:
    """Summaries of one direction."""
    return tuple(s for s in found if s.key.direction == direction)


def sharpness(measured: Sequence[Summary], scans: Sequence[ScanFacts]) -> Looked:
    """Detail over the whole bed, and whether the print limits it."""
    delivered = {scan.file: scan.dpi for scan in scans if scan.dpi}
    shares: dict[Direction, float] = {}
    numbers: dict[str, float] = {}
    for axis, direction in enumerate(DIRECTIONS):
        found = of_direction(pick(measured, EFFECTIVE), direction)
        middle = of_all_edges([s for s in found if s.key.edge_kind != "found"])
        asked = [delivered[m.scan][axis] for m in members(found) if m.scan in delivered]
        if middle and asked:
            dpi = statistics.median(asked)
            # Of what lies between two ends the better one: nothing worse is sure. A lower bound is
            # what the scan of the sheet shows; a second kind of edge tells whose it is.
            reached = middle.value if math.isinf(middle.most) else middle.most
            shares[direction] = reached / dpi
            numbers |= {direction: reached, f"{direction}_delivered": dpi}
    if shares:
        worst = min(shares.values())
        yield sign(
            "soft", graded(-worst, (-SOFT, -VERY_SOFT, -USELESS)), EFFECTIVE, numbers=numbers
        )
        yield "very-soft", worst < VERY_SOFT
        if len(shares) == 2:
            yield "soft-one-way", worst < ONE_WAY * max(shares.values())
    sites = [m for m in members(pick(measured, SFR50)) if m.edge_kind == "printed"]
    if sites:
        rough = [m for m in sites if m.status == "at-least" and m.reason_kind == "print"]
        yield sign(
            "rough-print",
            "note" if 2 * len(rough) > len(sites) else None,
            SFR50,
            numbers={"rough": len(rough), "sites": len(sites)},
            quoted=quoted(rough)[:1],
        )


# ----------------------------------------------------------------------------- softer places


@dataclass(frozen=True, slots=True)
class _Softest:
    """The softest side or corner of one scan in one direction."""

    sides: tuple[Side, ...]
    here: float
    middle: float
    count: int
    sites: int
    scan: str

    @property
    def share(self) -> float:
        return self.here / self.middle


def softer_places(measured: Sequence[Summary], scans: Sequence[ScanFacts]) -> Looked:
    """A side or corner of the bed that is softer than the rest, and whether it stays there.

    Each scan is compared with itself, so that scans of every dpi are looked at.
    """
    turned = {scan.file: scan.rotation_deg for scan in scans}
    found: list[Seen] = []
    looked = False
    stays: list[bool] = []
    for direction in DIRECTIONS:
        sites = [
            m
            for m in members(of_direction(known(measured, SHEET_SFR50), direction))
            if m.edge_kind != "found"
        ]
        softest = [
            softest
            for scan in dict.fromkeys(m.scan for m in sites)
            if (softest := _softest([m for m in sites if m.scan == scan])) is not None
        ]
        looked |= bool(softest)
        softer = [each for each in softest if each.share < TILT_SHARE]
        if softer:
            found.append(_softer(min(softer, key=lambda each: each.share), direction))
        places = {turned[each.scan]: set(each.sides) for each in softer if each.scan in turned}
        if len(places) > 1:
            stays.append(bool(set.intersection(*places.values())))
    if looked:
        yield "soft-place", tuple(found)
    if stays:
        yield "stays-when-turned", any(stays)


def _softer(softest: _Softest, direction: Direction) -> Seen:
    return Seen(
        "soft-place",
        "fault" if softest.share < TILT_FAULT else "warning",
        {
            "here": softest.here,
            "middle": softest.middle,
            "count": softest.count,
            "sites": softest.sites,
        },
        {"place": "-".join(softest.sides)},
        (SHEET_SFR50,),
        direction,
        scan=softest.scan,
    )


def _softest(sites: Sequence[Measurement]) -> _Softest | None:
    """The softest side or corner (outer thirds); None with too few edges.

    SFR50 of the sheet's scan is used: print and paper are the same everywhere, and the effective
    dpi is capped.
    """
    placed = [(m.at_mm, value_of(m)) for m in sites if m.at_mm is not None]
    if len(placed) < FEWEST_SITES:
        return None
    middle = statistics.median(value for _, value in placed)
    regions = []
    for sides, inside in _regions([at for at, _ in placed]).items():
        values = [value for at, value in placed if inside(at)]
        if len(values) >= 2:
            here = statistics.median(values)
            regions.append(_Softest(sides, here, middle, len(values), len(placed), sites[0].scan))
    return min(regions, key=lambda region: region.here, default=None)


def _regions(places: Sequence[Point]) -> dict[tuple[Side, ...], Callable[[Point], bool]]:
    """Sides and corners, and whether a place lies in the outer third there."""
    bounds = []
    for axis in (0, 1):
        low, high = min(p[axis] for p in places), max(p[axis] for p in places)
        bounds.append((low + (high - low) / 3, high - (high - low) / 3))
    ends: dict[Side, Callable[[Point], bool]] = {
        "left": lambda at: at[0] <= bounds[0][0],
        "right": lambda at: at[0] >= bounds[0][1],
        "top": lambda at: at[1] <= bounds[1][0],
        "bottom": lambda at: at[1] >= bounds[1][1],
    }

    def both(a: Side, b: Side) -> Callable[[Point], bool]:
        return lambda at: ends[a](at) and ends[b](at)

    upright: tuple[Side, ...] = ("top", "bottom")
    level: tuple[Side, ...] = ("left", "right")
    out: dict[tuple[Side, ...], Callable[[Point], bool]] = {(s,): ends[s] for s in ends}
    return out | {(v, h): both(v, h) for v in upright for h in level}


# ----------------------------------------------------------------------------------- fringes


def fringes(measured: Sequence[Summary]) -> Looked:
    """Colour registration."""
    shifts: dict[tuple[Direction, Channel], float] = {}
    varies = False
    channels: tuple[Channel, ...] = ("red", "blue")
    for direction in DIRECTIONS:
        for channel in channels:
            found = [
                s
                for s in of_direction(pick(measured, FRINGE), direction)
                if s.key.channel == channel
            ]
            middle = figure(found, FRINGE, "median")
            if middle:
                shifts[direction, channel] = middle.value
                varies |= direction == "across" and _varies(members(found))
    if not shifts:
        return
    direction, channel = max(shifts, key=lambda way: abs(shifts[way]))
    shift = shifts[direction, channel]
    severity = graded(abs(shift), FRINGES)
    yield (
        "fringes",
        ()
        if severity is None
        else (Seen("fringes", severity, {"px": shift}, {}, (FRINGE,), direction, channel),),
    )
    yield "fringes-along-travel", direction == "travel"
    yield sign("fringes-change", "note" if varies else None, FRINGE, numbers={})


def _varies(sites: Sequence[Measurement]) -> bool:
    """Whether the shift at the left and at the right third of the bed differ clearly."""
    placed = [(m.at_mm[0], value_of(m)) for m in sites if m.at_mm is not None]
    if len(placed) < FEWEST_SITES:
        return False
    low, high = min(x for x, _ in placed), max(x for x, _ in placed)
    third = (high - low) / 3
    left = [value for x, value in placed if x <= low + third]
    right = [value for x, value in placed if x >= high - third]
    return abs(statistics.median(left) - statistics.median(right)) >= VARYING_FRINGES
