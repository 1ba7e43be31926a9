"""Shading, edge shadow, gutter and lift against random scenes in closed form, on textured paper."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from scipy.optimize import brentq

from scanqa.locate import locate
from scanqa.measures import backing, edges, gutter, shading
from scanqa.model import Told
from scanqa.numeric.lightness import lstar
from scanqa.scans.array import ArrayScan
from scanqa.scans.linear import linear
from scanqa.scans.overview import overview
from scanqa.sheets import sheet
from scanqa.simulate import scan
from scanqa.simulate.scanner import Lamp, Scanner
from scanqa.simulate.scenes import STIFFNESS, BlankScene, BookScene, RampScene
from tests.accuracy import Row
from tests.measures.blank_paper import grain
from tests.measures.book import printed_page
from tests.measures.folded import back_print, folded_ramp, in_perspective, scanned
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
    yield from _folded()
    yield from _in_perspective()
    yield from _books()
    yield from _back_print()


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
    uneven, held, falloff, pulls = [], [], [], []
    for _ in range(TRIALS):
        a, b, bump = rng.uniform(-0.06, 0.08), rng.uniform(-0.05, 0.06), rng.uniform(-0.03, 0.03)
        field = (1 - a * (2 * x / WIDTH - 1) ** 2) * (1 - b * (2 * y / HEIGHT - 1) ** 2)
        cx, cy = rng.uniform(60, 150), rng.uniform(80, 200)
        field = field * (1 + bump * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (2 * 35**2)))
        dark = 1 - rng.uniform(0, 0.5) * np.exp(-x / 0.8)
        found = shading.measure([_scan(0.8 * field * dark, rng)], Told())
        truth = 100 * (field.max() - field.min()) / field.mean()
        m = found.named("shading.nonuniformity")[0]
        uneven.append(m.value - truth)
        below = (m.value if m.low is None else m.low) - truth  # of a range the nearer end
        above = truth - (m.value if m.high is None else m.high)
        held.append(max(below, above, 0.0) / m.uncertainty)
        for distance in (5, 20):
            m = found.named(f"shading.falloff_right_{distance}mm")[0]
            col, mid = np.argmin(np.abs(WIDTH - x[0] - distance)), field.shape[1] // 2
            rows_ = slice(field.shape[0] // 4, -field.shape[0] // 4)
            expected = 100 * np.median(field[rows_, col] / field[rows_, mid])
            falloff.append(m.value - expected)
            pulls.append((m.value - expected) / m.uncertainty)
    yield _row("non-uniformity, edge shadow beside it", 0.5, uneven, "%")
    yield _covered("non-uniformity: stated 95 % intervals that hold the truth", held)
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
        found = edges.measure([_scan(light, rng)], Told()).named("edges.shadow_left")[0]
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
        found = gutter.measure([_scan(light, rng, role="open-book")], Told(book_edge=side))
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
        found = gutter.measure([*pieces, on_ramp], Told())
        for height in (1, 2, 5, 10):
            m = found.named(f"gutter.light_at_{height}mm_height")[0]
            lights.append(m.value - 100 * lamp(height))
        for lift_mm, length_mm in ((2.0, 8.0), (4.0, 5.0), (7.0, 6.0)):
            up = lift_mm * np.exp(-x / length_mm)
            page = 0.7 * lamp(up) * shadow(x) * np.ones((900, 1))
            book = _scan(page, rng, role="open-book")
            blank = _scan(0.85 * shadow(x) * np.ones((900, 1)), rng)
            found = gutter.measure([book, *pieces, on_ramp, blank], Told(book_edge="left"))
            for d in (0, 2, 5, 10):
                m = found.named(f"gutter.lift_at_{d}mm")[0]
                lifts.append(m.value - lift_mm * np.exp(-d / length_mm))
    yield _row("light at 1 … 10 mm of height, from the ramp", 1.0, lights, "%", seed=SEED + 3)
    yield _row("lift of the page at 0 … 10 mm", 0.3, lifts, "mm", seed=SEED + 3)


# ------------------------------------------- the committed ramp, drawn by poppler and folded

RAMP_DPI, RAMP_FINE_DPI = 300, 900
LAMPS = {
    "lamp that wraps round": lambda h: np.exp2(-h / 11.0),
    "flat LED bar": lambda h: (1 + h / 6.0) ** -2,
}
SENSORS = {  # sigma in mm at a height, and the bound on the depth of field
    "lens and CCD": (lambda h: np.hypot(0.035, 0.012 * h), 0.3),
    "contact sensor": (lambda h: np.hypot(0.025, 0.13 * h), 0.06),
}
TURNS_DEG = (0.0, 91.5, 180.0, 268.0)


def _folded() -> Iterable[Row]:
    """Light, focus and depth of field against height for two sensors and two lamps."""
    lights, places = [], {name: [] for name in SENSORS}
    focus, depths = {name: [] for name in SENSORS}, {name: [] for name in SENSORS}
    for sensor, (sigma_at, _) in SENSORS.items():
        truth = _depth_of_field(sigma_at)
        places[sensor].append(truth)
        for number, lamp in enumerate(LAMPS.values()):
            picture = folded_ramp(lamp, sigma_at, fine_dpi=RAMP_FINE_DPI)
            for turn in TURNS_DEG[number::2]:
                found = gutter.measure(
                    scanned(picture, fine_dpi=RAMP_FINE_DPI, dpi=RAMP_DPI, turn_deg=turn), Told()
                )
                for height in (1, 2, 5, 10):
                    (m,) = found.named(f"gutter.light_at_{height}mm_height")
                    lights.append(m.value - 100 * lamp(height))
                (m,) = found.named("gutter.depth_of_field")
                depths[sensor].append(m.value - truth)
                (curve,) = next(e for e in found.evidence if "Sharpness" in e.title).curves
                ideal = np.array([_sfr50(sigma_at(height)) for height in curve.x])
                focus[sensor] += list(100 * (curve.y / ideal - 1))
    path, seed = "PDF → poppler", 1
    yield _row("light at 1 … 10 mm of height", 1.0, lights, "%", path=path, seed=seed)
    for sensor, (_, bound) in SENSORS.items():
        off = np.abs(focus[sensor])
        measured = f"{np.median(off):.1f} %, {np.percentile(off, 90):.1f} % of {off.size}"
        holds = bool(np.median(off) <= 2 and np.percentile(off, 90) <= 6)
        what = f"SFR50 against height, {sensor}: median and 90th percentile of the error"
        yield Row(what, "≤ 2 %, 6 %", measured, holds, seed, path)
        what = f"depth of field of {places[sensor][0]:.2f} mm, {sensor}"
        yield _row(what, bound, depths[sensor], "mm", path=path, seed=seed)


LENS_MM = 350.0  # below the glass: a short one, so a strong perspective


def _in_perspective() -> Iterable[Row]:
    """The same through a lens, for a book edge beside the sensor line and one across it."""
    lamp, (sigma_at, bound) = LAMPS["lamp that wraps round"], SENSORS["lens and CCD"]
    picture = folded_ramp(lamp, sigma_at, fine_dpi=RAMP_FINE_DPI)
    lights, depths = [], []
    for along, axis_mm in ((True, 90.0), (False, 150.0)):
        seen = in_perspective(
            picture, fine_dpi=RAMP_FINE_DPI, distance_mm=LENS_MM, axis_mm=axis_mm, along=along
        )
        found = gutter.measure(scanned(seen, fine_dpi=RAMP_FINE_DPI, dpi=RAMP_DPI), Told())
        for height in (1, 2, 5, 10):
            (m,) = found.named(f"gutter.light_at_{height}mm_height")
            lights.append(m.value - 100 * lamp(height))
        (m,) = found.named("gutter.depth_of_field")
        depths.append(m.value - _depth_of_field(sigma_at))
    where = f"in the perspective of a lens {LENS_MM:.0f} mm away"
    path = "PDF → poppler"
    yield _row(f"light at 1 … 10 mm of height, {where}", 1.0, lights, "%", path=path, seed=1)
    yield _row(f"depth of field, {where}", bound, depths, "mm", path=path, seed=1)


def _sfr50(sigma_mm: float) -> float:
    """Where a Gaussian times the pixel's aperture leaves a half (Goodman), cy/mm."""
    pixel = MM / RAMP_DPI

    def over(f):
        return np.exp(-2 * (np.pi * sigma_mm * f) ** 2) * np.sinc(pixel * f) - 0.5

    return brentq(over, 0.01, 0.99 / pixel)


