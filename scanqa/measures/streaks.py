"""Lines that run through scans of plain paper, and the fine pattern between columns.

Column means of a blank scan (row means for lines across), as the logarithm of linear light, are
searched for lines of 1 sample to 3 mm (`scanqa.numeric.lines`): a least-squares amplitude on a
cubic background, against the scatter of all other columns, with a false-alarm rate of 1 in 5000
scans. Lines found in scans whose paper was moved in between are the scanner's if they stay and
the paper's if they do not. Causes are ranked by Bayes' rule from polarity, length, width,
colour, regular pitch and whether the line stays.

Fails where there is no paper (dark margins are cut off), where the paper is at the top of the
scale, and in scans only a few millimetres wide. The outermost millimetre, where the frame throws
its shadow, is left out; bands wider than a millimetre are not found within 10 mm of the ends.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from scanqa.model import (
    MM_PER_INCH,
    Channel,
    Curve,
    Direction,
    Evidence,
    Floats,
    Measurement,
    Placement,
    Polarity,
    Results,
    Streak,
    not_measurable,
)
from scanqa.numeric.crops import crop
from scanqa.numeric.lightness import lstar
from scanqa.numeric.line_fit import local_pattern, measure_at
from scanqa.numeric.lines import Line, find_lines
from scanqa.numeric.profiles import Profiles, profiles, same_domain

MAX_WIDTH_MM = 3.0
FALSE_ALARMS = 2e-4  # per scan and axis: the probability that pure noise gives any streak
# Standard uncertainty that the bends of the shading add to a line, per mm of line width:
# 0.015 % of light; common practice, no source. It makes 3 mm bands under about 0.25 % unseen.
BEND_PER_MM = 1.5e-4
BLOCK_MM = 25.0  # noise is taken to be even over this length
PATTERN_REACH_MM = 2.5  # the column pattern is what is finer than about this
# 0.5 % of the light of white paper (L* 95) is 0.18 L*: what shows in an even area.
# Common practice, no source.
VISIBLE_DELTA_L = 0.18
FULL_LENGTH = 0.85  # share of the bed above which a line runs through all of it
CHANNEL_SHARE = 0.4  # of the strongest channel, for a channel to count as affected
# Of places in a regular row; two places are rounded to samples by half a one each.
ROW_SLACK_MM, ROW_SLACK_SAMPLES = 0.15, 1.2
SATURATED = 0.5  # share of samples at the top code above which nothing can be said
CROPS = 4
CURVE_COLUMNS = 300
COLOURS: tuple[Channel, ...] = ("red", "green", "blue")


# How often each cause shows each sign: judgement from the design of flatbed scanners (common
# practice, no source). Dirt in the moving path came after calibration and takes light away; dirt
# on the calibration strip makes its column over-corrected; an element is one sample wide and, in
# a sensor with a line for each colour, of one colour; what lies on the glass is short; what is in
# the paper moves with it. Columns: prior, then the chance that such a line stays, runs the full
# length, is dark, is of one colour, is one sample wide, stands in a regular row.
PAPER = "the paper: the line moved with it"
ALONG: dict[str, tuple[float, ...]] = {
    "dirt in the moving light path or on the sensor window": (
        0.30, 0.98, 0.97, 0.95, 0.03, 0.20, 0.01,
    ),
    "dirt on the white calibration strip": (0.20, 0.98, 0.97, 0.05, 0.03, 0.20, 0.01),
    "dead or weak sensor element": (0.08, 0.99, 0.99, 0.75, 0.60, 0.90, 0.01),
    "joins between the segments of a contact sensor": (0.07, 0.99, 0.98, 0.50, 0.05, 0.60, 0.90),
    "dirt or a scratch on the glass, lengthwise": (0.15, 0.95, 0.05, 0.60, 0.02, 0.25, 0.01),
    PAPER: (0.20, 0.03, 0.30, 0.60, 0.02, 0.25, 0.01),
}  # fmt: skip
ACROSS: dict[str, tuple[float, ...]] = {
    "a moment's step or pause of the carriage, or flicker of the lamp": (
        0.50, 0.05, 0.97, 0.50, 0.05, 0.60, 0.10,
    ),
    "a worn or dirty place in the carriage's travel": (0.15, 0.97, 0.97, 0.50, 0.03, 0.40, 0.20),
    "dirt or a scratch on the glass, crosswise": (0.15, 0.95, 0.05, 0.60, 0.02, 0.25, 0.01),
    PAPER: (0.20, 0.03, 0.30, 0.60, 0.02, 0.25, 0.01),
}  # fmt: skip
PAPER_UNTESTED = "the sheet of plain paper itself"  # words for PAPER when nothing was moved


@dataclass(frozen=True, slots=True)
class _Signs:
    """What is known of a line's cause. `stays` is a likelihood ratio, 1 with one scan."""

    stays: float
    full: bool
    dark: bool
    one_colour: bool
    sharp: bool
    regular: bool


