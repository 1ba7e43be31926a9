"""An invented history and comparison for the pages, each kind of thing at least once."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from scanqa.model.compared import Comparison, Cost
from scanqa.model.history import Event, News, NewsItem, Past
from scanqa.records.comparison import compare
from scanqa.records.health import health
from scanqa.records.lamp import LIGHT
from scanqa.records.series import Value
from scanqa.records.store import Check, Line
from tests.records.builders import facts, measure
from tests.records.test_comparison import scanner
from tests.records.test_health import day, life
from tests.report.synthetic import HOSTILE

SEED = 25


def checks() -> list[Check]:
    """Two years: a lamp that dims, a streak that comes and goes, a shadow that steps."""
    rng = np.random.default_rng(SEED)
    months = 24
    dims = 0.98 ** np.maximum(0, np.arange(months) - 7.0)
    columns = {
        "noise.snr": 45 + 10 * np.log10(dims) + rng.normal(0, 0.05, months),
        "shading.nonuniformity": rng.normal(2, 0.1, months),
        "streaks.strongest_visible": np.where(np.arange(months) == 5, 1.2, 0.0),
        "edges.shadow_left": np.where(np.arange(months) < 15, 3.0, 4.5)
        + rng.normal(0, 0.02, months),
        "sharpness.sheet_sfr50": rng.normal(4.1, 0.02, months),
        "glass.marks": np.ones(months),
    }
    found = []
    for at, check in enumerate(life(columns)):
        levels = 30 * dims[at] * rng.normal(1, 0.01, 3)
        light = tuple(
            Value(LIGHT, "", channel, "", 300, 1, float(level), 0.2, (), "ok", None, None, "ke-", 1)
            for channel, level in zip(("red", "green", "blue"), levels, strict=True)
        )
        streaks = [Line("travel", "bright", 148.6, 130.0, 0.5, 12.0, True)]
        if at == 5:
            streaks.append(Line("travel", "dark", 118.2, 120.0, 1.2, 30.0, True))
        found.append(replace(check, values=check.values + light, lines=tuple(streaks)))
    return found


def past(words: str = "sensor window cleaned", scanner_name: str = "heron") -> Past:
    """The history of those checks, with two events."""
    events = [
        Event(scanner_name, day(5.5), words),
        Event(scanner_name, day(14.5), "frame moved"),
    ]
    found = health(scanner_name, checks(), events, limits={"noise.snr": 40.0})
    streak = NewsItem(
        "new-streak",
        {"at_mm": 71.3, "contrast_percent": 1.5},
        {"polarity": words, "axis": "travel"},
    )
    news = News(day(22)[:10], (streak,))
    return Past(found, news)


def comparison(first: str = "heron", second: str = "wren") -> Comparison:
    """Two sides of different dpi, each better in something, with curves and prices."""
    rng = np.random.default_rng(SEED)
    sides = []
    for name, gutter, dpi in ((first, 1.0, 300), (second, 2.5, 600)):
        record = scanner(rng, name, sfr50=4.0 if gutter == 1 else 5.0, dpi=dpi, noise=0.3)
        more = []
        for mm, dark in ((0, 16.0), (2, 6.0), (5, 2.0), (10, 0.5), (20, 0.0)):
            more.append(measure(f"gutter.delta_L_at_{mm}mm", dark * gutter, 0.05))
        for mm, light in ((1, 92.0), (2, 85.0), (5, 64.0), (10, 40.0)):
            value = light if gutter == 1 else light**2 / 100
            more.append(measure(f"gutter.light_at_{mm}mm_height", value, 0.5))
        light = HOSTILE if gutter > 1 else "cold-cathode lamp"
        sides.append(
            replace(record, measures=(*record.measures, *more), conditions={"light": light})
        )
    book = facts(file="b.jpg", role="open-book", sha256="1", lossy=True, format="jpeg")
    sides[0] = replace(sides[0], scans=(*sides[0].scans, book))
    costs = (Cost(60.0, 12.0), Cost(140.0, 9.0))
    return compare([sides[0]], [sides[1]], names=(first, second), costs=costs)
