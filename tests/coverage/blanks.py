"""Lines, evenness, shadows, noise, bands, white and black: two blanks of one paper, a black card.

Half of the sets whose files state no curve have a printed sheet, whose tones rule out an S-curve.
Truth: what was planted, in closed form (`Truth`); noise from photons, reading and rounding.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from scanqa.model import LUMA_WEIGHTS, MM_PER_INCH, Told
from scanqa.sheets import sheet
from scanqa.simulate.device_faults import Banding, Falloff, Shadow, Streak
from scanqa.simulate.scenes import BLACK_CARD, BlankScene, DarkScene, SheetScene
from scanqa.simulate.truth import lstar
from tests.coverage import Tried
from tests.coverage.hard import by_curve, drawn, measured, moved, one, scanned

SIDES = ("left", "right", "top", "bottom")
SHADOW_L = 1.0
WHITE, MARGIN_MM = 0.8, 12.0  # as signal to noise is defined; beside edges none is measured
CARRIAGE_SD = 0.002  # its steps against the stated dpi (common practice, no source)
SHEET, SHEET_GLASS_MM = sheet("bed-sheet-a4"), (216.0, 300.0)
NOTE = """Evenness and lightness follow the tone curve. Where no file states it, light is known to
a power of 1 ± 13 % (gammas 1.8 to 2.8, one sigma), or 1.6 times that where no printed tones rule
out an S-curve; no scan of plain paper tells more. That is all of the width of `tone.white` (with
a stated curve the step between codes is left) and most of that of evenness. The doubt is one for
all checks of a unit and drops out of its history. A line's contrast is that of the scan as
delivered; its width is the line's shape, which is not known (12 to 16 % at 95 %), and noise.
Periods are by the dpi that is stated, which carriages keep to 0.3 % (one sigma).
Signal to noise is that at a light of 0.8, so that another paper gives the same.

Noise against level does not narrow the doubt of an assumed curve. With photon noise in a power k of
light, variance goes with the level to 2 - 1/k; but read noise flattens that as well, and this set
has two levels, white and black. Any k above 1 / (2 - slope) has a unit that shows the same two
variances: from 0.99 for a very quiet sensor (100,000 electrons, 8 of read noise), from 0.90 for a
middling one (30,000, 20), from 0.72 for a noisy one (10,000, 30), and nothing from above, where an
unknown curve is 0.7 to 1.3. A third level (a grey without dots, scanned twice where it lies) would
tell k to 0.2 to 2 % by counting pixels, to 8 % where read noise is three times the photon noise of
black. Grey patches are printed dots: what a carriage moves them by is more than noise. Software
that smooths shadows steepens the rise, so a slope beyond that of photons is no proof of another
curve either (`tests/measures/test_noise.py`).