def measure(placements: Sequence[Placement]) -> Results:
    """Streaks along and across blank scans, and the column pattern.

    Parameters
    ----------
    placements : sequence of Placement
        Scans of plain white paper, best two or more with the paper moved between. Scans of
        unlike size or dpi are searched one by one.

    Returns
    -------
    Results
        ``streaks``; ``streaks.strongest_visible`` of each group of like scans (%, streaks of the
        paper left out); ``streaks.column_pattern`` of each scan (% rms of luma); column profiles
        and magnified crops as evidence.
    """
    results = Results()
    for alike in _alike(placements):
        usable = []
        for placement in alike:
            reason = _unusable(placement)
            if reason:
                results += Results((_no_pattern(placement, reason),))
            else:
                usable.append(placement)
        if usable:
            results += _measure_alike(usable)
    return results


def _alike(placements: Sequence[Placement]) -> list[list[Placement]]:
    groups: dict[object, list[Placement]] = {}
    for placement in placements:
        scan = placement.scan
        key = (scan.width_px, scan.height_px, scan.channels, placement.dpi)
        groups.setdefault(key, []).append(placement)
    return list(groups.values())


def _unusable(placement: Placement) -> str:
    if placement.overview.top_share > SATURATED:
        return (
            f"{100 * placement.overview.top_share:.0f} % of the samples are at the top of the "
            "scale, where lines cannot be seen; scan with a lower brightness"
        )
    width_mm, height_mm = placement.size_mm
    if min(width_mm, height_mm) < 15:
        return f"the scan is only {width_mm:.0f} × {height_mm:.0f} mm"
    return ""


def _no_pattern(placement: Placement, reason: str) -> Measurement:
    name = "streaks.column_pattern"
    where = placement.scan.name
    return not_measurable(name, reason, where, direction="across", channel="luma")


def _measure_alike(placements: Sequence[Placement]) -> Results:
    streaks: list[Streak] = []
    measurements, evidence = [], []
    axes: tuple[Direction, ...] = ("travel", "across")
    for axis in axes:
        found = [profiles(placement, axis) for placement in placements]
        sound = [one for one in found if one is not None]
        if len(sound) < len(found):
            if axis == "travel":
                why = "no evenly white paper was found over its width"
                measurements += [_no_pattern(placement, why) for placement in placements]
            continue
        beds = same_domain(sound)
        lines = _search(placements, beds, axis)
        streaks += lines
        if axis == "travel":
            for placement, bed in zip(placements, beds, strict=True):
                measurements.append(_column_pattern(placement, bed, lines))
        evidence.append(_curves(placements[0], beds, axis, lines))
    measurements.append(_strongest_visible(placements, streaks))
    evidence += _crops(placements, streaks)
    return Results(tuple(measurements), tuple(streaks), (), tuple(evidence))


# ----------------------------------------------------------------------------------- search


def _search(
    placements: Sequence[Placement], beds: Sequence[Profiles], axis: Direction
) -> list[Streak]:
    """Lines of the mean of all scans that each of them has, and lines of each scan, once each."""
    pitch_mm, weights = beds[0].pitch_mm, beds[0].weights
    searches = len(beds) + (len(beds) > 1)

    def find(stack: Floats) -> list[Line]:
        return find_lines(
            stack,
            weights,
            max_width=MAX_WIDTH_MM / pitch_mm,
            false_alarms=FALSE_ALARMS / searches,
            floor=max(bed.floor for bed in beds),
            bend=BEND_PER_MM * pitch_mm,
            block=round(BLOCK_MM / pitch_mm),
        )

    lines: list[Line] = []
    if len(beds) > 1:
        for line in find(np.mean([bed.stack for bed in beds], axis=0)):
            values, _ = _of_scans(line, beds)
            if np.all(values[:, line.signal] / line.amplitude > 0.4):
                lines.append(line)
    for bed in beds:
        own = find(bed.stack)
        lines += [line for line in own if not any(_same(line, other) for other in lines)]
    return _named(lines, placements, beds, axis)


