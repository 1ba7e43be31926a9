"""The demo's fleet: the Society's two scanners and ten more of its partners, all invented.

Heron and wren are those of the demo. The checks of the others are drawn from heron's first months
(as simulated and measured, see `scanqa.demo`): each unit has levels of its own, each check the
scatter of one of those months, and what is planted in `UNITS` is drawn into them by a closed form.
Their decisions are invented with them.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Literal

import numpy as np

from scanqa.demo import DIMS_BY, DIRT, DIRTY_IN, checked_months
from scanqa.model import Decision, Identity, Measurement, Outcome, Record, Streak
from scanqa.model.history import Event

SEED = 1203
SOUND_MONTHS = (0, 1, 2, 3, 4, 6)  # of heron's: before its lamp fades, without the streak
UNIT_SHARE = 0.02  # standard deviation of levels from unit to unit
Fault = Literal["", "line", "lamp", "noise", "new lamp", "line cleaned", "unlike"]
KEEP = Decision(
    "keep", "nothing-against", title="Keep it", sentence="Nothing was found against it."
)
CLEAN = Decision(
    "clean", "dirt", ("moving-dirt",), title="Clean it, then scan two blanks again",
    sentence="Dirt on the moving optics or the sensor window: this may come off.",
)  # fmt: skip
LIGHT, SNR = "noise.light_index", "noise.snr"


@dataclass(frozen=True, slots=True)
class DrawnUnit:
    """A scanner of the fleet.

    Attributes
    ----------
    months : int
        Of checks, one each.
    fault, ago : str, int
        What is planted, and how many checks ago it began.
    late : int
        Days since its newest check beyond the usual ones.
    """

    name: str
    model: str
    site: str
    months: int
    fault: Fault = ""
    ago: int = 0
    late: int = 0


UNITS = (
    DrawnUnit("avocet", "L-12", "Alderbeck Museum", 24),
    DrawnUnit("bittern", "L-12", "Alderbeck Museum", 24, "line", 3),
    DrawnUnit("curlew", "L-12", "Brackenrigg School", 24, "lamp", 11),
    DrawnUnit("dunlin", "L-12", "Brackenrigg School", 20, "noise", 5),
    DrawnUnit("egret", "L-12", "Fell Foot Library", 24, "new lamp", 5),
    DrawnUnit("fieldfare", "L-12", "Fell Foot Library", 24, "line cleaned", 2),
    DrawnUnit("goldcrest", "L-12", "Larkfield Mill", 3),
    DrawnUnit("linnet", "L-14", "Larkfield Mill", 18, late=40),
    DrawnUnit("plover", "L-12", "Tarn Head Nursery", 24, "unlike"),
    DrawnUnit("siskin", "L-14", "Tarn Head Nursery", 12),
)
DAYS_A_MONTH = 30
FIRST_DAYS_AGO = 6  # the newest check of most


def fleet_units(*, today: date) -> list[Identity]:
    """What is noted of the ten."""
    found = []
    for at, unit in enumerate(UNITS):
        arrived = _taken(unit, 0, today) - timedelta(days=10)
        found.append(
            Identity(
                unit.name, "Larkfield", unit.model, f"{520 + 13 * at:04}", site=unit.site,
                sensor="CCD", lamp="cold cathode", acquired=arrived.isoformat(),
            )
        )  # fmt: skip
    return found


def fleet_events(*, today: date) -> list[Event]:
    """What was done to them: a lamp and a cleaning."""
    done = {"new lamp": "lamp replaced", "line cleaned": "sensor window cleaned"}
    return [
        Event(unit.name, (_taken(unit, unit.months - unit.ago, today) - timedelta(days=9))
              .isoformat(), done[unit.fault])
        for unit in UNITS if unit.fault in done
    ]  # fmt: skip


def fleet_records(*, today: date) -> Iterator[Record]:
    """The checks of the ten, oldest first for each."""
    months = checked_months(today=today)
    sound = [months[at] for at in SOUND_MONTHS]
    line = next(s for s in months[DIRTY_IN].streaks if abs(s.at_mm - DIRT.at_mm) < 1)
    for number, unit in enumerate(UNITS):
        rng = np.random.default_rng([SEED, number])
        levels = {
            name: float(np.exp(UNIT_SHARE * rng.standard_normal()))
            for name in sorted({m.name for record in sound for m in record.measures})
        }
        for month in range(unit.months):
            like = sound[int(rng.integers(len(sound)))]
            yield _check(unit, month, like, levels, line, today)


def _taken(unit: DrawnUnit, month: int, today: date) -> date:
    since = FIRST_DAYS_AGO + unit.late + DAYS_A_MONTH * (unit.months - 1 - month)
    return today - timedelta(days=since)


def _check(
    unit: DrawnUnit, month: int, like: Record, levels: dict[str, float], line: Streak, today: date
) -> Record:
    """One check of a unit, after one of heron's."""
    day = _taken(unit, month, today)
    left = _left(unit, month)
    measures = tuple(_drawn(m, levels[m.name], left, unit) for m in like.measures)
    lined = _has_line(unit, month)
    mine = (replace(line, at_mm=line.at_mm - 31.0, at_px=line.at_px - 366.0),) if lined else ()
    scans = tuple(
        replace(scan, sha256=hashlib.sha256(f"{unit.name}{month}{at}".encode()).hexdigest())
        for at, scan in enumerate(like.scans)
    )
    return replace(
        like, scanner=unit.name, created=f"{day.isoformat()}T10:00:00+00:00", scans=scans,
        measures=measures, streaks=mine, glass_marks=(), findings=(), actions=(),
        outcome=Outcome("not judged"), conditions={"date": day.isoformat()},
        decision=CLEAN if lined else KEEP, identity=None,
    )  # fmt: skip


def _has_line(unit: DrawnUnit, month: int) -> bool:
    ago = unit.months - month
    if unit.fault == "line":
        return ago <= unit.ago
    return unit.fault == "line cleaned" and unit.ago < ago <= unit.ago + 4


def _left(unit: DrawnUnit, month: int) -> float:
    """The light that is left in a month, 1 when all is."""
    since = unit.ago - (unit.months - month) + 1
    if unit.fault == "lamp":
        return float((1 - DIMS_BY) ** max(0, since))
    if unit.fault == "noise":
        return 1.2**-2 if since > 0 else 1.0  # noise +20 %: as if by so much less light
    if unit.fault == "new lamp":
        return 1.0 if since > 0 else float((1 - DIMS_BY) ** max(0, month - 4))
    return 1.0


def _drawn(m: Measurement, level: float, left: float, unit: DrawnUnit) -> Measurement:
    """A measurement at the unit's own level, with what is planted."""
    if m.value is None or m.unit in ("mm", "dpi") or m.name.startswith(("processing", "streaks")):
        return m
    if m.name == SNR:
        return replace(m, value=m.value + 10 * math.log10(left * level))
    factor = level
    if m.name == LIGHT:
        factor *= left
    elif m.name == "noise.temporal":
        factor *= left**-0.5
    elif m.name == "shading.nonuniformity" and unit.fault == "unlike":
        factor *= 3.0
    elif m.name.startswith("shading.falloff"):
        return m
    return replace(m, value=m.value * factor)
