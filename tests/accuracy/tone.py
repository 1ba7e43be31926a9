"""Tone, tint of the paper, settling and show-through, from arrays with known truth."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np

from scanqa.measures import backing, colour, drift, tone
from scanqa.model import Told
from tests.accuracy import Row
from tests.measures.paper import placed
from tests.measures.test_backing import back_print
from tests.measures.test_colour import abs_tint, tinted_bed
from tests.measures.test_drift import SECONDS, exponential, series
from tests.measures.test_tone import COVERS, PAIRS, halftone_sheet, measured

SEED = 5000
REPEATS = 24


def rows() -> Iterable[Row]:
    """Bounds on levels and their course."""
    yield _white()
    yield _black()
    yield _range()
    yield from _response()
    yield _tint()
    yield _no_tint()
    yield from _settling()
    yield _show_through()


def _worst(what: str, bound: float, errors: list[float], unit: str, digits: int, path: str) -> Row:
    worst = max(abs(e) for e in errors)
    return Row(
        what, f"≤ {bound:g} {unit}", f"worst of {len(errors)}: {worst:.{digits}f} {unit}",
        worst <= bound, SEED, path,
    )  # fmt: skip


def _white() -> Row:
    errors = []
    for seed, (percent, lightness) in enumerate(PAIRS):
        if not 30 <= percent <= 95:  # white paper that is not cut off
            continue
        blank = placed(
            np.full((300, 200), percent / 100), 100, noise=0.005, bits=8, seed=SEED + seed
        )
        (m,) = tone.measure([blank], Told()).named("tone.white")
        errors.append(m.value - lightness)
    return _worst(
        "`tone.white`, 8 bits (half a code is 0.2 L*), noise 0.5 %",
        0.2,
        errors,
        "L*",
        3,
        "CIE 15 table",
    )


def _black() -> Row:
    errors = []
    for seed, light in enumerate(np.geomspace(0.003, 0.05, REPEATS)):
        dark = placed(
            np.full((300, 200), light), 100, noise=0.001, bits=16, role="dark", seed=SEED + seed
        )
        (m,) = tone.measure([dark], Told()).named("tone.black")
        errors.append(
            m.value - (116 * np.cbrt(light) - 16 if light > 216 / 24389 else 903.3 * light)
        )
    return _worst("`tone.black` of black card, 16 bits", 0.2, errors, "L*", 3, "closed form")


def _range() -> Row:
    errors = []
    for seed, light in enumerate(np.geomspace(0.005, 0.05, REPEATS)):
        blank = placed(np.full((300, 200), 0.8), 100, noise=0.002, bits=16, seed=SEED + seed)
        dark = placed(
            np.full((300, 200), light), 100, noise=0.0005, role="dark", bits=16, seed=SEED - seed
        )
        (m,) = tone.measure([blank, dark], Told()).named("tone.range")
        errors.append(m.value - math.log10(0.8 / light))
    return _worst("`tone.range`", 0.02, errors, "D", 4, "closed form")


def _response() -> Iterable[Row]:
    """Ink areas by Murray & Davies without a reference; the OECF with one."""
    errors = []
    for gain in (0.0, 0.06, 0.12):
        scan, _ = halftone_sheet(gain=gain)
        (evidence,) = tone.measure([scan], Told()).evidence
        truth = [100 * (c + 4 * gain * c * (1 - c)) for c in COVERS]
        errors += list(np.subtract(evidence.curves[0].y, truth))
    yield _worst(
        "ink area of halftone patches without a reference (indicative), dot gain 0 to 12 %",
        1.5, errors, "%", 2, "arrays",
    )  # fmt: skip
    errors = []
    for field in ("D_VIS", "XYZ_Y", "LAB_L"):
        scan, patches = halftone_sheet()
        (m,) = tone.measure([scan], Told(reference=measured(patches, field))).named("tone.response")
        errors.append(m.value)  # a true response is off by nothing
    yield _worst(
        "`tone.response` with a CGATS reference, true response", 1.0, errors, "L*", 2, "arrays"
    )


def _tint() -> Row:
    errors = []
    for seed, loss in enumerate(np.linspace(0.02, 0.25, 12)):
        bed = tinted_bed(
            lambda x, y, loss=loss: (1 + 0 * x, 1 + 0 * x, 1 - loss * x), seed=SEED + seed
        )
        (m,) = colour.measure([bed], Told()).named("colour.neutrality")
        truth = max(
            abs_tint((1, 1, (1 - loss * x) / (1 - loss / 2))) for x in (0.5 / 12, 11.5 / 12)
        )
        errors.append(m.value - truth)
    return _worst(
        "`colour.neutrality`, blue falling by 2 to 25 % over the bed, 8 bits",
        0.2, errors, "a*b*", 3, "closed form",
    )  # fmt: skip


def _no_tint() -> Row:
    errors = []
    for seed in range(12):
        bed = tinted_bed(lambda x, y: (1 - 0.3 * x * y,) * 3, seed=SEED + seed)
        (m,) = colour.measure([bed], Told()).named("colour.neutrality")
        errors.append(m.value)
    return _worst(
        "the same where light falls off alike in all channels", 0.2, errors, "a*b*", 3, "arrays"
    )


def _settling() -> Iterable[Row]:
    """Lamps that warm up or cool down by 2 to 10 %, in 20 to 60 s, seen every 15 s."""
    rng = np.random.default_rng(SEED)
    times, held, levels = [], 0, []
    for _ in range(REPEATS):
        start, tau = rng.choice([-1, 1]) * rng.uniform(0.02, 0.1), rng.uniform(20, 60)
        light = exponential(SECONDS, start, tau) * (1 + rng.normal(0, 0.0003, SECONDS.size))
        results = drift.measure(series(light, SECONDS), Told())
        (m,) = results.named("drift.settle_time")
        truth = tau * math.log(abs(start) / 0.005)
        times.append(100 * (m.value / truth - 1))
        held += abs(m.value - truth) < 1.96 * m.uncertainty
        last = 1 + start * math.exp(-SECONDS[-1] / tau)
        (level,) = results.named("drift.level")
        levels.append(level.value - 100 * (last - 1 - start) / last)
    yield _worst("`drift.settle_time` of an exponential, scans that scatter by 0.03 %", 10, times,
                 "%", 1, "closed form")  # fmt: skip
    yield Row(
        "the same: stated 95 % intervals that hold the truth", "≥ 85 %",
        f"{held} of {REPEATS}", held >= 0.85 * REPEATS, SEED, "closed form",
    )  # fmt: skip
    yield _worst("`drift.level`", 0.15, levels, "%", 3, "closed form")


def _show_through() -> Row:
    errors = []
    for seed, show in enumerate((0.0, 0.4, 0.8, 1.6, 3.2, 6.4)):
        for turn_deg in (0.0, 2.0, 180.0):
            bed = back_print(show, slope=0.01 * seed, turn_deg=turn_deg)
            (m,) = backing.measure([bed], Told()).named("backing.show_through")
            errors.append(m.value - show)
    return _worst(
        "`backing.show_through`, light uneven by up to 5 %", 0.15, errors, "%", 3, "arrays"
    )
