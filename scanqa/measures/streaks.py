"""Lines that run through scans of plain paper, and the fine pattern between columns.

Column means of a blank scan (row means for lines across), as the logarithm of linear light, are
searched for lines of 1 sample to 3 mm (`scanqa.numeric.lines`): a least-squares amplitude on a
cubic background, against the scatter of all other columns, with a false-alarm rate of 1 in 5000
scans. Lines found in scans whose paper was moved in between are the scanner's if they stay and
the paper's if they do not. The likely cause follows from polarity, length, width and channel.

Fails where there is no paper (dark margins are cut off), where the paper is at the top of the
scale, and in scans only a few millimetres wide. The outermost millimetre, where the frame throws
its shadow, is left out; bands wider than a millimetre are not found within 10 mm of the ends.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

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
    Window,
)
from scanqa.numeric.lightness import lstar, luma
from scanqa.numeric.lines import Line, find_lines, local_pattern, measure_at
from scanqa.numeric.spread import sigma_about_zero

MAX_WIDTH_MM = 3.0
MARGIN_MM = 1.0  # shadow of the frame
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
SATURATED = 0.5  # share of samples at the top code above which nothing can be said
UNDITHERED_CODES = 0.35  # noise per sample under which rounding does not average out
CROPS = 4
CURVE_COLUMNS = 300
PAPER = "the paper: the line moved with it"
COLOURS: tuple[Channel, ...] = ("red", "green", "blue")


@dataclass(frozen=True, slots=True, eq=False)
class _Profiles:
    """Log light of one scan along one axis, its ends and dark margins cut off."""

    stack: Floats  # (luma and channels, bands, samples)
    weights: Floats  # samples in each band
    first: int  # sample of the image that is stack[..., 0]
    first_band: int
    floor: float  # noise of an amplitude that rounding leaves
    band_mm: float
    length_mm: float  # of the image along the lines

    def extent_mm(self, bands: tuple[int, int]) -> tuple[float, float]:
        """Where a run of bands begins and ends; the outermost bands reach the image's ends."""
        start = (bands[0] + self.first_band) * self.band_mm
        end = (bands[1] + self.first_band) * self.band_mm
        return min(start, self.length_mm), min(end, self.length_mm)


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
        ``streaks``; ``streaks.column_pattern`` of each scan (% rms of luma); column profiles and
        magnified crops as evidence.
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
    return Measurement(
        "streaks.column_pattern",
        None,
        status="not-measurable",
        reason=reason,
        scan=placement.scan.name,
        direction="across",
        channel="luma",
    )


def _measure_alike(placements: Sequence[Placement]) -> Results:
    streaks: list[Streak] = []
    measurements, evidence = [], []
    axes: tuple[Direction, ...] = ("travel", "across")
    for axis in axes:
        profiles = [_profiles(placement, axis) for placement in placements]
        if any(p is None for p in profiles):
            if axis == "travel":
                measurements += [
                    _no_pattern(placement, "no evenly white paper was found over its width")
                    for placement in placements
                ]
            continue
        sound = _same_domain([p for p in profiles if p is not None])
        found = _search(placements, sound, axis)
        streaks += found
        if axis == "travel":
            for placement, profile in zip(placements, sound, strict=True):
                measurements.append(_column_pattern(placement, profile, found))
        evidence.append(_curves(placements[0], sound, axis, found))
    measurements.append(_strongest_visible(placements, streaks))
    evidence += _crops(placements, streaks)
    return Results(tuple(measurements), tuple(streaks), (), tuple(evidence))


def _profiles(placement: Placement, axis: Direction) -> _Profiles | None:
    """Log light, (luma and channels, bands, samples), where there is paper; None if nowhere."""
    overview = placement.overview
    width_mm, height_mm = placement.size_mm
    if axis == "travel":
        codes = overview.column_means
        pitch_mm, length_mm = MM_PER_INCH / placement.dpi[0], height_mm
        band_mm = overview.band_rows_px * MM_PER_INCH / placement.dpi[1]
        weights = np.full(len(codes), float(overview.band_rows_px))
        weights[-1] = placement.scan.height_px - overview.band_rows_px * (len(codes) - 1)
    else:
        codes = overview.row_means.transpose(1, 0, 2)
        pitch_mm, length_mm = MM_PER_INCH / placement.dpi[1], width_mm
        band_mm = width_mm / len(codes)
        weights = np.full(len(codes), placement.scan.width_px / len(codes))
    light = placement.light.light(codes)
    level = luma(light)
    samples = _lit(np.median(level, axis=0), math.ceil(MARGIN_MM / pitch_mm))
    bands = _lit(np.median(level, axis=1), 0)
    if samples is None or bands is None or samples.stop - samples.start < 64:
        return None
    planes = [level, *np.moveaxis(light, -1, 0)] if light.shape[-1] == 3 else [level]
    stack = np.stack([plane[bands, samples] for plane in planes]).astype(np.float64)
    if stack.min() <= 0:
        return None
    return _Profiles(
        stack=np.log(stack),
        weights=weights[bands],
        first=samples.start,
        first_band=bands.start,
        floor=_rounding(placement, codes[bands, samples], weights[bands]),
        band_mm=band_mm,
        length_mm=length_mm,
    )


