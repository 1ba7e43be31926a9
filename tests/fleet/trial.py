"""Plays a fleet month by month, as it would be looked at, and counts what is called.

Each month all scanners are looked over with what is known by then (`overlook` on the checks so
far); a call that was not there the month before is counted: on a healthy scanner it is a false one,
even if it comes back to one that had been given up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

import numpy as np
from scipy import stats

from scanqa.records.fleet.overlook import overlook
from tests.fleet.lives import FAULTS, Kind, Life, day_of, healthy, unit_of

MONTHS_A_QUARTER = 3


@dataclass
class Played:
    """What became of a fleet.

    Attributes
    ----------
    false : list of (month, scanner, measures)
        Calls of healthy scanners.
    delays : dict
        By sick scanner: its fault, and how many checks it took from the first bad one to the call;
        0 where it was never called.
    waiting : float
        Scanners that one check shows something of, in an ordinary month.
    """

    scanners: int
    months: int
    false: list[tuple[int, str, tuple[str, ...]]] = field(default_factory=list)
    delays: dict[str, tuple[str, int]] = field(default_factory=dict)
    waiting: float = 0.0
    widest: float = 1.0

    @property
    def quarters(self) -> float:
        return self.months / MONTHS_A_QUARTER

    def rate(self) -> tuple[float, float, float]:
        """False calls a quarter and the exact 95 % interval of Poisson (Garwood, 1936)."""
        count = len(self.false)
        low = float(stats.chi2.ppf(0.025, 2 * count)) / 2 if count else 0.0
        high = float(stats.chi2.ppf(0.975, 2 * count + 2)) / 2
        return count / self.quarters, low / self.quarters, high / self.quarters


def draw(
    kinds: Sequence[Kind], scanners: int, months: int, seed: int, *, sick: int = 0,
    slow: float = 0.0, tails: float | None = None,
) -> list[Life]:  # fmt: skip
    """Lives of a fleet; the first `sick` of them get a fault each, at a month by lot."""
    rng = np.random.default_rng(seed)
    lives = [
        healthy(f"unit {at:03}", kinds[at % len(kinds)], months, rng, slow=slow, tails=tails)
        for at in range(scanners)
    ]
    for at in range(sick):
        onset = int(rng.integers(months // 3, months - 12))
        lives[at] = FAULTS[at // 2 % len(FAULTS)](lives[at], onset, rng)
    return lives


def play(lives: Sequence[Life], *, begin: int = 3) -> Played:
    """Look at a fleet each month."""
    months = len(lives[0].values)
    found = Played(len(lives), months)
    sick = {life.name: life for life in lives if life.fault}
    found.delays = {name: (life.fault, 0) for name, life in sick.items()}
    before: set[str] = set()
    for month in range(begin, months):
        units = [unit_of(life, month + 1) for life in lives]
        fleet = overlook(units, today=date.fromisoformat(day_of(month)[:10]))
        called = {call.scanner: call for call in fleet.calls}
        for name in called.keys() - before:
            life = sick.get(name)
            if life is None or month < life.onset:
                names = tuple(dict.fromkeys(m.key.name for m in called[name].moved)) or ("line",)
                found.false.append((month, name, names))
            elif not found.delays[name][1]:
                found.delays[name] = (life.fault, month - life.onset + 1)
        before = set(called)
        found.waiting += len(fleet.seen_once) / (months - begin)
        found.widest = max([found.widest, *fleet.budget.widened.values()])
    return found
