"""Parts of the noise, the light index and banding, from arrays with known truth."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np

from scanqa.measures import banding, noise
from scanqa.model import Told
from tests.accuracy import Row
from tests.measures.blank_paper import MM, PAPER, light_of_paper, scanned
from tests.measures.test_noise import (
    FIXED,
    TEMPORAL,
    TEXTURE,
    TO_L,
    frames,
    shot_frames,
    value,
)

SEED = 3000
REPEATS = 40
DPI = 300


def rows() -> Iterable[Row]:
    """Bounds on noise and banding."""
    yield from _parts()
    yield from _light_index()
    yield _bands()
    yield _no_bands()


def _parts() -> Iterable[Row]:
    """Paper moved by a few millimetres, 16 bits."""
    truth = {
        "noise.temporal": TO_L * TEMPORAL,
        "noise.fixed_pattern": TO_L * FIXED,
        "noise.paper": TO_L * TEXTURE,
    }
    errors: dict[str, list[float]] = {name: [] for name in truth}
    for trial in range(REPEATS):
        pair = frames([(0, 0), (10 + trial % 16, -31)], seed=SEED + trial, top=65535)
        results = noise.measure(pair, Told())
        for name, level in truth.items():
            errors[name].append(value(results, name).value / level - 1)
    for name, found in errors.items():
        bias, scatter = 100 * float(np.mean(found)), 100 * float(np.std(found))
        yield Row(
            f"`{name}`, moved pair ({truth[name]:.2f} L*)",
            "bias ≤ 3 %, scatter ≤ 5 %", f"{bias:+.1f} %, {scatter:.1f} %",
            abs(bias) <= 3 and scatter <= 5, SEED, "arrays",
        )  # fmt: skip


def _light_index() -> Iterable[Row]:
    """Lamp at 80 % behind white calibration, 8 bits: the 95 % interval must leave 100 % out."""
    for words, shift in (("still", (0, 0)), ("moved", (23, -31))):
        sees, holds, ratios = 0, 0, []
        same = 0
        for trial in range(REPEATS):
            seed = SEED + 100 + 3 * trial
            full, again, dim = (
                _light_of(shot_frames([(0, 0), shift], lamp=lamp, seed=seed + k, top=255))
                for k, lamp in enumerate((1.0, 1.0, 0.8))
            )  # fmt: skip
            ratio, error = _ratio(dim, full)
            sees += ratio + 1.96 * error < 1
            truth = _index(0.8) / _index(1.0)
            holds += abs(ratio - truth) < 1.96 * error
            ratios.append(ratio)
            ratio, error = _ratio(again, full)
            same += abs(ratio - 1) < 1.96 * error
        yield Row(
            f"`noise.light_index`, lamp at 80 %, paper {words}: 95 % interval leaves out 100 %",
            "all", f"{sees} of {REPEATS} (ratio {np.mean(ratios):.3f}, truth {truth:.3f})",
            sees == REPEATS, SEED + 100, "arrays",
        )  # fmt: skip
        yield Row(
            f"the same: interval holds the truth, at 80 % and at 100 %, paper {words}",
            "≥ 85 %", f"{holds} and {same} of {REPEATS}",
            min(holds, same) >= 0.85 * REPEATS, SEED + 100, "arrays",
        )  # fmt: skip


def _light_of(pair):
    return value(noise.measure(pair, Told()), "noise.light_index")


def _ratio(one, other) -> tuple[float, float]:
    ratio = one.value / other.value
    return ratio, ratio * math.hypot(one.uncertainty / one.value, other.uncertainty / other.value)


def _index(lamp: float) -> float:
    """Level over variance, closed form."""
    from tests.measures.test_noise import ELECTRONS, READ

    return PAPER / (PAPER / (lamp * ELECTRONS) + (READ / lamp) ** 2)


def _scan(seed: int, period_mm: float | None, amplitude: float):
    light, rng = light_of_paper(seed, (3508, 620), dpi=DPI)
    if period_mm is not None:
        y_mm = (np.arange(3508) + 0.5) * MM / DPI
        wave = 1 + amplitude * np.cos(2 * np.pi * y_mm / period_mm + rng.uniform(0, 6))
        light *= wave[:, None].astype(np.float32)
    return scanned(light, rng, dpi=DPI)


def _bands() -> Row:
    """0.1 % at periods from 0.3 to 20 mm."""
    found, errors = 0, []
    periods = np.geomspace(0.3, 20, 24)
    for trial, period in enumerate(periods):
        results = banding.measure([_scan(SEED + 300 + trial, float(period), 0.001)], Told())
        for got in results.named("banding.period"):
            found += abs(got.value / period - 1) < 0.01
            errors.append(results.named("banding.amplitude")[0].value - 0.1)
    return Row(
        "banding of 0.1 %, periods 0.3 to 20 mm: found, period within 1 %",
        "≥ 95 %",
        f"{found} of {len(periods)}, amplitude {np.mean(errors):+.3f} ± {np.std(errors):.3f} %",
        found >= 0.95 * len(periods), SEED + 300, "arrays",
    )  # fmt: skip


def _no_bands() -> Row:
    alarms = sum(
        len(banding.measure([_scan(SEED + 400 + trial, None, 0.0)], Told()).named("banding.period"))
        for trial in range(60)
    )
    return Row(
        "banding in 60 clean blank scans", "0", str(alarms), alarms == 0, SEED + 400, "arrays"
    )
