"""Whether a line that several scans show is the scanner's: what a line of the paper cannot fake.

Lines of the paper (a ruling, chain lines, a crease, a pen mark) move with it, but by accident one
may lie where another lay before. So a line counts as the scanner's only if

- it stands out in every scan by itself, at the same place, by the same amount;
- it runs exactly along its axis: sensor and carriage know no other way, a paper is seldom so
  straight;
- it is not one of a ruling: many lines of like strength moved with the paper, or it stands in a
  row of a pitch that sensors do not have;
- if it is short, the paper has no short ones like it: flecks and clouds in a row make some, and now
  and then two papers agree. The tails of the paper's own say how strong such may be.

What fails is put down to the paper.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from scanqa.measures.streaks.confirm import Line
from scanqa.model import Direction, Floats, Streak
from scanqa.numeric.line_fit import amplitudes_at, shape
from scanqa.reading.profiles import Profiles

ALONE = 3.0  # uncertainties by which a line must stand out in each scan
FARTHEST_PX, FARTHEST_SHARE = 1.5, 0.5  # between its places in two scans: samples, and of its width
LEAN_PX, LEAN_SHARE = 0.6, 0.15  # of its place from end to end: samples, and of its width
OF_PAPER = 1e-4  # likelihood ratio of what is put down to the paper
RULED = 3  # lines that moved with the paper make it a lined one …
LIKE = 2.0  # … whose lines are up to so much stronger than the strongest that moved
# Chips of contact sensors are 8 mm long or more, those of a lens are one. Common practice, no
# source. Squares and wire lines of paper are closer.
CLOSEST_JOINS_MM = 8.0


def in_all(line: Line, values: Floats, errors: Floats, least: float) -> bool:
    """Whether a line of the mean of all scans stands out in each of them.

    Parameters
    ----------
    values, errors : (scans,)
        Its amplitude in each scan and the uncertainty.
    least : float
        Share of the mean's amplitude that each must have.
    """
    shares = values / line.amplitude
    return bool(np.all(shares > least) and np.all(np.abs(values) > ALONE * errors))


def keeps_its_place(line: Line, beds: Sequence[Profiles]) -> bool:
    """Whether a line lies at one place in all scans and runs exactly along its axis."""
    width = max(round(line.width), 1)
    places = [_place(bed, line, line.bands) for bed in beds]
    if np.ptp(places) > max(FARTHEST_PX, FARTHEST_SHARE * width):
        return False
    first, end = line.bands
    middle = (first + end) // 2
    if middle - first < 1 or end - middle < 1:
        return True
    for bed in beds:
        halves = [_place(bed, line, part) for part in ((first, middle), (middle, end))]
        doubt = max(_doubt(bed, line, part) for part in ((first, middle), (middle, end)))
        lean = 2 * abs(halves[1] - halves[0])  # the middles of two halves are half its length apart
        if lean > max(LEAN_PX, LEAN_SHARE * width) + 2 * 3 * doubt:
            return False
    return True


def _place(bed: Profiles, line: Line, bands: tuple[int, int]) -> float:
    """Middle of a line in some of the bands of a scan, in samples."""
    part = slice(*bands)
    weights = bed.weights[part]
    profile = weights @ bed.stack[line.signal, part] / weights.sum()
    at, width, sign = round(line.at), max(round(line.width), 1), math.copysign(1.0, line.amplitude)
    near = range(max(at - width - 1, 0), min(at + width + 2, profile.size))
    found = [sign * float(amplitudes_at(profile, place, width)) for place in near]
    return shape(profile, near[int(np.argmax(found))], width, sign)[0]


def _doubt(bed: Profiles, line: Line, bands: tuple[int, int]) -> float:
    """Standard uncertainty of such a place: the width over the signal-to-noise ratio."""
    at, width = round(line.at), max(round(line.width), 1)
    part = slice(*bands)
    each = amplitudes_at(bed.stack[line.signal, part], at, width)
    noise = float(np.std(np.diff(each))) / math.sqrt(2 * len(each)) if len(each) > 2 else 0.0
    return width * noise / abs(line.amplitude)


def without_rulings(
    streaks: Sequence[Streak], in_row: Sequence[bool], axis: Direction
) -> list[Streak]:
    """Streaks, those that may be lines of a lined paper put down to it.

    Parameters
    ----------
    streaks : sequence of Streak
        Of several scans, along one axis.
    in_row : sequence of bool
        Which of them stand in a row at one pitch.
    axis : str
        The way they run.
    """
    of_paper = [streak for streak in streaks if streak.of_the_paper]
    lined = len(of_paper) >= RULED
    strongest = max((streak.contrast_percent for streak in of_paper), default=0.0)
    short = [streak.contrast_percent for streak in of_paper if not streak.signs.full]
    strongest_short = max(short, default=0.0)
    places = [s.at_mm for s, row in zip(streaks, in_row, strict=True) if row]
    gaps = np.diff(places)
    # Nothing in a scanner draws a row of lines across; joins of its sensor stand far apart.
    ruling = gaps.size > 0 and (axis == "across" or float(np.median(gaps)) < CLOSEST_JOINS_MM)
    return [
        replace(streak, signs=replace(streak.signs, stays=OF_PAPER, regular=False))
        if streak.signs.compared
        and (
            (lined and streak.contrast_percent < LIKE * strongest)
            or (ruling and row)
            or (not streak.signs.full and streak.contrast_percent < LIKE * strongest_short)
        )
        else streak
        for streak, row in zip(streaks, in_row, strict=True)
    ]
