"""Scanners that differ from the others of their model, where enough of it are known.

Each scanner is tested against the rest: (x − mean) / (s √(1 + 1/m)) with mean and standard
deviation of the m others is Student's t with m − 1 degrees of freedom if it is one of them and they
are normal (Thompson, Annals of Mathematical Statistics 6(4), 1935; the *deleted residual* of
regression). Over all scanners and measures of the fleet the expected share of false ones among
those named is held at `FALSE_SHARE` (Benjamini & Hochberg, Journal of the Royal Statistical Society
B 57(1), 1995), and the difference must matter to the work.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence

from scanqa.catalogue import CATALOGUE
from scanqa.model import Key
from scanqa.model.fleet import FEWEST_OF_A_MODEL, Apart, ModelKnown, Way
from scanqa.records.fleet.calls import NEWEST, cost_of
from scanqa.records.fleet.gather import UnitChecks
from scanqa.records.trend import student_tail
from scanqa.records.weigh import improves, scatter_floor

FALSE_SHARE = 0.05
MATTERS = 1.0


def model_of(unit: UnitChecks) -> str:
    """Make and model in words; empty where the model is not noted."""
    return unit.identity.made if unit.identity.model else ""


def apart(units: Sequence[UnitChecks]) -> tuple[list[Apart], list[ModelKnown]]:
    """Scanners that stand out of their model, the costliest first; and how many each model has."""
    groups: dict[str, list[UnitChecks]] = {}
    for unit in units:
        if model_of(unit) and unit.taken:
            groups.setdefault(model_of(unit).casefold(), []).append(unit)
    tested: list[tuple[float, Apart]] = []
    models = []
    for some in groups.values():
        words = model_of(some[0])
        models.append(ModelKnown(words, len(some), len(some) >= FEWEST_OF_A_MODEL))
        if len(some) >= FEWEST_OF_A_MODEL:
            for key, levels in _levels(some).items():
                tested += _tests(words, key, levels)
    falls = false_share_held([p for p, _ in tested], FALSE_SHARE)
    named = [each for (_, each), fell in zip(tested, falls, strict=True) if fell]
    named = [each for each in named if each.cost >= MATTERS]
    models.sort(key=lambda known: (-known.count, known.model))
    return sorted(named, key=lambda each: -each.cost), models


def _levels(units: Sequence[UnitChecks]) -> Mapping[Key, dict[str, float]]:
    """The present level of each scanner by each measure that compares scanners."""
    found: dict[Key, dict[str, float]] = {}
    for unit in units:
        for track in unit.tracks:
            if CATALOGUE[track.key.name].compared:
                level = statistics.median(track.values[-NEWEST:].tolist())
                found.setdefault(track.key, {})[unit.name] = level
    return found


def _tests(model: str, key: Key, levels: Mapping[str, float]) -> list[tuple[float, Apart]]:
    """Each scanner against the others: p value, and what would be said."""
    if len(levels) < FEWEST_OF_A_MODEL:
        return []
    found = []
    floor = scatter_floor(key.name, list(levels.values()), [])
    count, total = len(levels), sum(levels.values())
    squares = sum(v * v for v in levels.values())
    for scanner, value in levels.items():
        others = count - 1
        mean = (total - value) / others
        spread = math.sqrt(max(squares - value**2 - others * mean**2, 0.0) / (others - 1))
        t = (value - mean) / (max(spread, floor) * math.sqrt(1 + 1 / others))
        better = improves(key.name, value - mean)
        way: Way = "different" if better is None else "better" if better else "worse"
        said = Apart(scanner, model, key, value, mean, count, way, cost_of(key.name, mean, value))
        found.append((2 * student_tail(-abs(t), others - 1), said))
    return found


def false_share_held(p_values: Sequence[float], share: float) -> list[bool]:
    """Which hypotheses fall so that at most `share` of those that do are expected to be true.

    Benjamini and Hochberg's step-up: the largest k with p₍ₖ₎ ≤ k/m · share, and all before it.
    """
    order = sorted(range(len(p_values)), key=p_values.__getitem__)
    last = 0
    for rank, at in enumerate(order, 1):
        if p_values[at] <= rank / len(p_values) * share:
            last = rank
    falls = [False] * len(p_values)
    for at in order[:last]:
        falls[at] = True
    return falls
