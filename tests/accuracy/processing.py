"""Hidden processing: how often it is seen, and how often it is imagined."""

from __future__ import annotations

from collections.abc import Iterable

import cv2
import numpy as np
import skimage.exposure
import skimage.restoration
from PIL import Image, ImageEnhance, ImageFilter, ImageOps

from scanqa.measures import processing
from scanqa.model import Told
from tests.accuracy import Row
from tests.measures.printed_page import as_codes, page, placed
from tests.measures.test_processing import blank, in_each_colour, through_jpeg

SEED = 6000
PAGES = 24


def rows() -> Iterable[Row]:
    """Bounds on traces of processing."""
    yield _innocent()
    yield _levels()
    yield _grain()
    yield _jpeg()


def _pages(count: int) -> Iterable[np.ndarray]:
    """Native pages of varied lenses, grain and screens."""
    rng = np.random.default_rng(SEED)
    for _ in range(count):
        yield page(
            rng, 640, 768, blur_px=rng.uniform(0.4, 1.5), noise=rng.uniform(0.6, 2.5),
            screen_px=rng.uniform(4, 9) if rng.random() < 0.3 else None,
        )  # fmt: skip


def _innocent() -> Row:
    alarms = of = 0
    pictures = [*_pages(PAGES), *(as_codes(blank(noise=n, grain=g, seed=SEED + s, lens_px=lens))
                for s, lens in enumerate((0.3, 0.4, 0.5, 0.6, 0.8, 1.0))
                for n in (1.0, 2.5) for g in (0.0, 2.0))]  # fmt: skip
    for pixels in pictures:
        results = processing.measure([placed(pixels)], Told())
        for name in ("processing.level_stretch", "processing.grain_kept"):
            alarms += any(m.reason_kind == "software" for m in results.named(name))
        alarms += any(m.status == "ok" for m in results.named("processing.jpeg_quality"))
        of += 1
    return Row(
        "traces of levels, smoothing and JPEG in pages and blanks left alone", "0",
        f"{alarms} in {of}", alarms == 0, SEED, "arrays",
    )  # fmt: skip


def _levels() -> Row:
    """Contrast and levels by Pillow, OpenCV and scikit-image."""
    seen = of = 0
    rng = np.random.default_rng(SEED + 1)
    for native in _pages(PAGES // 3):
        dull = as_codes(native.astype(float) * 0.7 + 40 + rng.normal(0, 1, native.shape))
        for altered in (
            np.asarray(ImageOps.autocontrast(Image.fromarray(dull), cutoff=1)),
            np.asarray(ImageEnhance.Contrast(Image.fromarray(dull)).enhance(1.4)),
            cv2.convertScaleAbs(dull, alpha=1.3, beta=-30),
            as_codes(skimage.exposure.rescale_intensity(dull.astype(float), "image", (0, 255))),
        ):
            (m,) = processing.measure([placed(altered)], Told()).named("processing.level_stretch")
            seen += m.reason_kind == "software"
            of += 1
    return Row(
        "levels stretched by Pillow, OpenCV, scikit-image", "≥ 95 %", f"{seen} of {of}",
        seen >= 0.95 * of, SEED + 1, "arrays",
    )  # fmt: skip


SMOOTHERS = {
    "Pillow median": lambda p: np.asarray(
        Image.fromarray(as_codes(p)).filter(ImageFilter.MedianFilter(3)), float
    ),
    "Pillow blur": lambda p: np.asarray(
        Image.fromarray(as_codes(p)).filter(ImageFilter.GaussianBlur(0.8)), float
    ),
    "OpenCV box": lambda p: cv2.blur(p, (3, 3)),
    "OpenCV bilateral": lambda p: cv2.bilateralFilter(p.astype(np.float32), 5, 12, 1.5),
    "OpenCV non-local means": lambda p: cv2.fastNlMeansDenoising(as_codes(p), h=8).astype(float),
    "scikit-image total variation": lambda p: (
        255 * skimage.restoration.denoise_tv_chambolle(p / 255, weight=0.02)
    ),
}


def _grain() -> Row:
    """Six filters that smooth; what leaves no grain at all is said to be below rounding."""
    seen = of = 0
    for smooth in SMOOTHERS.values():
        for seed in range(4):
            textured = blank(noise=4, grain=1.5 * (seed % 2), seed=SEED + seed)
            pixels = as_codes(in_each_colour(smooth, textured))
            rows = processing.measure([placed(pixels)], Told()).measurements
            found = [m.reason_kind for m in rows if m.name == "processing.grain_kept"]
            seen += all(kind in ("software", "rounding") for kind in found)
            of += 1
    return Row(
        "grain smoothed by Pillow, OpenCV, scikit-image: said to be smoothed, both directions",
        "≥ 95 %", f"{seen} of {of}", seen >= 0.95 * of, SEED, "arrays",
    )  # fmt: skip


def _jpeg() -> Row:
    errors = []
    missed = 0
    for trial, native in enumerate(_pages(PAGES)):
        quality = (60, 75, 80, 85, 90, 92)[trial % 6]
        (m,) = processing.measure([placed(through_jpeg(native, quality))], Told()).named(
            "processing.jpeg_quality"
        )
        missed += m.status != "ok"
        errors.append(abs(m.value - quality))
    worst = max(errors)
    return Row(
        "`processing.jpeg_quality` in a lossless file, qualities 60 to 92", "none missed, within 2",
        f"{missed} of {PAGES} missed, worst off by {worst:.1f}", missed == 0 and worst <= 2, SEED,
        "arrays",
    )  # fmt: skip