def _depth_of_field(sigma_at) -> float:
    half = _sfr50(sigma_at(0.0)) / 2
    return brentq(lambda h: _sfr50(sigma_at(h)) - half, 0.0, 12.0)


def _back_print() -> Iterable[Row]:
    """Show-through of the committed two-page sheet at several turns."""
    off = []
    for show, turn in ((7.5, 0.0), (1.0, 91.2), (0.0, 180.0), (4.0, 271.2), (12.0, 1.5)):
        light = back_print(show / 100, fine_dpi=600)
        pieces = scanned(light, fine_dpi=600, dpi=150, turn_deg=turn)
        (m,) = backing.measure(pieces, Told()).named("backing.show_through")
        off.append(m.value - show)
    yield _row("show-through of 0 to 12 %", 0.15, off, "%", path="PDF → poppler", seed=1)


# --------------------------------------------------------------- simulated books of the demo

STIFF_DPI = 150


def _books() -> Iterable[Row]:
    """Pages of three stiffnesses, printed, tinted, textured, with a fan of page edges."""
    rng = np.random.default_rng(SEED + 4)
    deltas, reaches, lifts = [], [], []
    for lamp, half_mm in (("wrap", 11.0), ("bar", 2.6)):
        device = Scanner(name=lamp, lamp=Lamp(half_height_mm=half_mm))
        wedge_scan = scan(RampScene(sheet("gutter-ramp-a4")), device, dpi=STIFF_DPI, rng=rng)
        pieces = _located(wedge_scan, "ramp")
        blank = _located(scan(BlankScene(), device, dpi=STIFF_DPI, rng=rng), "blank", role="blank")
        for lift_mm, length_mm in STIFFNESS.values():
            for side in ("left", "top"):
                book = BookScene(side, lift_mm, length_mm)
                made = scan(book, device, dpi=STIFF_DPI, rng=rng)
                found = gutter.measure(
                    [*_located(made, "book", role="open-book"), *pieces, *blank],
                    Told(book_edge=side),
                )
                for d in (0, 2, 5, 10, 20):
                    (m,) = found.named(f"gutter.delta_L_at_{d}mm")
                    deltas.append(
                        m.value - float(made.truth.delta_L(side, np.array([float(d)]))[0])
                    )
                for limit in (2, 5, 10):
                    (m,) = found.named(f"gutter.reach_{limit}")
                    reaches.append(m.value - made.truth.depth_mm(side, limit))
                for d in (0, 2, 5, 10):
                    (m,) = found.named(f"gutter.lift_at_{d}mm")
                    lifts.append(m.value - float(book.height_mm(float(d))))
    yield _row(
        "three stiffnesses: ΔL* at 0 … 20 mm", 0.5, deltas, "L*", path="simulator", seed=SEED + 4
    )
    yield _row("three stiffnesses: reach", 0.3, reaches, "mm", path="simulator", seed=SEED + 4)
    yield _row(
        "three stiffnesses: lift at 0 … 10 mm", 0.3, lifts, "mm", path="simulator", seed=SEED + 4
    )


def _located(made, name, *, role=None):
    source = ArrayScan(made.pixels, name=f"{name}.tif", dpi=made.dpi)
    return locate(source, overview(source), linear(source), role=role)