def _same(one: Line, other: Line) -> bool:
    near = abs(one.at - other.at) < max(2.0, (one.width + other.width) / 2)
    return near and one.bands[0] < other.bands[1] and other.bands[0] < one.bands[1]


def _of_scans(line: Line, beds: Sequence[Profiles]) -> tuple[Floats, Floats]:
    """Amplitude of a line and its uncertainty, (scans, signals)."""
    at, width = round(line.at), max(round(line.width), 1)
    block = max(round(BLOCK_MM / beds[0].pitch_mm), 24 * width)
    found = [measure_at(b.stack, b.weights, at, width, line.bands, block=block) for b in beds]
    return np.array([value for value, _ in found]), np.array([error for _, error in found])


def _named(
    lines: Sequence[Line],
    placements: Sequence[Placement],
    beds: Sequence[Profiles],
    axis: Direction,
) -> list[Streak]:
    """Streaks in the order of their places, with their causes."""
    found = [(line, *_streak(line, placements, beds, axis)) for line in lines]
    found.sort(key=lambda item: item[1].at_px)
    slack_mm = max(ROW_SLACK_MM, ROW_SLACK_SAMPLES * beds[0].pitch_mm)
    regular = _regular([streak.at_mm for _, streak, _ in found], slack_mm)
    out = []
    for (_, streak, signs), is_regular in zip(found, regular, strict=True):
        if is_regular and signs.full and signs.stays >= 1:
            signs = replace(signs, regular=True)
        causes = _ranked(ACROSS if axis == "across" else ALONG, signs, len(beds) > 1)
        out.append(replace(streak, causes=causes, likely_cause=causes[0][0]))
    return out


def _streak(
    line: Line, placements: Sequence[Placement], beds: Sequence[Profiles], axis: Direction
) -> tuple[Streak, _Signs]:
    values, errors = _of_scans(line, beds)
    strongest = int(np.argmax(np.abs(values[:, line.signal])))
    stays = _stays(values[:, line.signal], errors[:, line.signal])
    of_signals = values[strongest] if stays < 1 else values.mean(axis=0)
    channels = _channels(of_signals, errors[strongest])
    one_colour = len(of_signals) > 1 and len(channels) == 1
    signal = 1 + COLOURS.index(channels[0]) if one_colour else 0
    amplitude = of_signals[signal]
    if amplitude * line.amplitude <= 0:  # lost in that signal: keep what was searched
        amplitude = line.amplitude
    contrast = math.expm1(amplitude)
    bed = beds[strongest]
    level = float(np.exp(bed.mean()[round(line.at)]))
    delta_l = abs(float(lstar(level * math.exp(of_signals[0])) - lstar(level)))
    polarity: Polarity = "dark" if contrast < 0 else "bright"
    streak = Streak(
        at_mm=float(bed.at_mm(line.at)),
        at_px=line.at + bed.first,
        width_um=line.width * bed.pitch_mm * 1000,
        contrast_percent=100 * abs(contrast),
        delta_L=delta_l,
        polarity=polarity,
        channels=channels,
        extent_mm=bed.extent_mm(line.bands),
        significance=line.significance,
        likely_cause="",
        visible=delta_l >= VISIBLE_DELTA_L,
        scan=placements[strongest].scan.name,
        axis=axis,
    )
    signs = _Signs(
        stays=stays,
        full=line.bands[1] - line.bands[0] >= FULL_LENGTH * len(bed.weights),
        dark=polarity == "dark",
        one_colour=one_colour,
        sharp=line.width < 1.6,
        regular=False,
    )
    return streak, signs


