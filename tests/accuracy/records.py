"""Histories and comparisons: how soon a change is found, how often one is imagined.

The checks are really simulated: two blank scans of 150 × 200 mm at 150 dpi, each pair on a paper of
its own that moves between them, through `scanqa.qualify`. Healthy ones, ones of each level of the
dimming lamp and ones with the streak are simulated once; lives of 24 months are drawn from them
without putting any back. Bounds on detection come from theory: the same charts at the same
false-alarm budget on ideal normal values with the scatter that the healthy checks have and the true
loss of light.
"""

from __future__ import annotations

import csv
import multiprocessing
import statistics
import tempfile
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from scanqa.catalogue import CATALOGUE
from scanqa.demo import CLEANED, DIMS_BY, DIMS_FROM, DIRTY_IN, MONTHS, heron_in, write_check
from scanqa.model import Key, Record
from scanqa.model.history import Event
from scanqa.qualification import qualify
from scanqa.records.baseline import Baseline
from scanqa.records.changes import find_changes, first_alarm
from scanqa.records.comparison import compare
from scanqa.records.health import FEWEST_CHECKS, RUN_LENGTH, health
from scanqa.records.series import values
from scanqa.records.store import Check, lines_of
from scanqa.records.weigh import scatter_floor
from scanqa.simulate import one_thread
from scanqa.words.of_history import lamp_words
from tests.accuracy import Row
from tests.records.charts import cusum, ewma, individuals
from tests.records.test_comparison import scanner
from tests.records.test_health import life, steady

SEED = 5000
GLASS_MM, DPI = (150.0, 200.0), 150
HEALTHY, PER_LEVEL, DIRTY = 120, 4, 20
LIVES = 50
LIGHT = ("noise.light_index", "noise.snr", "noise.temporal")
EXTERNAL = Path(__file__).parents[1] / "external"
STANDARD = Baseline(0.0, 1.0, 100)


def rows() -> Iterable[Row]:
    """Charts, then lives, then pairs."""
    yield from _published()
    yield from _together()
    yield from _ideal_lives()
    healthy, dimmed, dirty = _pool()
    yield _healthy_lives(healthy)
    yield from _lives_of_heron(healthy, dimmed, dirty)
    yield from _pairs(healthy)


# ---------------------------------------------------------------------------------- charts


def _lengths(statistic: Any, shift: float, repeats: int, longest: int) -> tuple[float, float]:
    """Mean run length and its standard error."""
    rng = np.random.default_rng(SEED)
    found = []
    while len(found) < repeats:
        alarms = statistic(rng.standard_normal(longest) + shift).alarms
        found.append(alarms[0] + 1 if alarms else longest)
    return float(np.mean(found)), float(np.std(found) / np.sqrt(repeats))


def _published() -> Iterable[Row]:
    """Each chart alone against published run lengths (tests/external/README.md)."""
    charts = (
        ("individuals, 3 σ", "arl_cusum_shewhart.csv", "shewhart_computed", (1.0, 3.0),
         lambda x: individuals(x, STANDARD)),
        ("CUSUM, k 0.5, h 5", "arl_cusum_shewhart.csv", "h5_computed", (0.0, 1.0),
         lambda x: cusum(x, STANDARD, limit_sigma=5.0)),
        ("EWMA, λ 0.2, L 2.962", "arl_ewma.csv", None, (0.0, 1.0),
         lambda x: ewma(x, STANDARD, settled=True)),
    )  # fmt: skip
    for words, file, column, shifts, chart in charts:
        said, holds = [], True
        for shift in shifts:
            known = _known(file, column, shift)
            mean, error = _lengths(chart, shift, 1000, 6000 if shift == 0 else 500)
            holds &= abs(mean - known) < 3 * error
            said.append(f"{mean:.1f} ± {error:.1f} ({known:.1f})")
        steps = " and ".join(f"{shift:g}" for shift in shifts)
        yield Row(
            f"run length of the {words}, at {steps} σ (published)",
            "within 3 standard errors", ", ".join(said), holds, SEED, "arrays",
        )  # fmt: skip


def _known(file: str, column: str | None, shift: float) -> float:
    with (EXTERNAL / file).open() as opened:
        table = list(csv.DictReader(line for line in opened if not line.startswith("#")))
    if column is None:
        row = next(r for r in table if r["lambda"] == "0.2" and r["L"] == "2.962")
        return float(row[f"arl_shift_{shift:g}"])
    return float(next(r for r in table if float(r["shift_sigma"]) == shift)[column])


