"""Control charts over a whole fleet: one budget of false calls, whatever its size.

A healthy scanner whose charts alarm once in 240 checks is no trouble alone; three hundred of them
would alarm every month. What is held here is the number of false alarms of the *fleet*.

Method
------
1. *One budget.* Expected false alarms add up over scanners, measures and checks whether or not they
   are independent (Bonferroni's inequality in time), so each chart's share is the budget over all
   of them: its run length is the number of measure-checks of the fleet in a quarter over
   `DESIGN_A_QUARTER`, at least that of the scanner's own charts (`scanqa.records.health`). The
   charts are the same three (`scanqa.records.changes`) on the same self-starting scores
   (Quesenberry, Journal of Quality Technology 23(3), 1991).
2. *An empirical null.* The scores are standard normal only for steady, independent, normal values.
   Paper lots, seasons and rounding make real ones wider; with hundreds of scanners that can be
   seen. By measure, over all scanners and their checks before a first alarm, the 90 % quantile of
   |score| is put over that of the normal law, and so for the smoothed scores of the EWMA, which
   correlation in time widens; by the larger ratio, if it is over 1, the limits of the measure are
   widened (Efron, Journal of the American Statistical Association 99(465), 2004: the null of many
   tests is taken from their bulk). A quantile in the bulk is not moved by the few that are sick.
3. *A second check.* An alarm is no call yet: the checks after it, which had no part in it, must
   stay half of the step away from the old level (`scanqa.records.fleet.calls`). An outlier, however
   far, does not, so heavy tails do not break the budget; a false level is given up again.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from scanqa.catalogue import CATALOGUE
from scanqa.model import Array, Floats
from scanqa.model.fleet import Budget
from scanqa.model.history import Change
from scanqa.records.changes import SHARE, SLACK, find_changes
from scanqa.records.fleet.gather import Track, UnitChecks
from scanqa.records.health import FEWEST_CHECKS, RUN_LENGTH
from scanqa.records.selfstart import (
    EWMA_WEIGHT,
    FIRST_SCORED,
    cusum_limit,
    ewma_limit,
    q_scores,
    shewhart_limit,
)
from scanqa.records.weigh import CARE, COUNT_FLOOR

CALLS_A_QUARTER = 1.0  # false ones of the whole fleet at most
# Half of it is spent on the charts; the other half is left for what no law foresees.
DESIGN_A_QUARTER = 0.5
QUARTER_DAYS = 365.2425 / 4
MOST_RUN_LENGTH = 5e7  # a chart of some 5.6 σ: a fleet of ten thousand scanners checked each week
BULK = 0.90  # quantile of |score| that tells how wide steady values scatter
FEWEST_SCORES = 300  # from which on that quantile is known to some 5 %
SETTLED = 8  # checks after which the smoothed scores have their full scatter, within a few per cent


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """Checks of one measure of one scanner between events that changed it.

    Attributes
    ----------
    start : int
        Index of its first value in the track.
    """

    track: Track
    start: int
    stop: int


def budget(units: Sequence[UnitChecks], checks_a_quarter: float) -> Budget:
    """The run length that each measure of each scanner is given.

    Parameters
    ----------
    checks_a_quarter : float
        Of the fleet.
    """
    tracks = [sum(len(t.values) >= FEWEST_CHECKS for t in unit.tracks) for unit in units]
    series, checked = sum(tracks), sum(bool(unit.taken) for unit in units)
    a_scanner = series / checked if checked else 1.0
    alone = RUN_LENGTH * max(1.0, a_scanner)
    together = checks_a_quarter * a_scanner / DESIGN_A_QUARTER
    run_length = min(max(alone, together), MOST_RUN_LENGTH)
    return Budget(CALLS_A_QUARTER, checks_a_quarter, series, run_length)


def changes_of(
    stretches: Sequence[Stretch], run_length: float, known: Mapping[str, float] | None = None
) -> tuple[list[list[Change]], dict[str, float]]:
    """Every change of each stretch, and how much wider the limits of each measure were made.

    Parameters
    ----------
    stretches : sequence of Stretch
        Of all scanners.
    run_length : float
        Checks between false alarms of one of them.
    known : mapping from measure to float, optional
        How much wider limits are to be, where that was seen on the whole fleet before.

    Returns
    -------
    changes : list of list of Change
        For each stretch; indices count in its track.
    widened : dict from measure to float
        Those over 1.
    """
    by_name: dict[str, list[int]] = {}
    for number, each in enumerate(stretches):
        if each.stop - each.start > FIRST_SCORED:
            by_name.setdefault(each.track.key.name, []).append(number)
    found: list[list[Change]] = [[] for _ in stretches]
    widened: dict[str, float] = {}
    for name, numbers in by_name.items():
        some = [stretches[number] for number in numbers]
        values, lengths = _table([each.track.values[each.start : each.stop] for each in some])
        doubts, _ = _table([each.track.doubts[each.start : each.stop] for each in some])
        floors = scatter_floors(name, values, doubts, lengths)
        scores = q_scores(values, floor=floors[:, None])
        levels = _levels(scores)
        if known is None:
            first = _first_alarms(scores, levels, lengths, run_length)
            wider = _widening(scores, levels, np.where(first < 0, lengths, first))
        else:
            wider = known.get(name, 1.0)
        if wider > 1 or known is not None:
            first = _first_alarms(scores / wider, levels / wider, lengths, run_length)
        if wider > 1:
            widened[name] = wider
        for row in np.flatnonzero(first >= 0):
            each = some[row]
            own = each.track.values[each.start : each.stop].tolist()
            found[numbers[row]] = [
                Change(c.began + each.start, c.alarm + each.start, c.before, c.after, c.chart)
                for c in find_changes(
                    own, run_length=run_length, floor=float(floors[row]), widened=wider
                )
            ]
    return found, widened


def _table(rows: Sequence[Floats]) -> tuple[Floats, Array]:
    """Rows of many lengths as one table, each filled up with its last value; and the lengths."""
    lengths = np.array([len(row) for row in rows])
    table = np.empty((len(rows), int(lengths.max())))
    for line, row in zip(table, rows, strict=True):
        line[: len(row)] = row
        line[len(row) :] = row[-1]
    return table, lengths


def scatter_floors(name: str, values: Floats, doubts: Floats, lengths: Array) -> Floats:
    """`scanqa.records.weigh.scatter_floor` of each row at once.

    Parameters
    ----------
    values, doubts : (rows, n)
        Filled up beyond `lengths`.
    lengths : (rows,)

    Returns
    -------
    (rows,)
    """
    row = CATALOGUE[name]
    inside = np.arange(values.shape[1]) < lengths[:, None]
    middle = _medians(values, inside)
    care = CARE * np.array([row.matters.between(m, m) for m in middle.tolist()])
    known = _medians(doubts, inside & np.isfinite(doubts))
    least = np.maximum(care, 0.5 * np.nan_to_num(known))
    always = max(10.0**-row.digits / math.sqrt(12), COUNT_FLOOR if name == "glass.marks" else 0.0)
    return np.asarray(np.maximum(least, always))


def _medians(values: Floats, inside: Array) -> Floats:
    """The median of each row's values `inside`; NaN where it has none."""
    ordered = np.sort(np.where(inside, values, np.inf), axis=1)
    counts = inside.sum(axis=1)
    low, high = np.maximum(counts - 1, 0) // 2, np.minimum(counts // 2, values.shape[1] - 1)
    rows = np.arange(len(values))
    lower, upper = ordered[rows, low], ordered[rows, high]
    some = counts > 0
    return np.where(some, (np.where(some, lower, 0.0) + np.where(some, upper, 0.0)) / 2, np.nan)


