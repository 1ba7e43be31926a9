"""Sharpness over the bed and at its sides, and colours that lie apart."""

from __future__ import annotations

import statistics
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from scanqa.findings.signs.sign import ALONG, DIRECTIONS, Seen, Sign, evidence, graded, value_of
from scanqa.model import Direction, Measurement, Point, Results, ScanFacts, Severity

# Of the delivered dpi; the mildest published level is 60 %.
SOFT, VERY_SOFT, USELESS = 0.8, 0.6, 0.35
ONE_WAY = 0.75  # effective dpi of one direction against the other
TILT_SHARE, TILT_FAULT = 0.75, 0.45  # SFR50 of a side or corner against the whole
FEWEST_SITES = 12
FRINGES = 0.25, 0.33, 1.0  # px; FADGI 2023, 4 star: 0.33
VARYING_FRINGES = 0.15  # px from one end of the bed to the other


def sharpness(results: Results, scans: Sequence[ScanFacts]) -> Seen:
    """Detail over the whole bed, and whether the print limits it."""
    delivered = {scan.file: scan.dpi for scan in scans}
    shares: dict[str, float] = {}
    words, reasons = [], []
    for axis, direction in enumerate(DIRECTIONS):
        sites = [
            m
            for m in results.named("sharpness.effective_dpi")
            if m.direction == direction and m.scan in delivered
        ]
        if not sites:
            continue
        dpi = delivered[sites[0].scan][axis]
        middle = statistics.median(map(value_of, sites))
        shares[direction] = middle / dpi
        words.append(f"{middle:.0f} dpi {ALONG[direction]}")
        reasons.append(f"{middle:.0f} of the {dpi:.0f} dpi delivered {ALONG[direction]}")
    if shares:
        worst = min(shares.values())
        severity = graded(-worst, (-SOFT, -VERY_SOFT, -USELESS))
        soft = Sign(
            f"detail only up to about {' and '.join(words)}",
            f"the optics support {' and '.join(reasons)} (median of all edges)",
            severity,
            ("sharpness.effective_dpi",),
        )
        yield "soft", (soft,) if severity else ()
        yield "very-soft", evidence(worst < VERY_SOFT)
        if len(shares) == 2:
            yield "soft-one-way", evidence(worst < ONE_WAY * max(shares.values()))
    sites = [m for m in results.named("sharpness.sfr50") if m.edge_kind == "printed"]
    if sites:
        rough = [m for m in sites if m.status == "lower-bound" and "print" in m.reason]
        sign = Sign(
            "the print is rougher than the scanner is blurred",
            f"at {len(rough)} of {len(sites)} printed edges: {rough[0].reason}" if rough else "",
            "note",
            ("sharpness.sfr50",),
        )
        yield "rough-print", (sign,) if 2 * len(rough) > len(sites) else ()


def softer_places(results: Results, scans: Sequence[ScanFacts]) -> Seen:
    """A side or corner of the bed that is softer than the rest, and whether it stays there."""
    turned = {scan.file: scan.rotation_deg for scan in scans}
    found: list[Sign] = []
    looked = False
    where: dict[tuple[Direction, int], str] = {}
    for direction in DIRECTIONS:
        of_direction = [m for m in results.named("sharpness.sfr50") if m.direction == direction]
        worst: _Softest | None = None
        for scan in dict.fromkeys(m.scan for m in of_direction):
            softest = _softest([m for m in of_direction if m.scan == scan])
            looked |= softest is not None
            if softest is None or softest.share >= TILT_SHARE:
                continue
            if scan in turned:
                where[direction, turned[scan]] = softest.where
            if worst is None or softest.share < worst.share:
                worst = softest
        if worst is not None:
            found.append(_softer(worst, direction))
    if not looked:
        return
    yield "soft-place", tuple(found)
    for direction in DIRECTIONS:
        places = [set(words.split()) for (along, _), words in where.items() if along == direction]
        if len(places) > 1:
            yield "stays-when-turned", evidence(bool(set.intersection(*places)))


def _softer(softest: _Softest, direction: Direction) -> Sign:
    severity: Severity = "fault" if softest.share < TILT_FAULT else "warning"
    return Sign(
        f"softer at the {softest.where} ({ALONG[direction]})",
        f"SFR50 {softest.here:.1f} cy/mm there, {softest.middle:.1f} cy/mm over the bed, measured "
        f"{ALONG[direction]} (medians of {softest.count} and {softest.sites} edges)",
        severity,
        ("sharpness.sfr50",),
    )


@dataclass(frozen=True, slots=True)
class _Softest:
    where: str
    here: float
    middle: float
    count: int
    sites: int

    @property
    def share(self) -> float:
        return self.here / self.middle


def _softest(sites: Sequence[Measurement]) -> _Softest | None:
    """The softest side or corner (outer thirds); None with too few edges.

    SFR50 is used, not the effective dpi, which is capped.
    """
    placed = [(m.at_mm, value_of(m)) for m in sites if m.at_mm is not None]
    if len(placed) < FEWEST_SITES:
        return None
    middle = statistics.median(value for _, value in placed)
    regions = []
    for words, inside in _regions([at for at, _ in placed]).items():
        values = [value for at, value in placed if inside(at)]
        if len(values) >= 2:
            here = statistics.median(values)
            regions.append(_Softest(words, here, middle, len(values), len(placed)))
    return min(regions, key=lambda region: region.here, default=None)


def _regions(places: Sequence[Point]) -> dict[str, Callable[[Point], bool]]:
    """Names of sides and corners, and whether a place lies in the outer third there."""
    bounds = []
    for axis in (0, 1):
        low, high = min(p[axis] for p in places), max(p[axis] for p in places)
        bounds.append((low + (high - low) / 3, high - (high - low) / 3))
    ends: dict[str, Callable[[Point], bool]] = {
        "left": lambda at: at[0] <= bounds[0][0],
        "right": lambda at: at[0] >= bounds[0][1],
        "top": lambda at: at[1] <= bounds[1][0],
        "bottom": lambda at: at[1] >= bounds[1][1],
    }

    def both(a: str, b: str) -> Callable[[Point], bool]:
        return lambda at: ends[a](at) and ends[b](at)

    corners = {f"{v} {h}": both(v, h) for v in ("top", "bottom") for h in ("left", "right")}
    return ends | corners


def fringes(results: Results) -> Seen:
    """Colour registration."""
    worst: tuple[float, Direction, str] | None = None
    varies = looked = False
    for direction in DIRECTIONS:
        for channel in ("red", "blue"):
            sites = [
                m
                for m in results.named("colour.registration")
                if m.direction == direction and m.channel == channel
            ]
            if not sites:
                continue
            looked = True
            middle = statistics.median(map(value_of, sites))
            if worst is None or abs(middle) > abs(worst[0]):
                worst = middle, direction, channel
            varies |= direction == "across" and _varies(sites)
    if not looked or worst is None:
        return
    shift, direction, channel = worst
    severity = graded(abs(shift), FRINGES)
    sign = Sign(
        f"{channel} lies {abs(shift):.2f} px beside green ({ALONG[direction]})",
        f"median over all edges: {shift:+.2f} px",
        severity,
        ("colour.registration",),
    )
    yield "fringes", (sign,) if severity else ()
    yield "fringes-along-travel", evidence(direction == "travel")
    change = Sign(
        "colour fringes change along the sensor line",
        "a lens that focuses colours at unlike scales shifts them more toward the ends",
        "note",
        ("colour.registration",),
    )
    yield "fringes-change", (change,) if varies else ()


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