Not in the table: `noise.paper`, `noise.total`, `noise.fixed_pattern` and `streaks.column_pattern`
(grain as the scan samples it has no closed form here; they are tried against arrays of known
variance in `tests.accuracy noise` and `streaks`), `noise.gain`, `noise.read` and `light_index` (the
same), `banding.phase_spread` (no interval is stated), `colour.paper_a` and `paper_b` (as delivered,
by definition), `glass.marks` (a count), `edges.lost_*` (from `usable_*`).
"""
FAMILIES = ("streaks", "banding", "shading", "edges", "noise", "tone", "colour")


def case(rng):
    at = drawn(rng, dpi=(100, 150))
    dark, fading = rng.permutation(SIDES)[:2]
    unit = at.scanner(
        shadows={dark: Shadow(float(rng.uniform(0.8, 5.0)), float(rng.uniform(0.15, 0.6)))},
        falloff={
            str(fading if rng.random() < 0.6 else dark): Falloff(
                float(rng.uniform(0.005, 0.08)), float(rng.uniform(15.0, 60.0))
            )
        },
        streaks=(
            Streak(
                float(rng.uniform(20, 80)), float(rng.uniform(200, 900)),
                float(-(10 ** rng.uniform(-2.6, -1.3))), float(rng.uniform(20, 80)),
            ),
        ) if rng.random() < 0.6 else (),
        banding=Banding(float(10 ** rng.uniform(-3.3, -2)), float(rng.uniform(1.0, 15.0)), 1.0)
        if rng.random() < 0.4 else None,
        scale_error=(0.0, float(rng.normal(0, CARRIAGE_SD))),
    )  # fmt: skip
    scans, truth = scanned(BlankScene(at.paper), unit, at, "blank-1", role="blank")
    scans += scanned(BlankScene(at.paper, **moved(rng)), unit, at, "blank-2", role="blank")[0]
    scans += scanned(DarkScene(), unit, at, "dark", role="dark")[0]
    printed = at.curve is None and rng.random() < 0.5
    if printed:
        larger = replace(unit, glass_mm=SHEET_GLASS_MM)
        lying = SheetScene(SHEET, (2.0, 1.0), 0.3, paper=at.paper, printer=at.printer)
        scans += scanned(lying, larger, replace(at, dpi=100.0), "bed-sheet")[0]
    told = Told(line_time_ms=1000 * unit.line_time_s)
    found = measured(scans, told, *FAMILIES)

    def row(quantity):
        return by_curve(quantity, at, printed)

    yield from _lines(found, unit, at, truth)
    yield from _light(found, unit, truth, row)
    yield from _noise(found, unit, at, truth)


def _lines(found, unit, at, truth):
    planted = [100 * float(np.abs(s.profile(truth.size_px[0], at.dpi)).max()) for s in unit.streaks]
    for m in one(found, "streaks.strongest_visible"):
        yield Tried(m.name, m, max(planted, default=0.0), relative=True)
    band = 100 * unit.banding.amplitude if unit.banding else 0.0
    for m in one(found, "banding.amplitude"):
        yield Tried(m.name, m, band)
    if unit.banding is None:
        for m in one(found, "banding.unsteadiness"):
            yield Tried(f"{m.name} (steady carriage)", m, 0.0)
        return
    for m in one(found, "banding.period"):
        if m.value is not None:
            own_mm = unit.banding.period_mm / (1 + unit.scale_error[1])  # stated in image mm
            yield Tried(m.name, m, own_mm, relative=True)
    line_mm = MM_PER_INCH / at.dpi
    for m in one(found, "banding.frequency"):
        hertz = line_mm / unit.banding.period_mm / unit.line_time_s
        yield Tried(m.name, m, hertz, relative=True)


def _light(found, unit, truth, row):
    yield from _evenness(found, unit, truth, row)
    for side in SIDES:
        if unit.banding and side in ("top", "bottom"):  # bands are light, too
            continue
        for distance in (2, 5, 10, 20):
            for m in one(found, f"shading.falloff_{side}_{distance}mm"):
                light = float(unit.light_from(side, np.array([float(distance)]))[0])
                yield Tried("shading.falloff", m, 100 * light)
        for m in one(found, f"edges.shadow_{side}"):
            yield Tried("edges.shadow", m, truth.depth_mm(side))
    for name, sides, size in (
        ("edges.usable_width", ("left", "right"), truth.size_mm[0]),
        ("edges.usable_height", ("top", "bottom"), truth.size_mm[1]),
    ):
        for m in one(found, name):
            yield Tried(name, m, size - sum(truth.depth_mm(side) for side in sides))
    share = _share(unit, truth, shadows=True)
    white = float(np.median(share)) * truth.paper_luma
    black = float(np.median(share)) * BLACK_CARD / unit.white_reflectance + unit.black_light
    for m in one(found, "tone.white"):
        yield Tried(row(m.name), m, float(lstar(np.asarray(white))))
    for m in one(found, "tone.black"):
        yield Tried(row(m.name), m, float(lstar(np.asarray(black))))
    for m in one(found, "tone.range"):
        yield Tried(m.name, m, float(np.log10(white / black)))
    for m in one(found, "colour.neutrality"):
        yield Tried(m.name, m, 0.0)


def _share(unit, truth, *, shadows):
    """Light of places each 0.5 mm; without shadows where one makes it `SHADOW_L` darker: no."""
    width, height = truth.size_mm
    x, y = np.arange(0.5, width, 0.5), np.arange(0.5, height, 0.5)
    away = {"left": x, "right": width - x, "top": y, "bottom": height - y}
    even = np.ones((len(y), len(x)))
    kept = {"x": np.ones(len(x), bool), "y": np.ones(len(y), bool)}
    for side in SIDES:
        d, upright = away[side], side in ("left", "right")
        light = unit.light_from(side, d)
        if side in unit.shadows and not shadows:
            shade = unit.shadows[side].light(d)
            light = light / shade
            paper = truth.paper_luma
            kept["x" if upright else "y"] &= lstar(np.asarray(paper)) - lstar(paper * shade) < (
                SHADOW_L
            )
        even = even * (light if upright else light[:, None])
    return even[np.ix_(kept["y"], kept["x"])]


def _evenness(found, unit, truth, row):
    even = _share(unit, truth, shadows=False)
    bright = lstar(even * truth.paper_luma)
    for name, true in (
        ("nonuniformity", (even.max() - even.min()) / even.mean()),
        ("range_L", np.ptp(bright) / 100),
        ("deviation_L", bright.std() / bright.mean()),
    ):
        for m in one(found, f"shading.{name}"):
            yield Tried(row(m.name), m, 100 * float(true))


def _noise(found, unit, at, truth):
    """Of white paper where it is looked at over the bed; 8-bit codes add what they round.

    The signal to noise is that of a paper which the sensor sees at a light of `WHITE`.
    """
    width, height = truth.size_mm
    x, y = _looked_at(truth.size_px, at.dpi)
    even = (
        unit.light_from("left", x) * unit.light_from("right", width - x)
        * (unit.light_from("top", y) * unit.light_from("bottom", height - y))[:, None]
    )  # fmt: skip
    vignette = unit.lamp.vignetting * (2 * x / width - 1) ** 2

    def variance(share):
        lights = [share * light for light in truth.paper_light]
        each = [
            truth.noise_sd(light, vignette=vignette) ** 2 + _step(light, at.output.tone) ** 2 / 12
            for light in lights
        ]
        return np.tensordot(np.square(LUMA_WEIGHTS), each, 1)

    paper = truth.paper_luma
    seen = even * paper
    slope = (lstar(seen * 1.001) - lstar(seen * 0.999)) / 0.002
    for m in one(found, "noise.temporal"):
        true = float(np.median(np.sqrt(variance(even)) / seen * slope))
        yield Tried(m.name, m, true, relative=True)
    at_white = float(np.median(variance(np.full_like(even, WHITE / paper))))
    for m in one(found, "noise.snr"):
        yield Tried(m.name, m, 10 * np.log10(WHITE**2 / at_white))


def _looked_at(size_px, dpi):
    """Middles, mm, of windows evenly from margin to margin, as noise is defined: 5 × 4 at most."""
    for side in (256, 128):
        middles = []
        for length, most in zip(size_px, (4, 5), strict=True):
            margin = min(round(MARGIN_MM * dpi / MM_PER_INCH), (length - side) // 4)
            count = max(min(most, (length - 2 * margin) // side), 1)
            starts = np.linspace(margin, length - margin - side, count)
            middles.append((starts + side / 2) * MM_PER_INCH / dpi)
        if len(middles[0]) * len(middles[1]) >= 6:
            break
    return middles


def _step(light, tone):
    """Light of one 8-bit code at a light, by the curve that the unit uses."""
    code = np.linspace(0, 1, 256)
    if tone == "srgb":
        curve = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    else:
        curve = code ** float(tone.removeprefix("gamma-"))
    return np.interp(light, curve[1:], np.diff(curve))
