"""Lines, evenness, shadows, noise, bands and white, from two blanks of one paper and a black card.

Truth: what was planted, in closed form (`Truth`); noise from photons, reading and rounding.
"""

from __future__ import annotations

import numpy as np

from scanqa.model import LUMA_WEIGHTS, Told
from scanqa.simulate.device_faults import Banding, Falloff, Shadow, Streak
from scanqa.simulate.scenes import BlankScene, DarkScene
from scanqa.simulate.truth import lstar
from tests.coverage import Tried
from tests.coverage.hard import drawn, measured, moved, one, scanned

SIDES = ("left", "right", "top", "bottom")
SHADOW_L = 1.0
CARRIAGE_SD = 0.002  # its steps against the stated dpi (common practice, no source)
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
    first, truth = scanned(BlankScene(at.paper), unit, at, "blank-1", role="blank")
    second, _ = scanned(BlankScene(at.paper, **moved(rng)), unit, at, "blank-2", role="blank")
    card, _ = scanned(DarkScene(), unit, at, "dark", role="dark")
    found = measured([*first, *second, *card], Told(), *FAMILIES)
    yield from _lines(found, unit, at, truth)
    yield from _light(found, unit, truth)
    yield from _noise(found, unit, at, truth)


def _lines(found, unit, at, truth):
    planted = [100 * float(np.abs(s.profile(truth.size_px[0], at.dpi)).max()) for s in unit.streaks]
    for m in one(found, "streaks.strongest_visible"):
        yield Tried(m.name, m, max(planted, default=0.0), relative=True)
    band = 100 * unit.banding.amplitude if unit.banding else 0.0
    for m in one(found, "banding.amplitude"):
        yield Tried(m.name, m, band)
    for m in one(found, "banding.period"):
        if m.value is not None and unit.banding:
            yield Tried(m.name, m, unit.banding.period_mm, relative=True)


def _light(found, unit, truth):
    width, height = truth.size_mm
    x, y = np.arange(0.5, width, 0.5), np.arange(0.5, height, 0.5)
    fading = {side: fall.light for side, fall in unit.falloff.items()}
    even = np.ones((len(y), len(x)))
    kept = {"x": np.ones(len(x), bool), "y": np.ones(len(y), bool)}
    for side, shadow in unit.shadows.items():  # left out: what it makes 1 L* darker
        d = {"left": x, "right": width - x, "top": y, "bottom": height - y}[side]
        paper = truth.paper_luma
        darker = lstar(np.asarray(paper)) - lstar(paper * shadow.light(d))
        kept["x" if side in ("left", "right") else "y"] &= darker < SHADOW_L
    for side, light in fading.items():
        d = {"left": x, "right": width - x, "top": y, "bottom": height - y}[side]
        share = light(d)
        even = even * (share if side in ("left", "right") else share[:, None])
    even = even[np.ix_(kept["y"], kept["x"])]
    true = 100 * float((even.max() - even.min()) / even.mean())
    for m in one(found, "shading.nonuniformity"):
        yield Tried(m.name, m, true)
    for side in SIDES:
        if unit.banding and side in ("top", "bottom"):  # bands are light, too
            continue
        for distance in (5, 20):
            for m in one(found, f"shading.falloff_{side}_{distance}mm"):
                light = float(unit.light_from(side, np.array([float(distance)]))[0])
                yield Tried("shading.falloff", m, 100 * light)
        for m in one(found, f"edges.shadow_{side}"):
            yield Tried("edges.shadow", m, truth.depth_mm(side))
    for m in one(found, "tone.white"):
        yield Tried(m.name, m, float(lstar(np.asarray(truth.paper_luma))))


def _noise(found, unit, at, truth):
    """Of white paper in the middle of the bed's light; 8-bit codes add what they round."""
    places = np.linspace(-1, 1, 41)
    light = np.asarray(truth.paper_light)
    weights = np.asarray(LUMA_WEIGHTS)
    step = _step(light, at.output.tone)
    sd = []
    for place in places:
        own = truth.noise_sd(light, vignette=unit.lamp.vignetting * place**2)
        sd.append(np.sqrt(np.sum(weights**2 * (own**2 + step**2 / 12))))
    middle = float(np.median(sd))
    paper = truth.paper_luma
    slope = float(lstar(np.asarray(paper * 1.001)) - lstar(np.asarray(paper * 0.999))) / 0.002
    for m in one(found, "noise.temporal"):
        yield Tried(m.name, m, middle / paper * slope, relative=True)
    for m in one(found, "noise.snr"):
        yield Tried(m.name, m, 20 * np.log10(paper / middle))


def _step(light, tone):
    """Light of one 8-bit code at a light, by the curve that the unit uses."""
    code = np.linspace(0, 1, 256)
    if tone == "srgb":
        curve = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    else:
        curve = code ** float(tone.removeprefix("gamma-"))
    return np.interp(light, curve[1:], np.diff(curve))
