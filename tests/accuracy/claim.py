"""Whether the dpi is real: how often an interpolation is found, and how often one is imagined."""

from __future__ import annotations

from collections.abc import Iterable

import cv2
import numpy as np

from scanqa.measures import claim
from scanqa.model import Told
from tests.accuracy import Row
from tests.measures.printed_page import page, placed
from tests.measures.test_processing import through_jpeg

SEED = 7000
LENGTH, BREADTH = 1800, 320  # px, along the direction looked at and beside it
NATIVE = 200
FACTORS = (1.2, 1.37, 1.5, 2.0, 2.4, 3.0, 4.0)
WITHIN = 0.03
KERNELS = {
    "nearest": cv2.INTER_NEAREST,
    "linear": cv2.INTER_LINEAR,
    "cubic": cv2.INTER_CUBIC,
    "Lanczos": cv2.INTER_LANCZOS4,
}


def rows() -> Iterable[Row]:
    """Bounds on made-up dpi."""
    yield _alarms()
    for blur_px in (0.4, 1.5):
        yield _found(blur_px, quality=None)
    yield _found(0.4, quality=90)
    yield _doubled()


def _alarms() -> Row:
    """Native pages of every lens, grain, screen and compression; in one of three level, even text.

    Lenses of σ 0.3 to 3 px, grain of 0.3 to 4 codes, half of them with a halftone, half through
    JPEG at qualities 75 to 95, along either direction in turn.
    """
    rng = np.random.default_rng(SEED)
    alarms, measured = 0, 0
    for trial in range(NATIVE):
        across = trial % 2 == 0
        pixels = page(
            rng,
            *((BREADTH, LENGTH) if across else (LENGTH, BREADTH)),
            blur_px=rng.uniform(0.3, 3),
            noise=10 ** rng.uniform(-0.5, 0.6),
            screen_px=rng.uniform(3, 10) if rng.random() < 0.5 else None,
            **({"pitch_px": rng.uniform(24, 90), "tilt_deg": 0.0} if trial % 3 == 0 else {}),
        )
        if rng.random() < 0.5:
            pixels = through_jpeg(pixels, int(rng.integers(75, 96)))
        factor = _factor(pixels, "across" if across else "travel")
        measured += factor.value is not None
        alarms += factor.value not in (None, 1.0)
    return Row(
        f"made-up dpi in {NATIVE} native pages, soft lenses, screens, even text, half of them JPEG",
        "0", f"{alarms} of {measured} measured", alarms == 0, SEED, "arrays",
    )  # fmt: skip


def _found(blur_px: float, *, quality: int | None) -> Row:
    """Both axes in turn, four kernels by OpenCV, seven factors."""
    rng = np.random.default_rng(SEED + 1)
    right, named, of, worst = 0, 0, 0, 0.0
    for kernel, method in KERNELS.items():
        for trial, factor in enumerate(FACTORS):
            native = page(rng, BREADTH, LENGTH, blur_px=blur_px)
            width = round(LENGTH * factor)
            pixels = cv2.resize(native, (width, BREADTH), interpolation=method)[:, :LENGTH]
            pixels = pixels if trial % 2 else pixels.T
            if quality is not None:
                pixels = through_jpeg(pixels, quality)
            found = _factor(pixels, "across" if trial % 2 else "travel")
            truth = width / LENGTH
            close = found.value is not None and abs(found.value / truth - 1) < WITHIN
            right += close
            named += close and kernel in found.reason
            of += 1
            if close:
                worst = max(worst, abs(found.value / truth - 1))
    over = "" if quality is None else f", JPEG {quality} on top"
    return Row(
        f"enlarged 1.2 to 4 times, nearest, linear, cubic, Lanczos, lens of σ {blur_px} px{over}: "
        "factor within 3 %, kernel family named",
        "all", f"{right} and {named} of {of}, worst factor off by {100 * worst:.2f} %",
        right == named == of, SEED + 1, "arrays",
    )  # fmt: skip


def _doubled() -> Row:
    """Lines doubled along the travel, the other direction native."""
    rng = np.random.default_rng(SEED + 2)
    ways = {
        "repeated": lambda lines: np.repeat(lines, 2, axis=0),
        "half a line off": lambda lines: _stretched(lines, 0.25),
        "on the lines": lambda lines: _stretched(lines, 0.0),
    }
    right, of = 0, 0
    for way in ways.values():
        for _ in range(4):
            pixels = way(page(rng, LENGTH // 2, LENGTH, blur_px=rng.uniform(0.4, 1.5)))
            factors = {
                m.direction: m.value
                for m in claim.measure([placed(pixels)], Told()).named("claim.factor")
            }
            right += abs(factors["travel"] / 2 - 1) < WITHIN and factors["across"] == 1
            of += 1
    return Row(
        "lines doubled along the travel, repeated or linear at two phases: factor 2, and 1 across",
        "all", f"{right} of {of}", right == of, SEED + 2, "arrays",
    )  # fmt: skip


def _stretched(lines: np.ndarray, phase: float) -> np.ndarray:
    """Twice as many lines, linear interpolation, sampled `phase` original lines off."""
    at = np.clip(np.arange(2 * len(lines)) / 2 - phase, 0, len(lines) - 1)
    low = np.minimum(at.astype(int), len(lines) - 2)
    share = (at - low)[:, None]
    light = lines[low] * (1 - share) + lines[low + 1] * share
    return np.round(light).astype(np.uint8)


def _factor(pixels: np.ndarray, direction: str):
    found = claim.measure([placed(np.ascontiguousarray(pixels))], Told()).named("claim.factor")
    return next(m for m in found if m.direction == direction)
