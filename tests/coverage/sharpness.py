"""Sharpness of the scan of a sheet and of the scanner behind it: prints, papers, cards, curves.

Edges are made by `tests.measures.paper_edges` (spread of light in paper of three shapes, smooth
print blur, Gaussian optics, the pixel), not by the simulator, and read through a tone curve of
the scanner's own, which half of the cases state and half leave to be assumed. The truth of the
scan is the transform of the edge within the window about it, that of the scanner a closed form.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from scanqa.measures import processing, sharpness
from scanqa.model import MM_PER_INCH, Edge, Piece, Placement, Results, Told
from scanqa.scans.array import ArrayScan
from scanqa.scans.linear import linear
from scanqa.scans.overview import overview
from tests.coverage import Tried
from tests.measures import paper_edges
from tests.measures.paper_edges import Paper
from tests.measures.stacked_edges import REACH_MM

CASES = 100
SLANT_DEG = 5.15
KP_MM = {"office": (0.08, 0.25), "coated": (0.02, 0.08), "photo": (0.0, 0.06)}
PRINTED = 4


def case(rng: np.random.Generator) -> Iterator[Tried]:
    """A printed sheet and an edge card of photo paper on one scanner."""
    dpi = float(rng.choice([300, 400, 600]))
    optics_mm = float(rng.uniform(0.35, 0.9)) * MM_PER_INCH / dpi
    kind = str(rng.choice(["office", "coated"]))
    sheet, card = (_paper(rng, each) for each in (kind, "photo"))
    print_mm = float(rng.choice([0.0, rng.uniform(0.005, 0.06)]))
    noise = float(rng.uniform(0.002, 0.008))
    encode, stated = _curve(rng)
    bed = _bed(rng, sheet, dpi, optics_mm, print_mm, noise, encode, stated)
    light = paper_edges.card(
        card, dpi=dpi, optics_mm=optics_mm, size_mm=(30.0, 26.0), noise=noise,
        seed=int(rng.integers(1 << 30)), slant_deg=float(rng.choice([-1, 1])) * SLANT_DEG,
    )  # fmt: skip
    lying = _placed(light, dpi, encode, stated, role="edge-card", name="card.tif")
    told = Told(paper=kind if rng.random() < 0.5 else None, card_paper="photo")
    white = rng.normal(0.8, 0.006, (2, 700, 700))  # one paper, twice: what differs is grain alone
    blanks = [
        _placed(light, dpi, encode, stated, role="blank", name=f"blank-{n}.tif")
        for n, light in enumerate(white)
    ]
    found = _measured([bed, lying], blanks, told)
    alone = _measured([bed], blanks, told)
    of_sheet = _truth_of_sheet(sheet, dpi, optics_mm, print_mm)
    scanner = {
        level: paper_edges.scanner_crossing(
            level, optics_mm=optics_mm, dpi=dpi, slant_deg=SLANT_DEG
        )
        for level in (0.5, 0.1)
    }
    curve = "curve known" if stated else "curve assumed"
    yield _tried(found, "sheet_sfr50", "printed", of_sheet, curve)
    yield _tried(found, "sfr50", "card", scanner[0.5], f"card of photo paper, {curve}")
    yield _tried(found, "sfr50", "printed", scanner[0.5], f"print beside the card, {curve}")
    yield _tried(alone, "sfr50", "printed", scanner[0.5], f"print alone, {curve}")
    yield _tried(found, "sfr10", "card", scanner[0.1], f"card of photo paper, {curve}")
    effective = min(scanner[0.1] * 2 * MM_PER_INCH, dpi)
    yield _tried(found, "effective_dpi", "card", effective, f"card of photo paper, {curve}")


def _measured(scans, blanks, told) -> Results:
    """Sharpness with the doubts that a qualification adds."""
    traces = processing.measure([*scans, *blanks], told)
    return processing.settled(sharpness.measure(scans, told) + traces, scans)


def _paper(rng: np.random.Generator, kind: str) -> Paper:
    return Paper(float(rng.uniform(*KP_MM[kind])), str(rng.choice(paper_edges.SHAPES)))


def _tried(found, name: str, kind: str, truth: float, what: str) -> Tried:
    """A value of one edge of a kind, the first across that has one, as it stands."""
    here = [
        m
        for m in found.measurements
        if m.name == f"sharpness.{name}" and m.edge_kind == kind and m.direction == "across"
    ]
    return Tried(f"sharpness.{name} ({what})", here[0] if here else None, truth, relative=True)


def _curve(rng: np.random.Generator):
    """What makes codes of light, and whether the file says so."""
    codes = np.linspace(0, 1, 20001)
    srgb = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)
    if rng.random() < 0.5:
        return (lambda light: np.interp(light, srgb, codes)), True
    which = rng.random()
    if which < 0.3:
        curve = srgb
    elif which < 0.8:
        curve = codes ** rng.uniform(1.8, 2.6)
    else:
        bent = codes + rng.uniform(0.1, 0.4) * np.sin(2 * np.pi * (codes - 0.5)) / (2 * np.pi)
        curve = np.interp(np.interp(codes, bent, codes), codes, srgb)
    return (lambda light: np.interp(light, curve, codes)), False


def _placed(light, dpi, encode, stated, **more) -> Placement:
    codes = np.rint(65535 * encode(np.clip(light, 0, 1))).astype(np.uint16)[..., np.newaxis]
    role, name = more.pop("role"), more.pop("name")
    scan = ArrayScan(codes, name=name, dpi=(dpi, dpi))
    curve = linear(scan, curve="srgb" if stated else None)
    return Placement(scan, overview(scan), curve, role, (dpi, dpi), "file", **more)


def _bed(rng, sheet, dpi, optics_mm, print_mm, noise, encode, stated) -> Placement:
    mm = MM_PER_INCH / dpi
    strips, edges, row = [], [], 0
    for n in range(PRINTED):
        made = paper_edges.printed(
            sheet, dpi=dpi, optics_mm=optics_mm, print_mm=print_mm, noise=noise,
            seed=int(rng.integers(1 << 30)), slant_deg=SLANT_DEG,
        )  # fmt: skip
        ends = [((x + 0.5) * mm, (y + row + 0.5) * mm) for x, y in made.line]
        edges.append(Edge(f"edge-{n}", ends[0], ends[1], REACH_MM, "printed"))
        strips.append(made.pixels)
        row += made.pixels.shape[0]
    return _placed(
        np.concatenate(strips), dpi, encode, stated, role="bed-sheet", name="bed.tif",
        piece=Piece("sheet", (), (), tuple(edges)),
        to_px=np.array([[1 / mm, 0, -0.5], [0, 1 / mm, -0.5]]),
    )  # fmt: skip


def _truth_of_sheet(sheet: Paper, dpi: float, optics_mm: float, print_mm: float) -> float:
    """SFR50 of the printed edge, the pixel in it, against its window's plain sides."""
    x, light = paper_edges.profile(sheet, "ink", optics_mm=optics_mm, print_mm=print_mm)
    within = np.abs(x) < REACH_MM
    x, steps = x[within][1:] - paper_edges.FINE_MM / 2, np.diff(light[within])
    px, angle = MM_PER_INCH / dpi, np.radians(SLANT_DEG)
    f = np.linspace(0.05, 1.2 / px, 4000)
    waves = np.abs(np.exp(-2j * np.pi * np.multiply.outer(f, x)) @ steps) / steps.sum()
    response = waves * np.sinc(f * px * np.cos(angle)) * np.sinc(f * px * np.sin(angle))
    return float(f[np.flatnonzero(response < 0.5)[0]])
