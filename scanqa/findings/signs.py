"""What can be seen in the results that asks for an explanation, or speaks for or against one.

A *sign* has a severity if it asks for an explanation by itself; without one it is only evidence.
``observe`` gives for each sign that the scans could show what was found: nothing, if it is absent.
A sign that could not be measured is not there at all, so that it speaks neither for nor against.

Limits are in physical units, with the reason beside each; where none is given it is common
practice, no source.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from scanqa.catalogue import SIDES
from scanqa.findings.statistic import matching, summarise
from scanqa.model import (
    Direction,
    Mark,
    Measurement,
    Point,
    Results,
    ScanFacts,
    Severity,
    Streak,
)

DIRECTIONS: tuple[Direction, ...] = ("across", "travel")
ALONG = {"across": "across", "travel": "along travel"}

VISIBLE_FAULT_DELTA_L = 0.5  # a line of this size is seen at a glance, not only when looked for
SOFT, VERY_SOFT, USELESS = (
    0.8,
    0.6,
    0.35,
)  # of the delivered dpi; the mildest published level is 60 %
ONE_WAY = 0.75  # effective dpi of one direction against the other
TILT_SHARE, TILT_FAULT = 0.75, 0.45  # SFR50 of a side or corner against the whole
FEWEST_SITES = 12
VEIL = 3.0, 10.0  # %: a clean flatbed stays under 2
UNEVEN = 4.0, 8.0  # %; FADGI 2023 tolerates about 8 % at its mildest level
FALLOFF_MM, FALLOFF = 10, (1.5, 6.0)  # % of light lost at that distance from one side
ALL_SIDES_MM, ALL_SIDES = 5, 0.5
SLOPE_MM, SLOPE = 20, (1.5, 4.0)  # % between the two ends of the travel
SHADOW = 0.5, 2.0, 10.0  # mm
DEAD_MARGIN = 0.5, 3.0  # mm
DRIFT = 1.0, 3.0  # % from the first blank scan to the last
SETTLING_S = 60.0
LITTLE_LIGHT = 20.0, 6.0  # thousand electrons: 0.7 % and 1.3 % of noise on white
FAINTER = 0.9, 0.7, 0.4  # of the light index of the earlier record
GRAINY = 0.6, 1.2  # L*, from scan to scan
READ_SHARE = 0.5  # of the variance on white that does not come with the light
BANDS = 0.05, 0.25, 1.0  # % of light, half crest to trough; 0.25 % is 0.2 L* from crest to trough
CRESTS_MOVE_MM = 0.08  # a carriage finds its home to within a step or two of its motor
LEAST_PERIOD_MM = 0.8  # of bands, for that to tell
STEPS_MM = 0.7  # motor steps are finer, teeth and pulleys coarser
MAINS_HZ, MAINS_TOLERANCE = (50.0, 60.0), 0.03
UNSTEADY = 0.06, 0.15  # % rms from row to row
BESIDE_BANDS = 0.5  # of a wave's amplitude: less may be its own, that is not quite a sine
JITTER = 25.0, 60.0  # µm
FRINGES = 0.25, 0.33, 1.0  # px; FADGI 2023, 4 star: 0.33
VARYING_FRINGES = 0.15  # px from one end of the bed to the other
NATIVE = 0.95, 0.8
HALO = 2.0, 5.0  # %
STRONG_HALO = 6.0  # %: the usual kernels of interpolation overshoot by less
PEAK = 1.1  # an unsharpened response never exceeds 1
STRETCH = 0.05
GRAIN_KEPT = 0.6, 1.4
JPEG = 92.0, 75.0
CROP_MM = 1.0
CLIPPED = 1.0  # % of pixels
GUTTER = 5.0  # L*
NOT_SQUARE = 0.15, 0.4  # degrees: 0.15 is 0.5 mm over a page
WRONG_SIZE = 0.5, 1.5  # %
PRINT_SIZE, PRINT_SQUARE = 0.4, 0.15  # %, degrees
MARKS = 5.0  # % of light: fainter specks are hard to see


@dataclass(frozen=True, slots=True)
class Sign:
    """Something seen.

    Attributes
    ----------
    words : str
        Short, as the beginning of a title.
    reason : str
        What it rests on, with numbers.
    severity : str or None
        None for evidence that needs no explanation of its own.
    streak : Streak or None
        A line brings its own ranking of causes.
    """

    words: str
    reason: str = ""
    severity: Severity | None = None
    rests_on: tuple[str, ...] = ()
    streak: Streak | None = None


Signs = dict[str, tuple[Sign, ...]]
Seen = Iterator[tuple[str, tuple[Sign, ...]]]
EVIDENCE = (Sign(""),)  # a sign that is there and needs no words


def observe(results: Results, scans: Sequence[ScanFacts], earlier: Results | None = None) -> Signs:
    """Signs that were looked for, and what was found of each.

    Parameters
    ----------
    results : Results
        Everything measured on one scanner.
    scans : sequence of ScanFacts
        The scans that it was measured on.
    earlier : Results or None
        What the same scanner gave before, with the same kind of scans.
    """
    signs: Signs = {}
    for seen in (
        _lines(results),
        _marks(results),
        _sharpness(results, scans),
        _softer_places(results, scans),
        _veil(results),
        _evenness(results),
        _edges(results),
        _drift(results),
        _noise(results),
        _fainter(results, earlier),
        _banding(results),
        _fringes(results),
        _claim(results),
        _processing(results, scans),
        _geometry(results, scans),
        _gutter(results),
    ):
        for name, found in seen:
            signs[name] = signs.get(name, ()) + found
    return signs


def _graded(value: float, limits: Sequence[float]) -> Severity | None:
    """Note, warning, fault by the limits reached, upwards; None under the first."""
    words: tuple[Severity, ...] = ("note", "warning", "fault")
    reached = sum(value >= limit for limit in limits)
    return words[reached - 1] if reached else None


def _evidence(there: bool) -> tuple[Sign, ...]:
    return EVIDENCE if there else ()


def _pm(m: Measurement, digits: int = 2) -> str:
    return f" ± {m.uncertainty:.{digits}f}" if m.uncertainty else ""


def _value(m: Measurement) -> float:
    assert m.value is not None
    return m.value


# ------------------------------------------------------------------------- lines and marks


def _lines(results: Results) -> Seen:
    found = []
    for streak in sorted(results.streaks, key=lambda s: -s.delta_L):
        severity: Severity = "note"
        if streak.visible:
            severity = "fault" if streak.delta_L >= VISIBLE_FAULT_DELTA_L else "warning"
        than = {"dark": "darker", "bright": "brighter"}[streak.polarity]
        seen = "visible" if streak.visible else "too faint to be seen"
        reason = (
            f"at {streak.at_mm:.1f} mm {streak.contrast_percent:.2f} % {than} than its "
            f"surroundings ({streak.delta_L:.2f} L*), {streak.width_um:.0f} µm wide, {seen}"
        )
        words = f"{streak.polarity} line at {streak.at_mm:.1f} mm"
        found.append(Sign(words, reason, severity, ("streaks",), streak))
    if found or results.named("streaks.strongest_visible"):
        yield "line", tuple(found)


def _marks(results: Results) -> Seen:
    if not results.marks and not results.named("glass.marks"):
        return
    for name, kind, word in (("specks", "spot", "speck"), ("long-marks", "scratch", "long mark")):
        marks = [mark for mark in results.marks if mark.kind == kind]
        yield name, (_of_marks(marks, word),) if marks else ()


def _of_marks(marks: Sequence[Mark], word: str) -> Sign:
    strongest = max(marks, key=lambda mark: mark.contrast_percent)
    x, y = strongest.at_mm
    reason = (
        f"the strongest {word} at x {x:.0f}, y {y:.0f} mm is {strongest.contrast_percent:.0f} % "
        f"{'darker' if strongest.polarity == 'dark' else 'brighter'} and "
        f"{max(strongest.size_mm):.1f} mm long; what stays while the paper moves is not paper"
    )
    severity: Severity = "warning" if strongest.contrast_percent >= MARKS else "note"
    plural = word if len(marks) == 1 else f"{word}s"
    return Sign(f"{len(marks)} {plural} on the glass", reason, severity, ("glass.marks",))


# ------------------------------------------------------------------------------ sharpness


def _sharpness(results: Results, scans: Sequence[ScanFacts]) -> Seen:
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
        middle = statistics.median(map(_value, sites))
        shares[direction] = middle / dpi
        words.append(f"{middle:.0f} dpi {ALONG[direction]}")
        reasons.append(f"{middle:.0f} of the {dpi:.0f} dpi delivered {ALONG[direction]}")
    if shares:
        worst = min(shares.values())
        severity = _graded(-worst, (-SOFT, -VERY_SOFT, -USELESS))
        soft = Sign(
            f"detail only up to about {' and '.join(words)}",
            f"the optics support {' and '.join(reasons)} (median of all edges)",
            severity,
            ("sharpness.effective_dpi",),
        )
        yield "soft", (soft,) if severity else ()
        yield "very-soft", _evidence(worst < VERY_SOFT)
        if len(shares) == 2:
            yield "soft-one-way", _evidence(worst < ONE_WAY * max(shares.values()))
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


def _softer_places(results: Results, scans: Sequence[ScanFacts]) -> Seen:
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
            yield "stays-when-turned", _evidence(bool(set.intersection(*places)))


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
    placed = [(m.at_mm, _value(m)) for m in sites if m.at_mm is not None]
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


# ----------------------------------------------------------------------------------- light


def _veil(results: Results) -> Seen:
    found = summarise(results, "veil.stray_light", "highest")
    if found is None:
        return
    sure = found.value > 3 * (found.uncertainty or 0.0)
    severity = _graded(found.value, (VEIL[0], VEIL[0], VEIL[1])) if sure else None
    error = f" ± {found.uncertainty:.1f}" if found.uncertainty else ""
    sign = Sign(
        f"{found.value:.0f} % of the light strays into black",
        f"black ink is lighter in white surroundings: {found.value:.1f}{error} % of the light "
        "strays (1 to 2 % is usual)",
        severity,
        ("veil.stray_light",),
    )
    yield "veil", (sign,) if severity else ()


def _evenness(results: Results) -> Seen:
    found = summarise(results, "shading.nonuniformity", "highest")
    if found:
        severity = _graded(found.value, UNEVEN)
        sign = Sign(
            f"light is uneven by {found.value:.1f} %",
            f"lightest against darkest part of the bed: {found.value:.1f} %, edge shadows left out",
            severity,
            ("shading.nonuniformity",),
        )
        yield "uneven", (sign,) if severity else ()
    near = _losses(results, ALL_SIDES_MM)
    if len(near) == 4:
        yield "falls-all-sides", _evidence(min(near.values()) >= ALL_SIDES)
    losses = _losses(results, FALLOFF_MM)
    worst = max(losses, key=lambda side: losses[side], default=None)
    if worst is not None:
        name = f"shading.falloff_{worst}_{FALLOFF_MM}mm"
        severity = _graded(losses[worst], FALLOFF)
        sign = Sign(
            f"light falls by {losses[worst]:.1f} % toward the {worst} edge",
            f"{FALLOFF_MM} mm from the {worst} edge, against the middle of the bed",
            severity,
            (name,),
        )
        others = [loss for side, loss in losses.items() if side != worst]
        alone = max(others, default=0.0) < losses[worst] / 3
        yield "falls-one-side", (sign,) if severity and alone else ()
    ends = _losses(results, SLOPE_MM)
    if "top" in ends and "bottom" in ends:
        slope = ends["top"] - ends["bottom"]
        opposite = ends["top"] * ends["bottom"] < 0
        severity = _graded(abs(slope), SLOPE) if opposite else None
        way = "brighter" if slope > 0 else "darker"
        sign = Sign(
            f"light grows {way} by {abs(slope):.1f} % along travel",
            f"from {SLOPE_MM} mm below the top to {SLOPE_MM} mm above the bottom of one scan",
            severity,
            (f"shading.falloff_top_{SLOPE_MM}mm", f"shading.falloff_bottom_{SLOPE_MM}mm"),
        )
        yield "slope", (sign,) if severity else ()


def _losses(results: Results, distance_mm: int) -> dict[str, float]:
    """Percent of light lost at a distance from each side, where it was measured."""
    out: dict[str, float] = {}
    for side in SIDES:
        found = results.named(f"shading.falloff_{side}_{distance_mm}mm")
        if found:
            out[side] = 100 - min(map(_value, found))
    return out


def _edges(results: Results) -> Seen:
    shadows, margins = [], []
    looked: set[str] = set()
    for side in SIDES:
        for m in results.named(f"edges.shadow_{side}"):
            looked.add("shadow")
            severity = _graded(_value(m), SHADOW)
            if severity:
                shadows.append(
                    Sign(
                        f"shadow {_value(m):.1f} mm deep along the {side} edge",
                        f"{_value(m):.2f}{_pm(m)} mm until within 2 L* of the level further in",
                        severity,
                        (m.name,),
                    )
                )
                break
        for m in results.named(f"edges.dead_margin_{side}")[:1]:
            looked.add("dead-margin")
            severity = _graded(_value(m), DEAD_MARGIN)
            if severity:
                margins.append(
                    Sign(
                        f"{_value(m):.1f} mm at the {side} edge are never seen",
                        f"{_value(m):.2f}{_pm(m)} mm by the strip hooked over that edge",
                        severity,
                        (m.name,),
                    )
                )
    if "shadow" in looked:
        yield "shadow", tuple(shadows)
    if "dead-margin" in looked:
        yield "dead-margin", tuple(margins)
        large = [m for m in margins if m.severity == "warning"]
        yield "large-margin", _evidence(bool(large))


def _drift(results: Results) -> Seen:
    for m in results.named("drift.level")[:1]:
        severity = _graded(abs(_value(m)), DRIFT)
        way = "rises" if _value(m) > 0 else "falls"
        sign = Sign(
            f"the level {way} by {abs(_value(m)):.1f} % from scan to scan",
            f"first against last blank scan: {_value(m):+.1f}{_pm(m)} %",
            severity,
            ("drift.level",),
        )
        yield "drifts", (sign,) if severity else ()
        if severity:
            yield "rises", _evidence(_value(m) > 0)
    for m in results.named("drift.settle_time")[:1]:
        slow = m.status == "lower-bound" or _value(m) > SETTLING_S
        least = "more than " if m.status == "lower-bound" else ""
        sign = Sign(
            f"the light needs {least}{_value(m):.0f} s to settle",
            "time until blank scans stay within 0.5 % of their end",
            "note",
            ("drift.settle_time",),
        )
        yield "settles-slowly", (sign,) if slow else ()


def _noise(results: Results) -> Seen:
    index = _light_index(results)
    if index is not None:
        severity = _graded(-index[0], (-LITTLE_LIGHT[0], -LITTLE_LIGHT[1]))
        sign = Sign(
            f"little light reaches the sensor ({index[0]:.0f} thousand electrons)",
            f"the grain on white paper is what {index[0]:.1f} ± {index[1]:.1f} thousand electrons "
            "at full scale would give",
            severity,
            ("noise.light_index",),
        )
        yield "little-light", (sign,) if severity else ()
    grain = summarise(results, "noise.temporal", "highest")
    if grain:
        severity = _graded(grain.value, GRAINY)
        sign = Sign(
            f"grain of {grain.value:.1f} L* on white paper",
            f"standard deviation of what changes from scan to scan: {grain.value:.2f} L*",
            severity,
            ("noise.temporal",),
        )
        yield "grainy", (sign,) if severity else ()
    read = [_value(m) for m in results.named("noise.read")]
    gain = [_value(m) for m in results.named("noise.gain")]
    if read and gain:
        of_read = (statistics.median(read) / 100) ** 2
        of_light = statistics.median(gain) * 1e-6
        yield "noise-without-light", _evidence(of_read > READ_SHARE * (of_read + of_light))


def _light_index(results: Results) -> tuple[float, float] | None:
    """Median over the channels and its uncertainty."""
    found = results.named("noise.light_index")
    if not found:
        return None
    error = statistics.median(m.uncertainty or 0.0 for m in found) / len(found) ** 0.5
    return statistics.median(map(_value, found)), error


def _fainter(results: Results, earlier: Results | None) -> Seen:
    now = _light_index(results)
    before = _light_index(earlier) if earlier is not None else None
    if now is None or before is None:
        return
    ratio = now[0] / before[0]
    error = ratio * ((now[1] / now[0]) ** 2 + (before[1] / before[0]) ** 2) ** 0.5
    severity = _graded(-ratio, tuple(-limit for limit in FAINTER))
    if ratio + 2 * error >= 1:
        severity = None
    sign = Sign(
        f"{100 * ratio:.0f} % of the light of the earlier check is left",
        f"light index {now[0]:.1f} against {before[0]:.1f} thousand electrons: "
        f"{100 * ratio:.0f} ± {100 * error:.0f} %",
        severity,
        ("noise.light_index",),
    )
    yield "fainter", (sign,) if severity else ()


def _banding(results: Results) -> Seen:
    amplitudes = results.named("banding.amplitude")
    band = max(map(_value, amplitudes), default=0.0)
    if amplitudes:
        severity = _graded(band, BANDS)
        yield "bands", (_bands(results, band, severity),) if severity else ()
        yield from _of_bands(results)
    unsteady = summarise(results, "banding.unsteadiness", "highest")
    if unsteady:
        rest = max(unsteady.value**2 - band**2 / 2, 0.0) ** 0.5
        severity = _graded(rest, UNSTEADY) if rest > BESIDE_BANDS * band else None
        sign = Sign(
            f"rows differ irregularly by {rest:.2f} %",
            f"rms of what all columns share from row to row, beside a regular wave: {rest:.2f} %",
            severity,
            ("banding.unsteadiness",),
        )
        yield "unsteady", (sign,) if severity else ()
    jitter = summarise(results, "geometry.travel_jitter", "highest")
    if jitter:
        severity = _graded(jitter.value, JITTER)
        sign = Sign(
            f"the carriage runs unsteadily by {jitter.value:.0f} µm",
            f"standard deviation of where rows lie: {jitter.value:.0f} µm",
            severity,
            ("geometry.travel_jitter",),
        )
        yield "jitter", (sign,) if severity else ()


def _bands(results: Results, band: float, severity: Severity) -> Sign:
    periods = results.named("banding.period")
    every = f" every {statistics.median(map(_value, periods)):.2f} mm" if periods else ""
    return Sign(
        f"bands of {band:.2f} %{every} along travel",
        "; ".join(dict.fromkeys(m.reason for m in periods if m.reason)),
        severity,
        ("banding.amplitude", "banding.period"),
    )


def _of_bands(results: Results) -> Seen:
    periods = [_value(m) for m in results.named("banding.period")]
    spreads = [_value(m) for m in results.named("banding.phase_spread")]
    hertz = [_value(m) for m in results.named("banding.frequency")]
    if spreads and periods and min(periods) >= LEAST_PERIOD_MM:
        moved_mm = max(spreads) / (2 * math.pi) * statistics.median(periods)
        yield "crests-move", _evidence(moved_mm >= CRESTS_MOVE_MM)
    if hertz:
        near = [abs(statistics.median(hertz) / (2 * f) - 1) < MAINS_TOLERANCE for f in MAINS_HZ]
        yield "mains", _evidence(any(near))
    if periods:
        yield "as-fine-as-steps", _evidence(statistics.median(periods) < STEPS_MM)


# --------------------------------------------------------------------- colours and driver


def _fringes(results: Results) -> Seen:
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
            middle = statistics.median(map(_value, sites))
            if worst is None or abs(middle) > abs(worst[0]):
                worst = middle, direction, channel
            varies |= direction == "across" and _varies(sites)
    if not looked or worst is None:
        return
    shift, direction, channel = worst
    severity = _graded(abs(shift), FRINGES)
    sign = Sign(
        f"{channel} lies {abs(shift):.2f} px beside green ({ALONG[direction]})",
        f"median over all edges: {shift:+.2f} px",
        severity,
        ("colour.registration",),
    )
    yield "fringes", (sign,) if severity else ()
    yield "fringes-along-travel", _evidence(direction == "travel")
    change = Sign(
        "colour fringes change along the sensor line",
        "a lens that focuses colours at unlike scales shifts them more toward the ends",
        "note",
        ("colour.registration",),
    )
    yield "fringes-change", (change,) if varies else ()


def _varies(sites: Sequence[Measurement]) -> bool:
    """Whether the shift at the left and at the right third of the bed differ clearly."""
    placed = [(m.at_mm[0], _value(m)) for m in sites if m.at_mm is not None]
    if len(placed) < FEWEST_SITES:
        return False
    low, high = min(x for x, _ in placed), max(x for x, _ in placed)
    third = (high - low) / 3
    left = [value for x, value in placed if x <= low + third]
    right = [value for x, value in placed if x >= high - third]
    return abs(statistics.median(left) - statistics.median(right)) >= VARYING_FRINGES


def _claim(results: Results) -> Seen:
    found = results.named("claim.native_fraction")
    made_up = []
    for direction in DIRECTIONS:
        worst = min(
            (m for m in found if m.direction == direction and _value(m) < NATIVE[0]),
            key=_value,
            default=None,
        )
        if worst is not None:
            made_up.append(
                Sign(
                    f"only {100 * _value(worst):.0f} % of the dpi is real ({ALONG[direction]})",
                    f"{worst.scan}: {worst.reason}",
                    "fault" if _value(worst) < NATIVE[1] else "warning",
                    ("claim.native_fraction", "claim.factor"),
                )
            )
    if found:
        yield "invented", tuple(made_up)


def _processing(results: Results, scans: Sequence[ScanFacts]) -> Seen:
    yield from _sharpened(results)
    stretches = results.named("processing.level_stretch")
    if stretches:
        bent = [
            m for m in stretches if abs(_value(m) - 1) > max(STRETCH, 3 * (m.uncertainty or 0.0))
        ]
        sign = Sign(
            "levels were stretched after digitising",
            bent[0].reason if bent else "",
            "warning",
            ("processing.level_stretch",),
        )
        yield "stretched", (sign,) if bent else ()
    grains = results.named("processing.grain_kept")
    if grains:
        odd = [m for m in grains if not GRAIN_KEPT[0] <= _value(m) <= GRAIN_KEPT[1]]
        sign = Sign(
            "the finest grain was smoothed away",
            f"grain kept {_value(odd[0]):.2f}, 1 without smoothing" if odd else "",
            "warning",
            ("processing.grain_kept",),
        )
        yield "smoothed", (sign,) if odd else ()
    yield from _no_grain(results)
    lossy = {scan.file for scan in scans if scan.lossy}
    qualities = results.named("processing.jpeg_quality")
    if qualities:
        worst = min(qualities, key=_value)
        hidden = worst.scan not in lossy
        bad = _value(worst) < JPEG[0]
        where = "though the file is lossless" if hidden else "by the file's own compression"
        grave: Severity = "warning" if hidden or _value(worst) < JPEG[1] else "note"
        sign = Sign(
            f"traces of lossy compression of quality {_value(worst):.0f}, {where}",
            worst.reason,
            grave,
            ("processing.jpeg_quality",),
        )
        yield "compressed", (sign,) if bad else ()
    for m in results.named("processing.crop"):
        sign = Sign(
            f"scans of the whole bed differ in size by {_value(m):.0f} mm",
            m.reason,
            "warning",
            ("processing.crop",),
        )
        yield "cropped", (sign,) if _value(m) > CROP_MM else ()
    clipped = summarise(results, "tone.clipped", "highest")
    if clipped:
        sign = Sign(
            f"{clipped.value:.1f} % of pixels sit at the top of the scale",
            "in the worst of the scans; shading and noise are hidden there",
            "warning",
            ("tone.clipped",),
        )
        yield "clipped", (sign,) if clipped.value > CLIPPED else ()


def _no_grain(results: Results) -> Seen:
    """Whether white paper has no grain at all: a very quiet scanner, or smoothing."""
    grains = [m for m in results.measurements if m.name == "processing.grain_kept"]
    gone = [m for m in grains if m.value is None and "below the rounding" in m.reason]
    if grains:
        yield "no-grain", _evidence(len(gone) == len(grains))


def _sharpened(results: Results) -> Seen:
    halo = summarise(results, "processing.halo", "highest")
    peak = summarise(results, "sharpness.peak", "median of the worse direction, upwards")
    if halo is None and peak is None:
        return
    severity = _graded(halo.value, HALO) if halo else None
    reasons = []
    if halo and severity:
        reasons.append(f"halo of {halo.value:.1f} % beside edges, which no lens makes")
    if peak and peak.value > PEAK:
        severity = "warning"
        reasons.append(f"contrast is boosted to {peak.value:.2f} at some detail sizes")
    sign = Sign(
        "the software sharpens",
        "; ".join(reasons),
        severity,
        ("processing.halo", "sharpness.peak"),
    )
    yield "sharpened", (sign,) if severity else ()
    strong = (halo is not None and halo.value >= STRONG_HALO) or (peak and peak.value > PEAK)
    yield "strong-halo", _evidence(bool(severity and strong))


# -------------------------------------------------------------------------------- geometry


def _geometry(results: Results, scans: Sequence[ScanFacts]) -> Seen:
    for m in results.named("geometry.orthogonality")[:1]:
        clear = abs(_value(m)) > 3 * (m.uncertainty or 0.0)
        severity = _graded(abs(_value(m)), NOT_SQUARE) if clear else None
        sign = Sign(
            f"the picture is {abs(_value(m)):.2f}° out of square",
            f"sensor line against travel: {_value(m):+.2f}{_pm(m)}°"
            + (f"; {m.reason}" if m.reason else ""),
            severity,
            ("geometry.orthogonality",),
        )
        yield "not-square", (sign,) if severity else ()
    yield from _sizes(results, scans)
    printer = [
        *results.named("geometry.printer_across"),
        *results.named("geometry.printer_down"),
    ]
    if printer:
        worst = max(printer, key=lambda m: abs(_value(m)))
        sign = Sign(
            f"the sheet was printed {abs(_value(worst)):.1f} % too "
            f"{'large' if _value(worst) > 0 else 'small'}",
            f"{_value(worst):+.2f}{_pm(worst)} %",
            "note",
            (worst.name,),
        )
        yield "print-size", (sign,) if abs(_value(worst)) > PRINT_SIZE else ()
    for m in results.named("geometry.printer_squareness")[:1]:
        sign = Sign(
            f"the sheet was printed {abs(_value(m)):.2f}° out of square",
            f"{_value(m):+.2f}{_pm(m)}°",
            "note",
            (m.name,),
        )
        yield "print-not-square", (sign,) if abs(_value(m)) > PRINT_SQUARE else ()


def _sizes(results: Results, scans: Sequence[ScanFacts]) -> Seen:
    """True dpi against what the files say."""
    told = {scan.file: scan.dpi for scan in scans if scan.dpi_source in ("file", "option")}
    found = []
    for axis, direction in enumerate(DIRECTIONS):
        for m in results.named(f"geometry.dpi_{direction}")[:1]:
            dpi = told.get(m.scan) or next(
                (s.dpi for s in scans if s.role == "bed-sheet" and s.file in told), None
            )
            if dpi is not None:
                found.append((100 * (_value(m) / dpi[axis] - 1), direction, m))
    if found:
        error, direction, m = max(found, key=lambda each: abs(each[0]))
        severity = _graded(abs(error), WRONG_SIZE)
        sign = Sign(
            f"lengths {ALONG[direction]} come out {abs(error):.1f} % too "
            f"{'large' if error > 0 else 'small'}",
            f"{_value(m):.1f} dpi" + (f"; {m.reason}" if m.reason else ""),
            severity,
            (m.name,),
        )
        yield "wrong-size", (sign,) if severity else ()


def _gutter(results: Results) -> Seen:
    found = summarise(results, "gutter.delta_L_at_5mm", "highest")
    if found is None:
        return
    reason = "paper level of the open book, median along the spine"
    reach = summarise(results, "gutter.reach_5", "highest")
    if reach:
        reason += f"; less than 5 L* darker from {reach.value:.1f} mm on"
    sign = Sign(
        f"the page is {found.value:.1f} L* darker 5 mm from the spine",
        reason,
        "warning",
        ("gutter.delta_L_at_5mm", "gutter.reach_5"),
    )
    yield "dark-gutter", (sign,) if found.value > GUTTER else ()


def names_of(signs: Signs) -> list[str]:
    """Names of the signs that ask for an explanation."""
    return [name for name, found in signs.items() if any(sign.severity for sign in found)]


def measures_of(found: Sequence[Sign]) -> tuple[str, ...]:
    """Names of the measures that signs rest on, each once."""
    return tuple(dict.fromkeys(name for sign in found for name in sign.rests_on))


__all__ = ["Sign", "Signs", "matching", "measures_of", "names_of", "observe"]