def _stays(values: Floats, errors: Floats) -> float:
    """How much likelier it is that a line is in all scans than that it is in the strongest only.

    In every other scan it is either like the strongest (within 15 % and the uncertainties) or
    absent. The ratio of likelihoods, 1 for one scan, kept within a factor of 10⁴.
    """
    strongest = int(np.argmax(np.abs(values)))
    top, others = values[strongest], np.delete(values, strongest)
    spread = np.maximum(np.delete(errors, strongest), 1e-9)
    alike = np.hypot(np.hypot(spread, errors[strongest]), 0.15 * top)
    present = -0.5 * ((others - top) / alike) ** 2 - np.log(alike)
    absent = -0.5 * (others / spread) ** 2 - np.log(spread)
    return math.exp(float(np.clip((present - absent).sum(), -9.2, 9.2)))


def _channels(values: Floats, errors: Floats) -> tuple[Channel, ...]:
    """The colours that share in a line: near the strongest, and beyond three uncertainties."""
    if len(values) == 1:
        return ("luma",)
    colours, limits = np.abs(values[1:]), np.maximum(3 * errors[1:], 1e-12)
    near = (colours >= CHANNEL_SHARE * colours.max()) & (colours >= limits)
    near[int(np.argmax(colours))] = True
    return tuple(colour for colour, is_near in zip(COLOURS, near, strict=True) if is_near)


# ------------------------------------------------------------------------------------ causes


def _ranked(
    table: dict[str, tuple[float, ...]], signs: _Signs, compared: bool
) -> tuple[tuple[str, float], ...]:
    """Causes and their probabilities by Bayes' rule, signs taken as independent."""
    seen = (signs.full, signs.dark, signs.one_colour, signs.sharp, signs.regular)
    # A line that is certain to stay counts as one that stays, one that is even as unknown.
    odds = signs.stays / (1 + signs.stays)
    weights = {}
    for cause, (prior, stays, *chances) in table.items():
        weight = prior * (stays * odds + (1 - stays) * (1 - odds))
        for chance, is_so in zip(chances, seen, strict=True):
            weight *= chance if is_so else 1 - chance
        words = PAPER_UNTESTED if cause == PAPER and not compared else cause
        weights[words] = weight
    total = sum(weights.values())
    ranked = sorted(weights.items(), key=lambda item: -item[1])
    return tuple((cause, weight / total) for cause, weight in ranked)


def _regular(places_mm: Sequence[float], slack_mm: float = ROW_SLACK_MM) -> list[bool]:
    """Which places stand in a row of at least four at one pitch of 5 mm or more.

    At least half of the row's places must be taken, and chance must be an unlikely reason: each
    further place falls on the row by chance with probability 2 × `slack_mm` over the pitch.
    """
    places = np.asarray(places_mm, np.float64)
    best = np.zeros(len(places), bool)
    for first in range(len(places)):
        for second in range(first + 1, len(places)):
            pitch = places[second] - places[first]
            if pitch < 5:
                continue
            steps = (places - places[first]) / pitch
            on_row = np.abs(steps - np.round(steps)) * pitch < slack_mm
            count = int(np.count_nonzero(on_row))
            span = float(np.ptp(np.round(steps[on_row]))) + 1
            by_chance = math.comb(len(places) - 2, count - 2) * (2 * slack_mm / pitch) ** (
                count - 2
            )
            by_chance *= len(places) ** 2 / 2
            if count >= 4 and 2 * count >= span and by_chance < 0.01 and count > best.sum():
                best = on_row
    return [bool(one) for one in best]


# --------------------------------------------------------------------------- single numbers


