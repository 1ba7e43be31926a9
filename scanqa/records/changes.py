"""Changes in a series of checks: three control charts on self-starting scores.

The scores of steady values are independent standard normal without a baseline
(`scanqa.records.selfstart`). An individuals chart sees a large step at once, a CUSUM a small one
that stays, an EWMA what lies between: at the same rate of false alarms the three together find a
step of 1.5 to 3 σ sooner than the first two alone (``python -m tests.accuracy records``). After an
alarm the series begins anew at the estimated change, so that every change is found.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence

import numpy as np

from scanqa.model.history import Change
from scanqa.records.selfstart import (
    EWMA_WEIGHT,
    FIRST_SCORED,
    cusum_limit,
    ewma_limit,
    q_scores,
    shewhart_limit,
)

SLACK = 0.5  # k of the CUSUM: half of the shift that is to be found soonest
# Three charts together alarm more often than one, less often than three independent ones: with
# each at 2.5 times the wanted run length they have it together, for 250 to 10 000 checks within
# 20 % (simulated in tests/records/test_changes.py).
SHARE = 2.5


def find_changes(
    values: Sequence[float], *, run_length: float, floor: float = 0.0, widened: float = 1.0
) -> list[Change]:
    """Every change in a stretch of checks without events.

    Parameters
    ----------
    values : sequence of float
        One for each check, in time order.
    run_length : float
        Checks between false alarms, for the three charts together.
    floor : float
        Smallest believable standard deviation from check to check.
    widened : float
        How much wider the scores of steady values are known to scatter than standard normal ones.
    """
    changes: list[Change] = []
    start = 0
    while len(values) - start > FIRST_SCORED:
        scores = (q_scores(values[start:], floor=floor) / widened).tolist()
        alarm = first_alarm(scores, run_length)
        if alarm is None:
            break
        at, chart = alarm
        began = likely_begin(values[start : start + at + 1])
        before = statistics.median(values[start : start + began])
        after = statistics.median(values[start + began : start + at + 1])
        changes.append(Change(start + began, start + at, before, after, chart))
        start += began  # at least 1: the first value of a stretch cannot be a change
    return changes


def first_alarm(scores: Sequence[float], run_length: float) -> tuple[int, str] | None:
    """Index of the first alarm, and the chart that alarmed; None without one.

    Parameters
    ----------
    scores : sequence of float
        Standard normal where nothing changes.
    run_length : float
        Checks between false alarms, for the three charts together.
    """
    each = SHARE * run_length
    single, summed = shewhart_limit(each), cusum_limit(each, slack_sigma=SLACK)
    smooth = ewma_limit(each) * math.sqrt(EWMA_WEIGHT / (2 - EWMA_WEIGHT))
    up = down = level = 0.0
    for i, score in enumerate(scores):
        up, down = max(0.0, up + score - SLACK), max(0.0, down - score - SLACK)
        level = EWMA_WEIGHT * score + (1 - EWMA_WEIGHT) * level
        if abs(score) > single:
            return i, "individuals"
        if max(up, down) > summed:
            return i, "CUSUM"
        if abs(level) > smooth:
            return i, "EWMA"
    return None


def likely_begin(values: Sequence[float]) -> int:
    """Index of the first value after a step: the likeliest place for one step in normal scatter.

    Maximises ``n₁ n₂ / n · (mean₂ − mean₁)²`` (Hinkley, Biometrika 57(1), 1970); at least 1.
    """
    x = np.asarray(values, np.float64) - values[0]
    n = len(x)
    first = np.arange(1, n)
    before = np.cumsum(x)[:-1]
    gap = (x.sum() - before) / (n - first) - before / first
    return int(np.argmax(first * (n - first) / n * gap**2)) + 1
