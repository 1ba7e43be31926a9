"""Lives of scanners drawn from simulated checks, with planted faults.

A check is drawn from the pool (`tests.fleet.pool`): what it has over the mean of its kind keeps how
measures scatter together and how far from normal they are; to it comes normal scatter of half that
size, so that no number stands twice, and the sum is scaled back to the pool's own. Each unit has
levels of its own about those of its kind. Slow scatter (season, paper lots) can be added: a part of
each check's scatter that follows that of the check before.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

import numpy as np

from scanqa.catalogue import CATALOGUE
from scanqa.model import Decision, Floats, Identity
from scanqa.records.fleet.gather import Track, UnitChecks
from scanqa.records.health import NONE_FOUND
from scanqa.records.series import Value
from scanqa.records.store import Check, Line
from scanqa.records.streak_lives import lives_of
from tests.fleet.pool import Checked

SMOOTH = 0.5  # scatter added to drawn checks, in units of theirs
UNIT_SHARE = 0.03  # standard deviation of levels from unit to unit
BEGIN = date(2021, 1, 5)


@dataclass(frozen=True)
class Kind:
    """The pool of one kind of scanner as tables: a row for each check, a column for each number."""

    like: tuple[Value, ...]
    mean: Floats
    scatter: Floats  # what each check has over the mean; NaN where it has no such number

    @property
    def names(self) -> list[str]:
        return [v.name for v in self.like]


@dataclass(frozen=True)
class Life:
    """Checks of one scanner: (checks, numbers), and lines by check."""

    name: str
    kind: Kind
    values: Floats
    lines: tuple[tuple[Line, ...], ...]
    fault: str = ""
    onset: int = -1


Plant = Callable[[Life, int, np.random.Generator], Life]


def kind_of(pool: Sequence[Checked]) -> Kind:
    """The pool of one kind as tables."""
    like = {v.key: v for checked in pool for v in checked.values if CATALOGUE[v.name].watched}
    table = np.full((len(pool), len(like)), np.nan)
    for row, checked in zip(table, pool, strict=True):
        for v in checked.values:
            if v.key in like:
                none_found = v.status == "at-most" and v.name in NONE_FOUND
                row[list(like).index(v.key)] = 0.0 if none_found else v.value
    seen = np.isfinite(table)
    mean = np.where(seen, table, 0).sum(axis=0) / seen.sum(axis=0)
    size = np.sqrt(len(pool) / (len(pool) - 1))
    return Kind(tuple(like.values()), mean, (table - mean) * size)


def healthy(
    name: str, kind: Kind, months: int, rng: np.random.Generator, *, slow: float = 0.0,
    tails: float | None = None,
) -> Life:  # fmt: skip
    """A life without a fault.

    Parameters
    ----------
    slow : float
        Correlation of each check's scatter with that of the check before.
    tails : float or None
        Degrees of freedom of Student's t by which the scatter is stretched; normal unless given.
    """
    sd = np.sqrt(np.nanmean(kind.scatter**2, axis=0))
    level = kind.mean + rng.standard_normal(len(sd)) * np.where(
        sd > 0, np.maximum(UNIT_SHARE * np.abs(kind.mean), sd), 0.0
    )
    drawn = kind.scatter[rng.integers(len(kind.scatter), size=months)]
    drawn = (drawn + SMOOTH * sd * rng.standard_normal(drawn.shape)) / np.hypot(1, SMOOTH)
    for at in range(1, months) if slow else ():
        before = np.nan_to_num(drawn[at - 1])
        drawn[at] = slow * before + np.sqrt(1 - slow**2) * drawn[at]
    if tails is not None:
        drawn = drawn * np.sqrt(tails / rng.chisquare(tails, (months, 1)))
    values = level + drawn
    floor_at_zero = kind.mean >= 0
    values = np.where(floor_at_zero & (values < 0), 0.0, values)
    return Life(name, kind, values, ((),) * months)


# -------------------------------------------------------------------------------- the faults


def _scaled(life: Life, factors: dict[str, Floats]) -> Floats:
    """Values with the columns of some measures multiplied, by month."""
    values = life.values.copy()
    for column, name in enumerate(life.kind.names):
        if name in factors:
            values[:, column] *= factors[name]
    return values


def _added(life: Life, values: Floats, what: dict[str, Floats]) -> Floats:
    values = values.copy()
    for column, name in enumerate(life.kind.names):
        if name in what:
            values[:, column] += what[name]
    return values


def fading(life: Life, onset: int, rng: np.random.Generator) -> Life:
    """Two per cent of the light go each month; noise grows by its root, as photons have it."""
    left = 0.98 ** np.maximum(0, np.arange(len(life.values)) - onset + 1.0)
    values = _scaled(life, {"noise.light_index": left, "noise.temporal": left**-0.5})
    values = _added(life, values, {"noise.snr": 10 * np.log10(left)})
    return replace(life, values=values, fault="lamp −2 % a month", onset=onset)


def noisy(life: Life, onset: int, rng: np.random.Generator) -> Life:
    """A fifth more noise, its variance 1.44 times as large."""
    on = np.arange(len(life.values)) >= onset
    factor = np.where(on, 1.2, 1.0)
    values = _scaled(life, {"noise.temporal": factor, "noise.light_index": factor**-2.0})
    values = _added(life, values, {"noise.snr": -20 * np.log10(factor)})
    return replace(life, values=values, fault="noise +20 %", onset=onset)


def soft(life: Life, onset: int, rng: np.random.Generator) -> Life:
    """A tenth of the sharpness is lost, in both directions."""
    factor = np.where(np.arange(len(life.values)) >= onset, 0.9, 1.0)
    names = [n for n in life.kind.names if n.startswith(("sharpness.sheet_", "sharpness.sfr"))]
    values = _scaled(life, dict.fromkeys(names, factor))
    return replace(life, values=values, fault="focus −10 %", onset=onset)


def blind_edge(life: Life, onset: int, rng: np.random.Generator) -> Life:
    """A millimetre more of the glass is not seen at the book edge."""
    on = (np.arange(len(life.values)) >= onset).astype(float)
    wider = {"edges.dead_margin_left": on, "edges.usable_width": -on}
    values = _added(life, life.values, wider)
    return replace(life, values=values, fault="dead margin +1 mm", onset=onset)


def lined(life: Life, onset: int, rng: np.random.Generator) -> Life:
    """A dark line of half a per cent, as the search finds it (`LINE`, measured)."""
    at = float(rng.uniform(20, 190))
    noise = life.kind.mean[life.kind.names.index("noise.temporal")]
    typical, spread = LINE["noisy" if noise > NOISY else "quiet"]
    lines = []
    for month in range(len(life.values)):
        contrast, significance = rng.normal(0.365, 0.02), rng.normal(typical, spread)
        place = at + rng.normal(0, 0.01)
        line = Line("travel", "dark", place, 152.0, contrast, significance, False)
        lines.append((line,) if month >= onset else ())
    return replace(life, lines=tuple(lines), fault="line of 0.5 %", onset=onset)


# A line of 0.5 % and 120 µm put into the two scanners of the pool (eight checks each, 200 dpi) was
# found in all sixteen: of 0.365 % as the optics widen it, too faint to see, its significance:
LINE = {"noisy": (8.3, 0.6), "quiet": (12.9, 0.5)}
NOISY = 0.17  # L*, temporal noise between that of the two kinds
FAULTS: tuple[Plant, ...] = (fading, lined, soft, noisy, blind_edge)


# --------------------------------------------------------------------- as records hold them


def day_of(month: int) -> str:
    """When a monthly check is made."""
    at = datetime(BEGIN.year, BEGIN.month, BEGIN.day, 9) + timedelta(days=round(30.44 * month))
    return f"{at.isoformat()}+00:00"


def checks_of(life: Life) -> list[Check]:
    """A life as checks on record."""
    found = []
    for month, (row, lines) in enumerate(zip(life.values, life.lines, strict=True)):
        values = tuple(
            replace(v, value=float(number))
            for v, number in zip(life.kind.like, row, strict=True)
            if np.isfinite(number)
        )
        found.append(Check(month, day_of(month), values, lines))
    return found


def unit_of(life: Life, months: int, identity: Identity | None = None) -> UnitChecks:
    """The first months of a life as `scanqa.records.fleet.gather` reads them."""
    taken = tuple(day_of(month) for month in range(months))
    tracks = []
    for v, column in zip(life.kind.like, life.values[:months].T, strict=True):
        seen = np.flatnonzero(np.isfinite(column))
        if len(seen):
            doubt = np.full(len(seen), np.nan if v.random is None else v.random)
            tracks.append(Track(v.key, seen, column[seen], doubt))
    lines = lives_of(life.lines[:months], taken)
    return UnitChecks(
        identity or Identity(life.name), taken, ("keep",) * months, Decision("keep"),
        tuple(tracks), lines, taken, (), months, taken[0] if taken else "", (),
    )  # fmt: skip
