"""Hard cases: everything that a set-up leaves open, drawn anew for each."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from importlib import import_module
from typing import Literal

import numpy as np

from scanqa.locate import locate
from scanqa.measures import processing
from scanqa.model import Placement, Results, Told, of_role
from scanqa.scans.array import ArrayScan
from scanqa.scans.linear import linear
from scanqa.scans.overview import overview
from scanqa.simulate import scan
from scanqa.simulate.scanner import Lamp, Optics, Output, Scanner, Sensor
from scanqa.simulate.scenes import Paper, Printer
from scanqa.simulate.truth import Truth
from scanqa.simulate.ugly_paper import Clouds, Flecks

GLASS_MM = (105.0, 148.0)  # small, for speed: nothing measured here depends on its size
JPEG_SHARE, UGLY_SHARE, OTHER_CURVE_SHARE = 0.2, 0.25, 0.25
CURVES = ("gamma-2.2", "gamma-1.8")  # where a file says nothing, sRGB is assumed
STATED_SHARE = 1 / 3  # of files that say their curve, and say it rightly


@dataclass(frozen=True)
class Drawn:
    """What the user does not know: the unit's output, the paper, the print, the dpi.

    `curve` is what the file says of its tone curve, None if nothing.
    """

    rng: np.random.Generator
    dpi: float
    curve: Literal["srgb"] | None
    output: Output
    lamp: Lamp
    sensor: Sensor
    optics: Optics
    paper: Paper
    printer: Printer

    def scanner(self, **more) -> Scanner:
        """A unit with these properties, and what else is given."""
        known = {
            "glass_mm": GLASS_MM, "output": self.output, "lamp": self.lamp, "sensor": self.sensor,
            "optics": self.optics, "seed": int(self.rng.integers(1 << 30)),
        }  # fmt: skip
        return Scanner(name="tried", **{**known, **more})


def drawn(rng: np.random.Generator, *, dpi: Sequence[float] = (100, 150, 200)) -> Drawn:
    """One draw of everything."""
    jpeg = int(rng.integers(75, 96)) if rng.random() < JPEG_SHARE else None
    stated, other = rng.random() < STATED_SHARE, rng.random() < OTHER_CURVE_SHARE
    tone = str(rng.choice(CURVES)) if other and not stated else "srgb"
    reflectance = float(rng.uniform(0.68, 0.88))
    cast = rng.uniform(0.0, 0.12)
    return Drawn(
        rng,
        float(rng.choice(dpi)),
        "srgb" if stated else None,
        Output(tone=tone, jpeg_quality=jpeg),
        Lamp(level=float(rng.uniform(0.4, 1.0)), vignetting=float(rng.uniform(0.1, 0.4)),
             half_height_mm=float(rng.choice([rng.uniform(2.2, 4.0), rng.uniform(7.0, 14.0)]))),
        Sensor(full_well_e=float(10 ** rng.uniform(4.0, 5.0)),
               read_noise_e=float(rng.uniform(8, 30)),
               column_pattern=float(10 ** rng.uniform(-4.0, -3.0)),
               red_px=tuple(rng.normal(0, 0.25, 2)), blue_px=tuple(rng.normal(0, 0.25, 2))),
        Optics(float(rng.uniform(20, 60)), float(rng.uniform(20, 60)),
               focus_um_per_mm=float(rng.choice([rng.uniform(8, 16), rng.uniform(90, 150)]))),
        paper(rng, reflectance, cast),
        printer(rng),
    )  # fmt: skip


def paper(rng: np.random.Generator, reflectance: float, cast: float) -> Paper:
    """A sheet of its own; one in four is ugly."""
    ugly = ()
    if rng.random() < UGLY_SHARE:
        ugly = (Clouds(),) if rng.random() < 0.5 else (Flecks(),)
    return Paper(
        reflectance, (1.0, 1.0 - cast / 3, 1.0 - cast), float(rng.uniform(0.002, 0.01)),
        float(rng.uniform(0.06, 0.2)), float(rng.uniform(0.5, 1.5)), int(rng.integers(1 << 30)),
        ugly,
    )  # fmt: skip


def printer(rng: np.random.Generator) -> Printer:
    """A home printer: 0.6 % of scale on each axis (one sigma), a rough or a smooth edge."""
    scale = 1 + rng.normal(0, 0.006, 2)
    return Printer(
        float(scale[0]), float(scale[1]), ink_density=float(rng.uniform(1.0, 1.5)),
        edge_roughness_um=float(rng.uniform(0, 20)), seed=int(rng.integers(1 << 30)),
    )  # fmt: skip


def scanned(
    scene, scanner: Scanner, at: Drawn, name: str, *, role: str | None = None, book_edge=None
) -> tuple[list[Placement], Truth]:
    """A simulated scan as the measures see it, and its truth."""
    made = scan(scene, scanner, dpi=at.dpi, rng=at.rng)
    source = ArrayScan(made.pixels, name=f"{name}.tif", dpi=made.dpi)
    placed = locate(
        source, overview(source), linear(source, curve=at.curve), role=role, book_edge=book_edge
    )
    return list(placed), made.truth


def measured(scans: Sequence[Placement], told: Told, *families: str) -> Results:
    """Some families, bounded and taken back as a qualification does."""
    from scanqa.catalogue import FAMILIES

    results = Results()
    for name in (*families, "processing"):
        of_family = of_role(scans, *FAMILIES[name].roles)
        results += import_module(f"scanqa.measures.{name}").measure(of_family, told)
    return processing.settled(processing.bounded(results, scans), scans)


def moved(rng: np.random.Generator) -> dict:
    """How a sheet lies the second time."""
    way = rng.uniform(2.0, 8.0, 2) * rng.choice([-1, 1], 2)
    return {"moved_mm": (float(way[0]), float(way[1])), "turn_deg": float(rng.uniform(-0.6, 0.6))}


def by_curve(quantity: str, at: Drawn, sheet: bool = False) -> str:
    """Row of a value that rests on the curve, by what is known of it."""
    known = "stated" if at.curve else "assumed, tones of a sheet seen" if sheet else "assumed"
    return f"{quantity} (curve {known})"


def one(results: Results, name: str, **where) -> Iterator:
    """All measurements of a name, with or without a value."""
    for m in results.measurements:
        if m.name == name and all(getattr(m, key) == value for key, value in where.items()):
            yield m