def _column_pattern(placement: Placement, bed: Profiles, streaks: Sequence[Streak]) -> Measurement:
    """Rms of what odd and even bands have in common, streaks left out.

    The noise of a column mean differs between the two halves, so the mean product of their
    residuals is the variance of the pattern alone.
    """
    bands = bed.stack.shape[1]
    reach = max(round(PATTERN_REACH_MM / bed.pitch_mm), 8)
    if bands < 2 or bed.stack.shape[2] < 4 * reach:
        return _no_pattern(placement, "the scan is too small to tell pattern from noise")
    fine, gain = local_pattern(bed.stack[0], reach)
    x_mm = bed.at_mm(np.arange(fine.shape[1]) + float(reach))
    keep = np.ones(x_mm.size, bool)
    for streak in streaks:
        keep &= np.abs(x_mm - streak.at_mm) > 1.5 * streak.width_um / 1000 + 2 * bed.pitch_mm
    if np.count_nonzero(keep) < 64:
        return _no_pattern(placement, "streaks cover the whole width")
    halves = [
        np.average(fine[start::2], axis=0, weights=bed.weights[start::2])[keep] / gain
        for start in (0, 1)
    ]
    product = halves[0] * halves[1]
    variance = max(float(product.mean()), 0.0)
    error = float(product.std()) / math.sqrt(product.size)
    rms = math.sqrt(variance)
    return Measurement(
        "streaks.column_pattern",
        100 * rms,
        # √(v + u) − √v: u/2√v for a clear pattern, √u where there is none
        uncertainty=100 * (math.sqrt(variance + error) - rms),
        scan=placement.scan.name,
        direction="across",
        channel="luma",
    )


def _strongest_visible(placements: Sequence[Placement], streaks: Sequence[Streak]) -> Measurement:
    """Contrast of the strongest streak of the scanner (not of the paper) that shows."""
    papers = (PAPER, PAPER_UNTESTED)
    shown = [s for s in streaks if s.visible and s.likely_cause not in papers]
    if not shown:
        return Measurement("streaks.strongest_visible", 0.0, scan=placements[0].scan.name)
    one = max(shown, key=lambda s: s.contrast_percent)
    error = one.contrast_percent / one.significance
    return Measurement("streaks.strongest_visible", one.contrast_percent, error, scan=one.scan)


# ---------------------------------------------------------------------------------- evidence


def _curves(
    placement: Placement, beds: Sequence[Profiles], axis: Direction, streaks: Sequence[Streak]
) -> Evidence:
    """Mean profile less its shading, as least and most light over each few samples."""
    profile = np.mean([bed.mean() for bed in beds], axis=0)
    reach = min(max(round(10 / beds[0].pitch_mm), 16), profile.size // 4)
    fine, _ = local_pattern(profile, reach)
    percent = 100 * np.expm1(fine)
    group = max(math.ceil(percent.size / CURVE_COLUMNS), 1)
    whole = percent.size // group
    groups = percent[: whole * group].reshape(whole, group)
    x = beds[0].at_mm(np.arange(whole) * group + (group - 1) / 2 + reach)
    name = "columns" if axis == "travel" else "rows"
    return Evidence(
        explains="streaks",
        kind="curves",
        title=f"Mean light of the {name}, shading removed",
        scan=placement.scan.name,
        x_label="from the left, mm" if axis == "travel" else "from the top, mm",
        y_label="light against surroundings, %",
        unit="%",
        curves=(Curve("least", x, groups.min(axis=1)), Curve("most", x, groups.max(axis=1))),
        lines_mm=tuple((s.at_mm, f"{s.polarity} {s.contrast_percent:.2f} %") for s in streaks),
        note=f"Each point shows the least and most of {group} {name}"
        + (f"; mean of {len(beds)} scans." if len(beds) > 1 else "."),
    )


def _crops(placements: Sequence[Placement], streaks: Sequence[Streak]) -> list[Evidence]:
    by_name = {placement.scan.name: placement for placement in placements}
    strongest = sorted(streaks, key=lambda s: -s.delta_L)[:CROPS]
    return [_crop(by_name[streak.scan], streak) for streak in strongest]


def _crop(placement: Placement, streak: Streak) -> Evidence:
    """Real pixels round the middle of a streak."""
    along = streak.axis == "travel"
    dpi = placement.dpi[0 if along else 1]
    side = int(np.clip(8 * streak.width_um / 1000 / MM_PER_INCH * dpi, 96, 320))
    place_mm = (streak.at_mm, sum(streak.extent_mm) / 2)
    piece = crop(placement, *placement.px(*(place_mm if along else place_mm[::-1])), side)
    return Evidence(
        explains="streaks",
        kind="crop",
        title=f"{streak.polarity.capitalize()} streak at {streak.at_mm:.1f} mm, magnified",
        scan=streak.scan,
        image=piece.image,
        extent_mm=piece.extent_mm,
        lines_mm=((streak.at_mm, f"{streak.contrast_percent:.2f} %"),),
        note=piece.note,
    )