def _widening(scores: Floats, levels: Floats, quiet: Array) -> float:
    """How much wider the scores of a measure scatter than ideal ones, at least 1.

    `quiet` is how many checks of each row come before its first alarm.
    """
    checks = np.arange(scores.shape[1])
    normal = float(special.ndtri(0.5 + BULK / 2))
    ratios = [1.0]
    level_sd = math.sqrt(EWMA_WEIGHT / (2 - EWMA_WEIGHT))
    for kind, begin, sd in (
        (scores, FIRST_SCORED, 1.0),
        (levels, FIRST_SCORED + SETTLED, level_sd),
    ):
        bulk = np.abs(kind[(checks >= begin) & (checks < quiet[:, None])])
        if len(bulk) >= FEWEST_SCORES:
            ratios.append(float(np.quantile(bulk, BULK)) / (normal * sd))
    return max(ratios)


def _levels(scores: Floats) -> Floats:
    """Scores smoothed as the EWMA chart has them."""
    levels = np.zeros(scores.shape)
    level = np.zeros(len(scores))
    for at in range(scores.shape[1]):
        level = EWMA_WEIGHT * scores[:, at] + (1 - EWMA_WEIGHT) * level
        levels[:, at] = level
    return levels


def _first_alarms(scores: Floats, levels: Floats, lengths: Array, run_length: float) -> Array:
    """Index of the first alarm of each row, −1 without one; charts as in `first_alarm`."""
    each = SHARE * run_length
    single, summed = shewhart_limit(each), cusum_limit(each, slack_sigma=SLACK)
    smooth = ewma_limit(each) * math.sqrt(EWMA_WEIGHT / (2 - EWMA_WEIGHT))
    found = np.full(len(scores), -1)
    up = np.zeros(len(scores))
    down = np.zeros(len(scores))
    for at in range(scores.shape[1]):
        score = scores[:, at]
        up, down = np.maximum(0.0, up + score - SLACK), np.maximum(0.0, down - score - SLACK)
        alarm = (np.abs(score) > single) | (np.maximum(up, down) > summed)
        alarm |= np.abs(levels[:, at]) > smooth
        found[alarm & (found < 0) & (at < lengths)] = at
    return found