def _together() -> Iterable[Row]:
    """Three charts on one budget."""
    rng = np.random.default_rng(SEED)
    for wanted, repeats in ((250.0, 600), (2000.0, 200)):
        found = []
        for _ in range(repeats):
            alarm = first_alarm(rng.standard_normal(int(12 * wanted)).tolist(), wanted)
            found.append(alarm[0] + 1 if alarm else int(12 * wanted))
        mean = float(np.mean(found))
        yield Row(
            f"run length of the three charts together, {wanted:.0f} asked for, no shift",
            "within 20 %", f"{mean:.0f} ± {np.std(found) / repeats**0.5:.0f}",
            abs(mean / wanted - 1) < 0.2, SEED, "arrays",
        )  # fmt: skip
    delays = {
        shift: statistics.mean(
            first_alarm((rng.standard_normal(500) + shift).tolist(), 10_000.0)[0] + 1
            for _ in range(1000)
        )
        for shift in (1.0, 2.0, 3.0)
    }
    two = {1.0: 17.8, 2.0: 6.2, 3.0: 3.4}  # individuals and CUSUM alone at the same run length
    yield Row(
        "checks to find a step of 1, 2, 3 σ at a run length of 10 000 (without the EWMA)",
        "no slower", ", ".join(f"{delays[s]:.1f} ({two[s]})" for s in two),
        all(delays[s] <= 1.03 * two[s] for s in two), SEED, "arrays",
    )  # fmt: skip


def _ideal_lives() -> Iterable[Row]:
    """Healthy lives of five independent measures with normal scatter: the design rate itself."""
    rng = np.random.default_rng(SEED)
    lives, months = 60, 480
    alarms = sum(
        len(s.changes)
        for _ in range(lives)
        for s in health("heron", life(steady(rng, months))).series
    )
    expected = lives * months / RUN_LENGTH
    yield Row(
        f"false alarms in {lives} healthy lives of {months} checks, ideal normal values",
        f"{expected:.0f} by design, ± 20 %", str(alarms),
        abs(alarms / expected - 1) < 0.2, SEED, "arrays",
    )  # fmt: skip
    lives = 1000
    alarmed = sum(
        any(s.state in ("changed", "drifting") for s in health("heron", life(steady(rng))).series)
        for _ in range(lives)
    )
    expected = lives * _design()
    yield Row(
        f"healthy lives of {MONTHS} checks, ideal normal values: with a false alarm",
        f"at most {expected:.0f} of {lives} by design (fewer: sums start at zero)", str(alarmed),
        alarmed <= expected, SEED, "arrays",
    )  # fmt: skip


def _design() -> float:
    """Chance of a false alarm in a life; the first two checks have no score."""
    return float(1 - np.exp(-(MONTHS - 2) / RUN_LENGTH))


# ---------------------------------------------------------------------------- simulated checks


def _check(job: tuple[int, int]) -> Record:
    """One check: the month of heron's life that it looks like, and its number."""
    month, number = job
    device = heron_in(month, glass_mm=GLASS_MM)
    with tempfile.TemporaryDirectory() as name:
        seed = [SEED, month, number]
        files = write_check(Path(name), device, seed=seed, dpi=DPI)
        return qualify(files, scanner="heron").record


def _pool() -> tuple[list[Record], dict[int, list[Record]], list[Record]]:
    """Healthy checks, checks of each dimmed month, checks with the streak."""
    months = range(DIMS_FROM, MONTHS)
    jobs = [(0, n) for n in range(HEALTHY)]
    jobs += [(DIRTY_IN, n) for n in range(DIRTY)]
    jobs += [(month, n) for month in months for n in range(PER_LEVEL)]
    spawn = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(2, spawn, one_thread) as pool:
        made = dict(zip(jobs, pool.map(_check, jobs, chunksize=4), strict=True))
    return (
        [made[0, n] for n in range(HEALTHY)],
        {month: [made[month, n] for n in range(PER_LEVEL)] for month in months},
        [made[DIRTY_IN, n] for n in range(DIRTY)],
    )


def _day(month: float) -> str:
    return (datetime(2025, 1, 5) + timedelta(days=30.44 * month)).isoformat() + "+00:00"


def _checks(records: Sequence[Record]) -> list[Check]:
    return [
        Check(i, _day(i), tuple(values(r.measures, r.scans)), tuple(lines_of(r.streaks)))
        for i, r in enumerate(records)
    ]


def _healthy_lives(healthy: Sequence[Record]) -> Row:
    rng = np.random.default_rng(SEED)
    alarmed = 0
    for _ in range(LIVES):
        drawn = [healthy[i] for i in rng.permutation(HEALTHY)[:MONTHS]]
        found = health("heron", _checks(drawn))
        alarmed += any(s.state in ("changed", "drifting") for s in found.series)
    expected = LIVES * _design()
    most = expected + 2 * np.sqrt(expected)
    return Row(
        f"healthy lives of {MONTHS} checks, all measures of two blanks: with a false alarm",
        f"{expected:.1f} of {LIVES} by design, at most {most:.0f}", str(alarmed),
        alarmed <= most, SEED, "simulator",
    )  # fmt: skip


# ------------------------------------------------------------------------------- heron's lives


