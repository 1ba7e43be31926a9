"""Maps, places and pixels, drawn to scale without axes: their size stands beside them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from scanqa.model import Floats, Pixels
from scanqa.report.draw.png import data_uri
from scanqa.report.draw.svg import drawing, element, rect, text
from scanqa.report.view import Beside, Crop, Map, Sites
from scanqa.words.numbers import number, plain

BED_PX, TALLEST_PX = 236.0, 240.0
CROP_PX = 264.0
BESIDE_PX = 166.0  # of each of two
BAR_PX = 12.0  # of the scale of a map
SMALLEST_PX, LARGEST_PX = 2.5, 8.0  # radius of a place
# From dark to light, and two ways from the middle; both keep their order for any eye and in grey.
PLAIN = ((8, 48, 84), (74, 118, 150), (160, 176, 170), (226, 214, 170), (252, 244, 214))
SIGNED = ((128, 74, 8), (214, 160, 86), (247, 246, 242), (138, 150, 196), (52, 44, 108))


def bed_map(picture: Map) -> str:
    """Values over a part of the bed, with what its palest and darkest mean."""
    image = np.asarray(picture.image, np.float64)
    known = image[np.isfinite(image)]
    low, high = (float(known.min()), float(known.max())) if known.size else (0.0, 1.0)
    signed = low < 0 < high
    if signed:
        low, high = -max(-low, high), max(-low, high)
    left, top, right, bottom = picture.extent_mm
    scale = min(BED_PX / max(right - left, 1e-9), TALLEST_PX / max(bottom - top, 1e-9))
    wide, tall = (right - left) * scale, (bottom - top) * scale
    colours = _coloured(image, low, high, SIGNED if signed else PLAIN)
    ramp = _coloured(np.linspace(high, low, 64)[:, None], low, high, SIGNED if signed else PLAIN)
    digits = 2 if high - low < 1 else 1 if high - low < 30 else 0
    unit = plain(picture.unit)
    x = wide + 14
    parts = [
        _image(colours, 0, 8, wide, tall),
        rect(0, 8, wide, tall, "frame"),
        _image(ramp, x, 8, BAR_PX, tall),
        text(f"{number(high, digits)} {unit}", x + BAR_PX + 5, 16, class_="note"),
        text(f"{number(low, digits)} {unit}", x + BAR_PX + 5, 8 + tall, class_="note"),
    ]
    return drawing(x + BAR_PX + 76, tall + 18, *parts)


def sites(picture: Sites) -> str:
    """Places on the glass: the larger the disc, the worse; best and worst with their number."""
    width, height = picture.bed_mm
    scale = min(BED_PX / width, TALLEST_PX / height)
    values = np.asarray(picture.values)
    low, high = picture.span
    signed = low < 0
    share = np.abs(values) / max(abs(low), abs(high), 1e-9) if signed else _badness(picture)
    parts = [rect(16, 16, width * scale, height * scale, "glass")]
    words = []
    for (x, y), part, value, said in zip(
        picture.places_mm, share, values, picture.texts, strict=True
    ):
        radius = SMALLEST_PX + float(part) * (LARGEST_PX - SMALLEST_PX)
        at = (16 + x * scale, 16 + y * scale)
        kind = "site below" if signed and value < 0 else "site"
        parts.append(element("circle", cx=at[0], cy=at[1], r=radius, class_=kind))
        if said:
            beyond = at[0] > 16 + width * scale - 30
            words.append(
                text(
                    said,
                    at[0] - 10 if beyond else at[0] + 10,
                    at[1] + 4,
                    text_anchor="end" if beyond else "start",
                    class_="mark halo",
                )
            )
    return drawing(width * scale + 40, height * scale + 32, *parts, *words)


def _badness(picture: Sites) -> Floats:
    """From 0 for the best to 1 for the worst; the lowest value is the worst."""
    low, high = picture.span
    values = np.asarray(picture.values)
    return np.asarray((high - values) / (high - low) if high > low else np.zeros(len(values)))


def crop(picture: Crop) -> str:
    """Real pixels, magnified, their size below them."""
    pixels = as_bytes(picture.image)
    left, _, right, _ = picture.extent_mm
    tall = CROP_PX * pixels.shape[0] / pixels.shape[1]
    parts = [_image(pixels, 0, 0, CROP_PX, tall), rect(0, 0, CROP_PX, tall, "frame")]
    parts.append(text(f"{number(right - left, 1)} mm wide", 0, tall + 15, class_="note"))
    return drawing(CROP_PX + 1, tall + 20, *parts)


def beside(picture: Beside) -> str:
    """Two pictures of the same pixels: as they are, and what makes the fault seen."""
    parts = []
    side, tall = BESIDE_PX, 0.0
    for at, (image, words) in enumerate(
        zip((picture.as_it_is, picture.stronger), picture.words, strict=True)
    ):
        pixels = as_bytes(image)
        x, tall = at * (side + 14), side * pixels.shape[0] / pixels.shape[1]
        parts += [_image(pixels, x, 0, side, tall), rect(x, 0, side, tall, "frame")]
        for row, words_of_row in enumerate(words.split(", ")):
            parts.append(text(words_of_row, x, tall + 14 * (row + 1), class_="note"))
    return drawing(2 * side + 15, tall + 34, *parts)


def as_bytes(image: Pixels) -> NDArray[np.uint8]:
    """Pixels as bytes, grey or in three channels."""
    if image.dtype != np.uint8:
        image = (image >> 8).astype(np.uint8)
    if image.ndim == 3 and image.shape[2] == 1:
        image = image[..., 0]
    return np.asarray(image, np.uint8)


def _image(pixels: NDArray[np.uint8], x: float, y: float, wide: float, tall: float) -> str:
    return element(
        "image",
        href=data_uri(pixels),
        x=x,
        y=y,
        width=wide,
        height=tall,
        preserveAspectRatio="none",
        style="image-rendering:pixelated",
    )


def _coloured(
    image: Floats, low: float, high: float, steps: tuple[tuple[int, int, int], ...]
) -> NDArray[np.uint8]:
    """Colours between the steps; what is not known is the colour of nothing measured."""
    known = np.isfinite(image)
    share = np.clip((np.where(known, image, low) - low) / max(high - low, 1e-12), 0, 1)
    at = np.linspace(0, 1, len(steps))
    colours = np.stack([np.interp(share, at, [c[n] for c in steps]) for n in range(3)], axis=-1)
    colours[~known] = (200, 198, 190)
    return np.asarray(colours.round(), np.uint8)