def _lit(level: Floats, margin: int) -> slice | None:
    """The run of samples round the middle that has at least half of the middle's light."""
    dark = np.flatnonzero(level < 0.5 * np.median(level))
    middle = len(level) // 2
    first = int(dark[dark < middle].max() + 1) if np.any(dark < middle) else 0
    end = int(dark[dark >= middle].min()) if np.any(dark >= middle) else len(level)
    first, end = first + margin, end - margin
    return slice(first, end) if end > first else None


def _rounding(placement: Placement, codes: NDArray[np.float32], weights: Floats) -> float:
    """Noise of log light that whole codes leave when there is too little grain to dither them."""
    means = codes.mean(axis=-1).astype(np.float64)
    fine, _ = local_pattern(means, 8)
    between = sigma_about_zero((fine - fine.mean(axis=0)) * np.sqrt(weights)[:, None], axis=1)
    if np.median(between) >= UNDITHERED_CODES or len(codes) < 2:
        return 0.0
    middle = np.full((1, codes.shape[-1]), np.median(means))
    step = placement.light.light(middle + 0.5) - placement.light.light(middle - 0.5)
    return float(np.mean(step / placement.light.light(middle))) / math.sqrt(12)


def _same_domain(profiles: Sequence[_Profiles]) -> list[_Profiles]:
    """Profiles of scans of one size cut to the samples and bands that all of them have."""
    first = max(p.first for p in profiles)
    end = min(p.first + p.stack.shape[2] for p in profiles)
    first_band = max(p.first_band for p in profiles)
    end_band = min(p.first_band + p.stack.shape[1] for p in profiles)
    return [
        replace(
            p,
            stack=p.stack[
                :,
                first_band - p.first_band : end_band - p.first_band,
                first - p.first : end - p.first,
            ],
            weights=p.weights[first_band - p.first_band : end_band - p.first_band],
            first=first,
            first_band=first_band,
        )
        for p in profiles
    ]


def _search(
    placements: Sequence[Placement], profiles: Sequence[_Profiles], axis: Direction
) -> list[Streak]:
    """Lines of the mean of all scans and of each scan, each once."""
    pitch_mm = MM_PER_INCH / placements[0].dpi[0 if axis == "travel" else 1]
    weights = profiles[0].weights
    stacks = [p.stack for p in profiles]
    searched = stacks if len(stacks) == 1 else [np.mean(stacks, axis=0), *stacks]
    lines: list[Line] = []
    for stack in searched:
        found = find_lines(
            stack,
            weights,
            max_width=MAX_WIDTH_MM / pitch_mm,
            false_alarms=FALSE_ALARMS / len(searched),
            floor=max(p.floor for p in profiles),
            bend=BEND_PER_MM * pitch_mm,
            block=round(BLOCK_MM / pitch_mm),
        )
        lines += [line for line in found if not any(_same(line, other) for other in lines)]
    streaks = [_streak(line, placements, profiles, axis, pitch_mm) for line in lines]
    return _with_joins(sorted(streaks, key=lambda s: s.at_px))


def _same(one: Line, other: Line) -> bool:
    apart = abs(one.at - other.at) < max(2.0, (one.width + other.width) / 2)
    return apart and one.bands[0] < other.bands[1] and other.bands[0] < one.bands[1]


