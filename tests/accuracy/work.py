"""Legibility, pace and disk against published numbers and files that were really written."""

from __future__ import annotations

import tempfile
from collections.abc import Iterable
from pathlib import Path

import numpy as np

from scanqa.catalogue.sizes import TURN_S
from scanqa.demo import SCANNERS
from scanqa.findings.job_plan import plan
from scanqa.findings.legibility import dpi_needed, size_mm
from scanqa.model import Job, Results
from scanqa.scans.array import ArrayScan
from scanqa.scans.compressed import JPEG_QUALITY, bytes_per_pixel
from scanqa.scans.save import save_jpeg, save_png, save_tiff
from scanqa.simulate import scan
from scanqa.simulate.scenes import BookScene
from tests.accuracy import Row

SEED = 6000
DPI = 300
# Cornell tutorial, "Benchmarking resolution requirements" (form in grey from memory), worked out
# outside the project: dpi, index, smallest letter in mm; and index, dpi for a letter of 1 mm.
SMALLEST = ((300, 8, 1.368), (300, 5, 0.855), (300, 3.6, 0.615),
            (600, 8, 0.684), (600, 5, 0.427), (600, 3.6, 0.308))  # fmt: skip
OF_A_MILLIMETRE = ((8, 410.3), (5, 256.4), (3.6, 184.6), (3, 153.8))


def rows() -> Iterable[Row]:
    """Bounds on what the judgement works out."""
    yield from _legibility()
    yield from _pace()
    yield from _disk()


def _legibility() -> Iterable[Row]:
    errors = [abs(size_mm("character", index, dpi) - mm) for dpi, index, mm in SMALLEST]
    yield Row(
        "smallest grey letters at 300 and 600 dpi, quality index 8, 5 and 3.6",
        "≤ 0.001 mm", f"worst of {len(errors)}: {max(errors):.4f} mm", max(errors) <= 0.001,
        None, "Cornell tutorial",
    )  # fmt: skip
    errors = [abs(dpi_needed("character", index, 1.0) - dpi) for index, dpi in OF_A_MILLIMETRE]
    stroke = abs(dpi_needed("stroke", 2.0, 0.254) - 200)
    yield Row(
        "dpi for grey letters of 1 mm, quality index 8, 5, 3.6 and 3",
        "≤ 0.1 dpi", f"worst of {len(errors)}: {max(errors):.2f} dpi", max(errors) <= 0.1,
        None, "Cornell tutorial",
    )  # fmt: skip
    yield Row(
        "dpi for a stroke of 1/100 inch, 2 samples across it (the tutorial says 200)",
        "≤ 1 % (0.039 for 1/25.4)", f"{stroke / 2:.2f} %", stroke / 2 <= 1.0,
        None, "Cornell tutorial",
    )  # fmt: skip


def _pace() -> Iterable[Row]:
    for words, scan_s, turn_s, low, high in (
        ("steady hand work, 18 s a scan", 18.0, TURN_S, 150, 160),
        ("nothing but scanning, 18 s a scan", 18.0, 0.0, 200, 200),
    ):
        job = Job(1000, "A3", (297.0, 420.0), 1.5, turn_s, scan_s)
        rate = plan(job, Results(), (), (), {}).pages_per_hour or 0.0
        asked = f"{low} to {high}" if low < high else f"{low}"
        yield Row(
            f"pages an hour, {words}", f"{asked} an hour", f"{rate:.1f} an hour",
            low <= round(rate, 6) <= high, None, "common practice, no source",
        )  # fmt: skip


def _disk() -> Iterable[Row]:
    """Predicted sizes of an open book's scan against the files of the whole scan."""
    names = ("PNG", "TIFF with deflate", f"JPEG of quality {JPEG_QUALITY}")
    shares: dict[str, list[float]] = {name: [] for name in names}
    overhead = 0.0
    for at, scanner in enumerate(SCANNERS.values()):
        scene = BookScene("left", lift_mm=2.2, length_mm=15.0)
        made = scan(scene, scanner, dpi=DPI, rng=np.random.default_rng([SEED, at]))
        found = bytes_per_pixel(ArrayScan(made.pixels, name="book.tif"), what="an open book")
        area = made.pixels.shape[0] * made.pixels.shape[1]
        with tempfile.TemporaryDirectory() as folder:
            png, deflate, jpeg, plain = (Path(folder) / name for name in ("p", "d", "j", "u"))
            save_png(png, made.pixels, DPI)
            save_tiff(deflate, made.pixels, DPI, compression="deflate")
            save_jpeg(jpeg, made.pixels, DPI, quality=JPEG_QUALITY)
            save_tiff(plain, made.pixels, DPI)
            for name, size, path in zip(names, found.values(), (png, deflate, jpeg), strict=True):
                shares[name].append(100 * (size.bytes * area / path.stat().st_size - 1))
            overhead = max(overhead, plain.stat().st_size / made.pixels.nbytes - 1)
    yield Row(
        "size of an uncompressed TIFF by arithmetic, both demo scanners",
        "≤ 0.1 %", f"{100 * overhead:.4f} %", overhead <= 0.001, SEED, "simulator, files",
    )  # fmt: skip
    for name, errors in shares.items():
        worst = max(abs(e) for e in errors)
        yield Row(
            f"size as {name}, predicted from parts of an open book, both demo scanners",
            "≤ 5 %", f"worst of {len(errors)}: {worst:.1f} %", worst <= 5.0, SEED,
            "simulator, files",
        )  # fmt: skip
