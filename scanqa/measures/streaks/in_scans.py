"""Lines of several scans of one size: found, measured in each, and what tells their cause.

Lines are searched in the mean of all scans, which shows fainter ones, and in each scan alone. What
is in one scan only moved with the paper. Causes are no matter of this room: `LineSigns` says what
was seen of a line, the diagnosis what that makes likely.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from scanqa.measures.streaks.confirm import Line
from scanqa.measures.streaks.search import Sought, find_lines, least_found
from scanqa.measures.streaks.whose import OF_PAPER, in_all, keeps_its_place, without_rulings
from scanqa.model import (
    COLOURS,
    MM_PER_INCH,
    Channel,
    Direction,
    Floats,
    LineSigns,
    Placement,
    Streak,
)
from scanqa.numeric.lightness import lstar
from scanqa.numeric.line_fit import measure_at
from scanqa.reading.profiles import Profiles

MAX_WIDTH_MM = 3.0
FALSE_ALARMS = 2e-4  # per scan and axis: the probability that pure noise gives any streak
# Standard uncertainty that the bends of the shading add to a line, per mm of line width:
# 0.015 % of light; common practice, no source. It makes 3 mm bands under about 0.25 % unseen.
BEND_PER_MM = 1.5e-4
NARROWEST = 2  # columns: what is narrower, optics blur to so much
BLOCK_MM = 25.0  # noise is taken to be even over this length
# 0.5 % of the light of white paper (L* 95) is 0.18 L*: what shows in an even area.
# Common practice, no source.
VISIBLE_DELTA_L = 0.18
IN_ALL = 0.4  # of its height in the mean, at least, in every scan, for a line to be in all of them
FULL_LENGTH = 0.85  # share of the bed above which a line runs through all of it
ONE_SAMPLE = 1.6  # full width at half height, in samples, below which a line is one sample wide
# Below 150 dpi one sample holds several elements: the width of a line is no evidence.
WIDEST_PITCH_MM = MM_PER_INCH / 150 * 1.01
CHANNEL_SHARE = 0.4  # of the strongest channel, for a channel to count as affected
# Of places in a regular row; two places are rounded to samples by half a one each.
ROW_SLACK_MM, ROW_SLACK_SAMPLES = 0.15, 1.2
LEAST_PITCH_MM, LEAST_IN_ROW = 5.0, 4
ROW_BY_CHANCE = 0.01  # probability above which a row may be an accident


def streaks_along(
    placements: Sequence[Placement], beds: Sequence[Profiles], axis: Direction
) -> list[Streak]:
    """Streaks along one axis, in the order of their places, each once.

    Parameters
    ----------
    placements : sequence of Placement
        Blank scans of one size and dpi.
    beds : sequence of Profiles
        Of each, on one domain.
    axis : str
        The way the lines run.
    """
    streaks = [_streak(line, placements, beds, axis) for line in _lines(beds)]
    streaks.sort(key=lambda streak: streak.at_px)
    slack_mm = max(ROW_SLACK_MM, ROW_SLACK_SAMPLES * beds[0].pitch_mm)
    in_row = regular([streak.at_mm for streak in streaks], slack_mm)
    streaks = without_rulings(streaks, in_row, axis)
    return [
        replace(streak, signs=replace(streak.signs, regular=True))
        if is_regular and streak.signs.full and streak.signs.stays >= 1
        else streak
        for streak, is_regular in zip(streaks, in_row, strict=True)
    ]


def least_contrast_found(beds: Sequence[Profiles]) -> float:
    """Contrast (share of light) from which on a line of the scanner is found, narrow or wide."""
    mean = np.mean([bed.stack for bed in beds], axis=0)
    return math.expm1(least_found(mean, beds[0].weights, _sought(beds)))


def _sought(beds: Sequence[Profiles]) -> Sought:
    pitch_mm, searches = beds[0].pitch_mm, len(beds) + (len(beds) > 1)
    return Sought(
        max_width=MAX_WIDTH_MM / pitch_mm,
        false_alarms=FALSE_ALARMS / searches,
        floor=max(bed.floor for bed in beds),
        bend=BEND_PER_MM * pitch_mm,
        block=round(BLOCK_MM / pitch_mm),
        dilution=max(beds[0].per / NARROWEST, 1.0),
    )


def _lines(beds: Sequence[Profiles]) -> list[Line]:
    """Lines of the mean of all scans that each of them has, and lines of each scan, once each."""
    weights, sought = beds[0].weights, _sought(beds)
    lines: list[Line] = []
    if len(beds) > 1:
        for line in find_lines(np.mean([bed.stack for bed in beds], axis=0), weights, sought):
            values, errors = _in_each(line, beds)
            if in_all(line, values[:, line.signal], errors[:, line.signal], IN_ALL):
                lines.append(line)
    for bed in beds:
        own = find_lines(bed.stack, weights, sought)
        lines += [line for line in own if not any(_same(line, other) for other in lines)]
    return lines


def _same(one: Line, other: Line) -> bool:
    near = abs(one.at - other.at) < max(2.0, (one.width + other.width) / 2)
    return near and one.bands[0] < other.bands[1] and other.bands[0] < one.bands[1]


def _in_each(line: Line, beds: Sequence[Profiles]) -> tuple[Floats, Floats]:
    """Amplitude of a line in each scan and its uncertainty, (scans, signals)."""
    at, width = round(line.at), max(round(line.width), 1)
    block = max(round(BLOCK_MM / beds[0].pitch_mm), 24 * width)
    found = [measure_at(b.stack, b.weights, at, width, line.bands, block=block) for b in beds]
    return np.array([value for value, _ in found]), np.array([error for _, error in found])


def _streak(
    line: Line, placements: Sequence[Placement], beds: Sequence[Profiles], axis: Direction
) -> Streak:
    """A line in the words of the model: as in the strongest scan, or the mean if it stays."""
    values, errors = _in_each(line, beds)
    strongest = int(np.argmax(np.abs(values[:, line.signal])))
    stays = _stays(values[:, line.signal], errors[:, line.signal])
    own = values[:, line.signal], errors[:, line.signal]
    if len(beds) > 1 and not (in_all(line, *own, IN_ALL) and keeps_its_place(line, beds)):
        stays = min(stays, OF_PAPER)
    of_signals = values[strongest] if stays < 1 else values.mean(axis=0)
    channels = _channels(of_signals, errors[strongest])
    one_colour = len(of_signals) > 1 and len(channels) == 1
    amplitude = of_signals[1 + COLOURS.index(channels[0]) if one_colour else 0]
    if amplitude * line.amplitude <= 0:  # lost in that signal: keep what was searched
        amplitude = line.amplitude
    contrast = math.expm1(amplitude)
    bed = beds[strongest]
    level = float(np.exp(bed.mean()[round(line.at)]))
    delta_l = abs(float(lstar(level * math.exp(of_signals[0])) - lstar(level)))
    signs = LineSigns(
        compared=len(beds) > 1,
        stays=stays,
        full=line.bands[1] - line.bands[0] >= FULL_LENGTH * len(bed.weights),
        one_colour=one_colour,
        one_sample=line.width < ONE_SAMPLE if bed.pitch_mm <= WIDEST_PITCH_MM else None,
    )
    return Streak(
        at_mm=float(bed.at_mm(line.at)),
        at_px=float(bed.at_px(line.at)),
        width_um=line.width * bed.pitch_mm * 1000,
        contrast_percent=100 * abs(contrast),
        delta_L=delta_l,
        polarity="dark" if contrast < 0 else "bright",
        channels=channels,
        extent_mm=bed.extent_mm(line.bands),
        significance=line.significance,
        visible=delta_l >= VISIBLE_DELTA_L,
        scan=placements[strongest].scan.name,
        axis=axis,
        signs=signs,
    )


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


def regular(places_mm: Sequence[float], slack_mm: float) -> list[bool]:
    """Which places stand in a row of at least four at one pitch of 5 mm or more.

    At least half of the row's places must be taken, and chance must be an unlikely reason: each
    further place falls on the row by chance with probability 2 × `slack_mm` over the pitch.
    """
    places = np.asarray(places_mm, np.float64)
    best = np.zeros(len(places), bool)
    for first in range(len(places)):
        for second in range(first + 1, len(places)):
            pitch = places[second] - places[first]
            if pitch < LEAST_PITCH_MM:
                continue
            steps = (places - places[first]) / pitch
            on_row = np.abs(steps - np.round(steps)) * pitch < slack_mm
            count = int(np.count_nonzero(on_row))
            span = float(np.ptp(np.round(steps[on_row]))) + 1
            ways = math.comb(len(places) - 2, count - 2) * len(places) ** 2 / 2
            by_chance = ways * (2 * slack_mm / pitch) ** (count - 2)
            if count >= max(LEAST_IN_ROW, span / 2, best.sum() + 1) and by_chance < ROW_BY_CHANCE:
                best = on_row
    return [bool(one) for one in best]