def _streak(
    line: Line,
    placements: Sequence[Placement],
    profiles: Sequence[_Profiles],
    axis: Direction,
    pitch_mm: float,
) -> Streak:
    at, width = round(line.at), max(round(line.width), 1)
    block = max(round(BLOCK_MM / pitch_mm), 24 * width)
    per_scan = [
        measure_at(p.stack, p.weights, at, width, line.bands, block=block) for p in profiles
    ]
    values = np.array([value for value, _ in per_scan])  # (scans, signals)
    errors = np.array([error for _, error in per_scan])
    strongest = int(np.argmax(np.abs(values[:, line.signal])))
    moved = _moved(values[:, line.signal], errors[:, line.signal])
    of_signals = values[strongest] if moved else values.mean(axis=0)
    channels = _channels(of_signals, errors[strongest])
    signal = 0 if len(channels) != 1 or len(of_signals) == 1 else 1 + COLOURS.index(channels[0])
    amplitude = line.amplitude if signal == line.signal and not moved else of_signals[signal]
    if amplitude * line.amplitude <= 0:
        amplitude, signal = line.amplitude, line.signal
    contrast = math.expm1(amplitude)
    profile = profiles[strongest]
    level = float(np.exp(np.average(profile.stack[0, :, at], weights=profile.weights)))
    of_luma = math.expm1(of_signals[0])
    delta_l = abs(float(lstar(level * (1 + of_luma)) - lstar(level)))
    extent = profile.extent_mm(line.bands)
    full = line.bands[1] - line.bands[0] >= FULL_LENGTH * len(profile.weights)
    polarity: Polarity = "dark" if contrast < 0 else "bright"
    at_px = line.at + profile.first
    return Streak(
        at_mm=(at_px + 0.5) * pitch_mm,
        at_px=at_px,
        width_um=line.width * pitch_mm * 1000,
        contrast_percent=100 * abs(contrast),
        delta_L=delta_l,
        polarity=polarity,
        channels=channels,
        extent_mm=extent,
        significance=abs(line.amplitude) / line.sigma,
        likely_cause=_cause(polarity, channels, line.width, full, axis, moved, len(placements)),
        visible=delta_l >= VISIBLE_DELTA_L,
        scan=placements[strongest].scan.name,
        axis=axis,
    )


def _moved(values: Floats, errors: Floats) -> bool:
    """Whether a line is in some scans and not in others: it went with the paper.

    Each scan other than the strongest is either like it (within 15 % and its uncertainty) or
    without the line; the likelier of the two counts, and most of the scans decide.
    """
    strongest = int(np.argmax(np.abs(values)))
    top = values[strongest]
    others = np.delete(values, strongest)
    spread = np.maximum(np.delete(errors, strongest), 1e-9)
    alike = np.hypot(np.hypot(spread, errors[strongest]), 0.15 * top)
    stays = -0.5 * ((others - top) / alike) ** 2 - np.log(alike)
    absent = -0.5 * (others / spread) ** 2 - np.log(spread)
    return bool(others.size and np.mean(absent > stays) >= 0.5)


def _channels(values: Floats, errors: Floats) -> tuple[Channel, ...]:
    """The colours that share in a line: near the strongest, and beyond three uncertainties."""
    if len(values) == 1:
        return ("luma",)
    colours, limits = np.abs(values[1:]), np.maximum(3 * errors[1:], 1e-12)
    near = (colours >= CHANNEL_SHARE * colours.max()) & (colours >= limits)
    near[int(np.argmax(colours))] = True
    return tuple(colour for colour, is_near in zip(COLOURS, near, strict=True) if is_near)


def _cause(
    polarity: Polarity,
    channels: tuple[Channel, ...],
    width_px: float,
    full: bool,
    axis: Direction,
    moved: bool,
    scans: int,
) -> str:
    """Words for what such a line usually is. Common practice in the trade, no source."""
    if moved:
        return PAPER
    if axis == "across":
        return "uneven carriage travel or lamp light: a step, a pause or flicker at that moment"
    if not full:
        return "dirt or a scratch on the glass, lengthwise"
    if len(channels) == 1 and channels[0] != "luma" and width_px < 1.8:
        return "dead or weak sensor element"
    if polarity == "bright":
        return "dirt on the white calibration strip"
    return "dirt in the moving light path or on the sensor window"


def _with_joins(streaks: list[Streak]) -> list[Streak]:
    """Name the joins of a contact sensor's segments: four or more narrow lines at one pitch."""
    narrow = [s for s in streaks if s.axis == "travel" and s.width_um < 400]
    lines = [s for s in narrow if s.likely_cause.startswith(("dirt in", "dirt on the white"))]
    places = np.array([s.at_mm for s in lines])
    for first in range(len(places)):
        for second in range(first + 1, len(places)):
            pitch = places[second] - places[first]
            if pitch < 5:
                continue
            steps = (places - places[first]) / pitch
            regular = np.abs(steps - np.round(steps)) * pitch < 0.15
            if np.count_nonzero(regular) >= 4 and np.ptp(np.round(steps[regular])) <= 2 * sum(
                regular
            ):
                joins = {id(s) for s, is_one in zip(lines, regular, strict=True) if is_one}
                return [
                    replace(s, likely_cause="joins between the segments of a contact sensor")
                    if id(s) in joins
                    else s
                    for s in streaks
                ]
    return streaks