def _lives_of_heron(
    healthy: Sequence[Record], dimmed: dict[int, list[Record]], dirty: Sequence[Record]
) -> Iterable[Row]:
    rng = np.random.default_rng(SEED + 1)
    event = Event("heron", _day(DIRTY_IN + 0.5), CLEANED)
    came = gone = told = worded = 0
    delays: list[int] = []
    dated: list[int] = []
    for _ in range(LIVES):
        order = rng.permutation(HEALTHY)
        drawn = [healthy[i] for i in order[:DIMS_FROM]]
        drawn[DIRTY_IN] = dirty[rng.integers(DIRTY)]
        drawn += [dimmed[month][rng.integers(PER_LEVEL)] for month in range(DIMS_FROM, MONTHS)]
        checks = _checks(drawn)
        found = health("heron", checks, [event])
        new = [s for s in found.streaks if not s.since_start]
        came += any(s.first == _day(DIRTY_IN) for s in new)
        gone += any(s.gone == _day(DIRTY_IN + 1) for s in new)
        told += bool(found.effects[0].went)
        worded += found.lamp is not None and "lamp" in lamp_words(found.lamp).verdict
        alarms = [
            c
            for s in found.series
            if s.key.name in LIGHT
            for c in s.changes
            if c.alarm >= DIMS_FROM
        ]
        first = min(alarms, key=lambda c: c.alarm)
        delays.append(first.alarm - DIMS_FROM + 1)
        dated.append(first.began - DIMS_FROM)
    yield Row(
        f"streak of month {DIRTY_IN}: found at once; gone in the next check; told of the cleaning",
        "all at once (theory: significance 9 to 12, the search begins at some 5.5)",
        f"{came}, {gone}, {told} of {LIVES}", came == gone == told == LIVES, SEED + 1, "simulator",
    )  # fmt: skip
    median, most = _theory(healthy, rng)
    typical = statistics.median(delays)
    yield Row(
        f"lamp dims by {100 * DIMS_BY:.0f} % a month from month {DIMS_FROM}: checks until found, "
        "median and worst",
        f"theory: median {median:.0f} (+ 1), 99 % within {most:.0f}",
        f"{typical:.0f}, {max(delays)} of {LIVES}",
        typical <= median + 1 and max(delays) <= most, SEED + 1, "simulator",
    )  # fmt: skip
    yield Row(
        "the same: date of the change, months from the truth, median and worst",
        "≤ 2, ≤ 6", f"{statistics.median(dated):+.0f}, {max(dated, key=abs):+d}",
        abs(statistics.median(dated)) <= 2 and max(map(abs, dated)) <= 6, SEED + 1, "simulator",
    )  # fmt: skip
    yield Row(
        "the same: lamp verdict after two years names the lamp",
        "all", f"{worded} of {LIVES}", worded == LIVES, SEED + 1, "simulator",
    )  # fmt: skip


def _theory(healthy: Sequence[Record], rng: np.random.Generator) -> tuple[float, float]:
    """Median and 99 % of the checks that the charts need on ideal values of the light index."""
    grouped: dict[Key, list[Any]] = {}
    for r in healthy:
        for v in values(r.measures, r.scans):
            if CATALOGUE[v.name].watched:
                grouped.setdefault(v.key, []).append(v)
    watched = sum(len(vs) >= FEWEST_CHECKS for vs in grouped.values())
    seen = grouped[Key("noise.light_index", channel="green", dpi=DPI)]
    numbers = np.array([v.value for v in seen])
    scatter = numbers.std(ddof=1) / numbers.mean()
    floor = scatter_floor("noise.light_index", numbers.tolist(), [v.random for v in seen])
    floor /= float(numbers.mean())
    dims = (1 - DIMS_BY) ** np.maximum(0, np.arange(MONTHS) - DIMS_FROM + 1.0)
    delays = []
    for _ in range(1000):
        series = (dims * (1 + rng.normal(0, scatter, MONTHS))).tolist()
        found = [
            c.alarm
            for c in find_changes(series, run_length=RUN_LENGTH * watched, floor=floor)
            if c.alarm >= DIMS_FROM
        ]
        delays.append(min(found, default=MONTHS) - DIMS_FROM + 1)
    return float(np.median(delays)), float(np.quantile(delays, 0.99))


# -------------------------------------------------------------------------------------- pairs


def _pairs(healthy: Sequence[Record]) -> Iterable[Row]:
    rng = np.random.default_rng(SEED + 2)
    counts = 200
    claims = 0
    for _ in range(counts):
        one, other = (healthy[i] for i in rng.permutation(HEALTHY)[:2])
        claims += _claims(one, other)
    yield Row(
        f"{counts} pairs of checks of one healthy scanner: a difference is claimed",
        "≤ 5 %", f"{100 * claims / counts:.1f} %", claims <= 0.05 * counts, SEED + 2, "simulator",
    )  # fmt: skip
    claims = sum(_claims(scanner(rng), scanner(rng, "wren")) for _ in range(counts))
    yield Row(
        f"{counts} identical pairs with 35 sharpness sites in two directions: one is claimed",
        "≤ 5 %", f"{100 * claims / counts:.1f} %", claims <= 0.05 * counts, SEED + 2, "arrays",
    )  # fmt: skip


def _claims(one: Record, other: Record) -> bool:
    quiet = ("no difference shown", "not compared")  # shown but too small to matter is a claim too
    return any(row.verdict not in quiet for row in compare([one], [other]).rows)
