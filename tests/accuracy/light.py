"""Shading, edge shadow, gutter and lift against random scenes in closed form, on textured paper."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from scanqa.measures import edges, gutter, ramp, shading
from scanqa.numeric.lightness import lstar
from tests.accuracy import Row
from tests.measures.blank_paper import grain
from tests.measures.book import printed_page
from tests.measures.paper import MM, grid_mm, placed
from tests.measures.wedge import wedge

SEED = 2000
TRIALS = 40
DPI = 150
WIDTH, HEIGHT = 216.0, 297.0
TEXTURE, NOISE = 0.012, 0.006  # of light: grain of the paper, noise of a pixel


def rows() -> Iterable[Row]:
    """Bounds on what is measured of the light."""
    yield from _shading()
    yield _shadow()
    yield from _gutter()
    yield from _ramp()


def _scan(light, rng, **more):
    textured = light * (1 + TEXTURE * grain(light.shape, rng))
    return placed(textured, DPI, noise=NOISE, seed=int(rng.integers(2**31)), **more)


def _row(what, bound, errors, unit, *, digits=2, path="closed form", seed=SEED):
    worst = float(np.max(np.abs(errors)))
    measured = f"worst of {np.size(errors)}: {worst:.{digits}f} {unit}"
    return Row(what, f"≤ {bound} {unit}", measured, worst <= bound, seed, path)


def _covered(what, pulls):
    """Share of stated 95 % intervals that hold the truth; the bound is that of 95 % ± 3 sd."""
    share = 100 * float(np.mean(np.abs(pulls) < 1.96))
    least = 95 - 300 * np.sqrt(0.05 * 0.95 / len(pulls))
    words = f"{share:.0f} % of {len(pulls)}"
    return Row(what, f"≥ {least:.0f} %", words, share >= least, SEED, "closed form")


def _shading() -> Iterable[Row]:
    """A parabola across and one down, a soft bump, an edge shadow on the left."""
    rng = np.random.default_rng(SEED)
    x, y = grid_mm(WIDTH, HEIGHT, DPI)
    uneven, falloff, pulls = [], [], []
    for _ in range(TRIALS):
        a, b, bump = rng.uniform(-0.06, 0.08), rng.uniform(-0.05, 0.06), rng.uniform(-0.03, 0.03)
        field = (1 - a * (2 * x / WIDTH - 1) ** 2) * (1 - b * (2 * y / HEIGHT - 1) ** 2)
        cx, cy = rng.uniform(60, 150), rng.uniform(80, 200)
        field = field * (1 + bump * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (2 * 35**2)))
        dark = 1 - rng.uniform(0, 0.5) * np.exp(-x / 0.8)
        found = shading.measure([_scan(0.8 * field * dark, rng)])
        truth = 100 * (field.max() - field.min()) / field.mean()
        uneven.append(found.named("shading.nonuniformity")[0].value - truth)
        for distance in (5, 20):
            m = found.named(f"shading.falloff_right_{distance}mm")[0]
            col, mid = np.argmin(np.abs(WIDTH - x[0] - distance)), field.shape[1] // 2
            rows_ = slice(field.shape[0] // 4, -field.shape[0] // 4)
            expected = 100 * np.median(field[rows_, col] / field[rows_, mid])
            falloff.append(m.value - expected)
            pulls.append((m.value - expected) / m.uncertainty)
    yield _row("non-uniformity, edge shadow beside it", 0.5, uneven, "%")
    yield _row("falloff at 5 and 20 mm", 0.5, falloff, "%")
    yield _covered("falloff: stated 95 % intervals that hold the truth", pulls)


def _shadow() -> Row:
    """A band that is never lit, then an exponential rise, on falling light."""
    rng = np.random.default_rng(SEED + 1)
    x, y = grid_mm(WIDTH, HEIGHT, DPI)
    errors = []
    for _ in range(TRIALS):
        black, tau, amount = rng.uniform(0, 2), rng.uniform(0.3, 2.5), rng.uniform(0.3, 0.8)
        field = 1 - rng.uniform(0, 0.06) * (2 * x / WIDTH - 1) ** 2
        dark = np.where(x < black, 0, 1 - amount * np.exp(-np.maximum(x - black, 0) / tau))
        light = 0.8 * field * dark * np.ones_like(y)
        found = edges.measure([_scan(light, rng)], []).named("edges.shadow_left")[0]
        fine = np.linspace(0, 30, 30001)
        level = 0.8 * np.interp(fine, x[0], field[0])
        lit = np.where(fine < black, 0, 1 - amount * np.exp(-np.maximum(fine - black, 0) / tau))
        truth = fine[lstar(level) - lstar(level * lit) > 2].max()
        errors.append(found.value - truth)
    return _row("depth of the edge shadow", 0.3, errors, "mm")


def _gutter() -> Iterable[Row]:
    """Printed pages of random lift, spine on each side in turn."""
    rng = np.random.default_rng(SEED + 2)
    deltas, reaches = [], []
    at = np.linspace(0, 60, 60001)
    for trial in range(TRIALS):
        deep, tau, edge = rng.uniform(0.2, 0.7), rng.uniform(2.5, 8), rng.uniform(0, 0.15)

        def fall(d, deep=deep, tau=tau, edge=edge):
            return 1 - deep * np.exp(-d / tau) - edge * np.exp(-d / 1.5)

        side = ("left", "right", "top", "bottom")[trial % 4]
        x, y = grid_mm(150, 210, DPI)
        d = {"left": x, "right": x[:, ::-1], "top": y, "bottom": y[::-1]}[side]
        page = printed_page((y.size, x.size), DPI, seed=trial, margin_mm=rng.uniform(8, 18))
        light = 0.78 * fall(d) * page
        found = gutter.measure([_scan(light, rng, role="open-book")], book_edge=side)
        lack = lstar(0.78) - lstar(0.78 * fall(at))
        for distance in (0, 2, 5, 10, 20):
            m = found.named(f"gutter.delta_L_at_{distance}mm")[0]
            deltas.append(m.value - np.interp(distance, at, lack))
        for limit in (2, 5, 10):
            truth = at[lack > limit].max() if (lack > limit).any() else 0.0
            reaches.append(found.named(f"gutter.reach_{limit}")[0].value - truth)
    yield _row("ΔL* at 0 … 20 mm from the spine, printed pages", 0.5, deltas, "L*", seed=SEED + 2)
    yield _row("reach of the gutter, printed pages", 0.3, reaches, "mm", seed=SEED + 2)


def _ramp() -> Iterable[Row]:
    """Lamps that spread differently, pages of three stiffnesses, an edge shadow."""
    rng = np.random.default_rng(SEED + 3)
    lights, lifts = [], []
    for half_mm in (2.6, 6.0, 12.0):

        def lamp(h, half_mm=half_mm):
            return np.exp2(-h / half_mm)

        def shadow(d):
            return 1 - 0.4 * np.exp(-d / 1.5)

        pieces = wedge(lamp, lambda h: 0.05 + 0.01 * h, dpi=DPI, shadow=shadow)
        shape = pieces[0].scan.height_px, pieces[0].scan.width_px
        x = (np.arange(max(shape[1], 900)) + 0.5) * MM / DPI
        on_ramp = _scan(0.85 * shadow(x[: shape[1]]) * np.ones((shape[0], 1)), rng)
        found = ramp.measure(pieces, blanks=[on_ramp])
        for height in (1, 2, 5, 10):
            m = found.named(f"gutter.light_at_{height}mm_height")[0]
            lights.append(m.value - 100 * lamp(height))
        for lift_mm, length_mm in ((2.0, 8.0), (4.0, 5.0), (7.0, 6.0)):
            up = lift_mm * np.exp(-x / length_mm)
            page = 0.7 * lamp(up) * shadow(x) * np.ones((900, 1))
            book = _scan(page, rng, role="open-book")
            blank = _scan(0.85 * shadow(x) * np.ones((900, 1)), rng)
            found = gutter.measure([book], book_edge="left", ramps=pieces, blanks=[on_ramp, blank])
            for d in (0, 2, 5, 10):
                m = found.named(f"gutter.lift_at_{d}mm")[0]
                lifts.append(m.value - lift_mm * np.exp(-d / length_mm))
    yield _row("light at 1 … 10 mm of height, from the ramp", 1.0, lights, "%", seed=SEED + 3)
    yield _row("lift of the page at 0 … 10 mm", 0.3, lifts, "mm", seed=SEED + 3)