def _column_pattern(
    placement: Placement, profile: _Profiles, streaks: Sequence[Streak]
) -> Measurement:
    """Rms of what odd and even bands have in common, streaks left out.

    The noise of a column mean differs between the two halves, so the mean product of their
    residuals is the variance of the pattern alone.
    """
    pitch_mm = MM_PER_INCH / placement.dpi[0]
    bands = profile.stack.shape[1]
    reach = max(round(PATTERN_REACH_MM / pitch_mm), 8)
    if bands < 2 or profile.stack.shape[2] < 4 * reach:
        return _no_pattern(placement, "the scan is too small to tell pattern from noise")
    fine, gain = local_pattern(profile.stack[0], reach)
    x = np.arange(fine.shape[1]) + reach + profile.first
    keep = np.ones(x.size, bool)
    for streak in streaks:
        keep &= np.abs(x - streak.at_px) > 1.5 * streak.width_um / 1000 / pitch_mm + 2
    if np.count_nonzero(keep) < 64:
        return _no_pattern(placement, "streaks cover the whole width")
    halves = [
        np.average(fine[start::2], axis=0, weights=profile.weights[start::2])[keep] / gain
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
    shown = [s for s in streaks if s.visible and s.likely_cause != PAPER]
    if not shown:
        return Measurement("streaks.strongest_visible", 0.0, scan=placements[0].scan.name)
    one = max(shown, key=lambda s: s.contrast_percent)
    return Measurement(
        "streaks.strongest_visible",
        one.contrast_percent,
        one.contrast_percent / one.significance,
        scan=one.scan,
    )


def _curves(
    placement: Placement,
    profiles: Sequence[_Profiles],
    axis: Direction,
    streaks: Sequence[Streak],
) -> Evidence:
    """Mean profile less its shading, as least and most light over each few samples."""
    pitch_mm = MM_PER_INCH / placement.dpi[0 if axis == "travel" else 1]
    weights = profiles[0].weights
    stack = np.mean([p.stack[0] for p in profiles], axis=0)
    reach = min(max(round(10 / pitch_mm), 16), stack.shape[1] // 4)
    fine, _ = local_pattern(np.average(stack, axis=0, weights=weights), reach)
    percent = 100 * np.expm1(fine)
    group = max(math.ceil(percent.size / CURVE_COLUMNS), 1)
    whole = percent.size // group
    groups = percent[: whole * group].reshape(whole, group)
    x = (np.arange(whole) * group + (group - 1) / 2 + reach + profiles[0].first + 0.5) * pitch_mm
    name = "columns" if axis == "travel" else "rows"
    return Evidence(
        explains="streaks",
        kind="curves",
        title=f"Mean light of the {name}, shading removed",
        scan=placement.scan.name,
        x_label="from the left, mm" if axis == "travel" else "from the top, mm",
        y_label="light against surroundings, %",
        unit="%",
        curves=(
            Curve("least", x, groups.min(axis=1)),
            Curve("most", x, groups.max(axis=1)),
        ),
        lines_mm=tuple((s.at_mm, f"{s.polarity} {s.contrast_percent:.2f} %") for s in streaks),
        note=f"Each point shows the least and most of {group} {name}"
        + (f"; mean of {len(profiles)} scans." if len(profiles) > 1 else "."),
    )


def _crops(placements: Sequence[Placement], streaks: Sequence[Streak]) -> list[Evidence]:
    by_name = {placement.scan.name: placement for placement in placements}
    strongest = sorted(streaks, key=lambda s: -s.delta_L)[:CROPS]
    return [_crop(by_name[streak.scan], streak) for streak in strongest]


def _crop(placement: Placement, streak: Streak) -> Evidence:
    """Real pixels round a streak, contrast stretched between the 1st and 99th percentile."""
    scan = placement.scan
    width_px = (
        streak.width_um / 1000 / MM_PER_INCH * placement.dpi[0 if streak.axis == "travel" else 1]
    )
    side = int(np.clip(8 * width_px, 96, 320))
    x_mm, y_mm = streak.at_mm, sum(streak.extent_mm) / 2
    if streak.axis == "across":
        x_mm, y_mm = y_mm, x_mm
    x_px, y_px = placement.px(x_mm, y_mm)
    height, width = min(side, scan.height_px), min(side, scan.width_px)
    row = int(np.clip(round(y_px) - height // 2, 0, scan.height_px - height))
    col = int(np.clip(round(x_px) - width // 2, 0, scan.width_px - width))
    pixels = scan.window(Window(row, col, height, width)).astype(np.float64)
    low, high = np.percentile(pixels, [1, 99])
    stretched = np.clip((pixels - low) / max(high - low, 1.0) * 255, 0, 255).round()
    left, top = placement.mm(col - 0.5, row - 0.5)
    right, bottom = placement.mm(col + width - 0.5, row + height - 0.5)
    return Evidence(
        explains="streaks",
        kind="crop",
        title=f"{streak.polarity.capitalize()} streak at {streak.at_mm:.1f} mm, magnified",
        scan=scan.name,
        image=np.broadcast_to(stretched.astype(np.uint8), (height, width, 3)).copy(),
        extent_mm=(left, top, right, bottom),
        lines_mm=((streak.at_mm, f"{streak.contrast_percent:.2f} %"),),
        note=f"Real pixels; contrast stretched from codes {low:.0f}–{high:.0f} to the whole range.",
    )
