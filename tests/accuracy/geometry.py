"""Locating and geometry: sheets drawn by poppler, places and scales in closed form."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from scanqa.locate import locate
from scanqa.measures import geometry
from scanqa.model import Told
from scanqa.scans.array import ArrayScan
from scanqa.scans.linear import linear
from scanqa.scans.overview import overview
from scanqa.sheets import sheet
from scanqa.sheets.pdf import draw
from tests.accuracy import Row
from tests.independent import MM, Pose, degrade, raster
from tests.measures.test_geometry import JITTER_DPI, jitter_of, unsteady

SEED = 1
PATH = "PDF → poppler"
MIDDLE_MM = (105.0, 148.5)
CASES = (
    (300, 0.005, 1.3),
    (300, 0.02, 5.0),
    (300, 0.01, -5.0),
    (600, 0.005, -0.6),
    (600, 0.02, 3.0),
)
PRINTER, STRETCH = (1.0, 1.007), (1.002, 0.997)


def rows() -> Iterator[Row]:
    with tempfile.TemporaryDirectory() as folder:
        pdf = Path(folder) / "bed.pdf"
        pdf.write_bytes(draw(sheet("bed-sheet-a4")))
        yield from _places(pdf)
        yield from _reversal(pdf)
        yield from _jitter(pdf)


def _placed(pdf, pose, dpi, noise, *, from_dpi=1200, size_mm=None):
    picture = raster(pdf, from_dpi, pose=pose, size_mm=size_mm)
    pixels = degrade(
        picture, dpi_from=from_dpi, dpi_to=dpi, blur_sigma_px=0.5, noise=noise, seed=SEED
    )
    scan = ArrayScan(pixels, dpi=(dpi, dpi))
    (placement,) = locate(scan, overview(scan), linear(scan))
    return placement


def _value(results, name):
    (row,) = results.named(name)
    return row.value


def _places(pdf):
    sites, corners, scales, skews = [], [], [], []
    for dpi, noise, turn in CASES:
        pose = Pose(turn_deg=turn, about_mm=MIDDLE_MM)
        found = _placed(pdf, pose, dpi, noise)
        ends = np.array([p for edge in found.piece.edges for p in (edge.start_mm, edge.end_mm)])
        off = found.sheet_px(ends) - pose.px(ends, dpi)
        sites.append(1e3 * MM / dpi * float(np.hypot(*off.T).max()))
        tags = {tag.id: tag.corners_mm for tag in found.piece.tags}
        truth = np.array([pose.px(tags[number], dpi) for number in found.tags])
        corners.append(float(np.sqrt(((found.corners_px - truth) ** 2).mean())))
        results = geometry.measure([found], Told())
        scales += [
            abs(_value(results, f"geometry.dpi_{way}") / dpi - 1) for way in ("across", "travel")
        ]
        skews.append(abs(_value(results, "geometry.skew") - turn))
    what = "300 and 600 dpi, turned up to 5°, noise 0.5 to 2 %"
    yield Row(
        f"place of every site, {what}",
        "≤ 100 µm",
        f"{max(sites):.2f} µm",
        max(sites) <= 100,
        SEED,
        PATH,
    )
    yield Row(
        "tag corners, worst rms of a scan",
        "≤ 0.05 px",
        f"{max(corners):.3f} px",
        max(corners) <= 0.05,
        SEED,
        PATH,
    )
    yield Row(
        f"dpi, {what}", "≤ 0.1 %", f"{100 * max(scales):.5f} %", max(scales) <= 0.001, SEED, PATH
    )
    yield Row(f"skew, {what}", "≤ 0.02°", f"{max(skews):.5f}°", max(skews) <= 0.02, SEED, PATH)


def _reversal(pdf):
    placements = []
    for turn in (0, 90, 180):
        pose = Pose(
            turn_deg=turn + 0.4,
            about_mm=MIDDLE_MM,
            shift_mm=(0.0, -40.0) if turn == 90 else (1.0, 0.5),
            printer=PRINTER,
            stretch=STRETCH,
        )
        placements.append(_placed(pdf, pose, 300, 0.005, size_mm=(216, 297)))
    bars = tuple(
        round(scale * bar, 1)  # as read from a rule
        for scale, bar in zip(PRINTER, placements[0].sheet.bars_mm, strict=True)
    )
    results = geometry.measure(placements, Told(bars_mm=bars))
    truth = dict(zip(("across", "travel"), STRETCH, strict=True))
    worst = max(
        abs(_value(results, f"geometry.dpi_{way}") / 300 / scale - 1)
        for way, scale in truth.items()
    )
    yield Row(
        "dpi by reversal and a rule read to 0.1 mm, printer off by 0.7 % in one axis",
        "≤ 0.05 %",
        f"{100 * worst:.3f} %",
        worst <= 0.0005,
        SEED,
        PATH,
    )
    printer = abs(_value(results, "geometry.printer_down") - 0.7)
    yield Row(
        "the printer's own error, found by reversal",
        "≤ 0.05 %",
        f"{printer:.3f} %",
        printer <= 0.05,
        SEED,
        PATH,
    )
    results = geometry.measure(placements, Told())
    ratio = _value(results, "geometry.dpi_across") / _value(results, "geometry.dpi_travel")
    off = abs(ratio / (STRETCH[0] / STRETCH[1]) - 1)
    yield Row(
        "ratio of dpi across to travel by reversal, no rule",
        "≤ 0.05 %",
        f"{100 * off:.5f} %",
        off <= 0.0005,
        SEED,
        PATH,
    )


def _jitter(pdf):
    """Sines of the carriage's place, 300 dpi: rms less what a pixel's height averages out."""
    picture = raster(pdf, 1200, pose=Pose(turn_deg=0.3, about_mm=MIDDLE_MM), size_mm=(210, 200))
    errors, off = [], []
    for amplitude_um in (6.0, 12.0, 24.0):
        for period_mm in (0.4, 0.6, 0.9):
            turn = 2 * np.pi * 25.4 / JITTER_DPI / period_mm
            row, spectrum = jitter_of(
                unsteady(picture, lambda row, a=amplitude_um, t=turn: a * np.sin(t * row))
            )
            lost = np.sinc(25.4 / JITTER_DPI / period_mm) ** 2
            errors.append(row.value / (lost * amplitude_um / np.sqrt(2)) - 1)
            off.append(abs(float(spectrum.x[spectrum.y.argmax()]) - 1 / period_mm))
    worst = 100 * max(abs(e) for e in errors)
    yield Row(
        "travel jitter, sines of 6 to 24 µm, periods 0.4 to 0.9 mm: rms", "≤ 10 %",
        f"worst of {len(errors)}: {worst:.1f} %", worst <= 10, SEED, PATH,
    )  # fmt: skip
    yield Row(
        "the same: frequency of the highest line (borders span 1.4 mm of travel)",
        "≤ 0.1 cy/mm", f"{max(off):.3f} cy/mm", max(off) <= 0.1, SEED, PATH,
    )  # fmt: skip
