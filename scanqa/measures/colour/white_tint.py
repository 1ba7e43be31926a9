"""How far white paper is from neutral, anywhere on the bed, against its middle."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from scanqa.model import (
    MM_PER_INCH,
    Evidence,
    Floats,
    Measurement,
    Placement,
    Reason,
    Results,
    not_measurable,
)
from scanqa.numeric.lightness import CLIPPED, luma
from scanqa.numeric.scatter import OF_INTERVAL

NEUTRAL_NAMES = ("colour.neutrality", "colour.paper_a", "colour.paper_b")
CELL_MM = 10.0
MIN_CELLS = 3  # along each axis, or there is no bed to compare
CLEARLY = 3.0  # scatters, by which a cell has less of a tint
LIT = 0.5  # of the light in the middle: darker cells lie in the shadow of the bed's edge
CUT_OFF = Reason(
    "clipped", "white paper is at the end of the scale in a channel: its colour is cut off"
)
EQUAL_CHANNELS = Reason("no-scan", "the three channels are equal: a grey scan in a colour file")
GREY_SCAN = Reason("no-scan", "a grey scan has no colour channels: scan in colour")


def neutrality(blank: Placement) -> Results:
    """Strongest tint over the bed of one blank scan, the tint of its middle, and a map."""
    from skimage.color import lab2lch

    scan = blank.scan.name
    light = blank.light.light(blank.overview.preview).astype(np.float64)
    why = _no_colour(blank)
    if why is not None:
        return Results(tuple(not_measurable(name, why, scan) for name in NEUTRAL_NAMES))
    block_mm = [blank.overview.step_px * MM_PER_INCH / dpi for dpi in blank.dpi]
    cells, errors = _cells(light, (block_mm[1], block_mm[0]))
    middle, middle_error = _level(_about_middle(light, (block_mm[1], block_mm[0])))
    if middle.max() >= CLIPPED or middle.min() <= 0:
        return Results(tuple(not_measurable(name, CUT_OFF, scan) for name in NEUTRAL_NAMES))
    lab, spread = _lab(cells / middle, errors / middle)
    tint = lab2lch(lab)[..., 1]
    lit = luma(cells) >= LIT * float(luma(middle))
    seen = np.where(lit, tint, -1.0)
    worst = np.unravel_index(np.argmax(seen), tint.shape)
    width, height = blank.size_mm
    at_mm = ((worst[1] + 0.5) * width / tint.shape[1], (worst[0] + 0.5) * height / tint.shape[0])
    paper, paper_spread = _lab(middle, middle_error)
    centre = (width / 2, height / 2)
    values = (
        (NEUTRAL_NAMES[0], tint[worst], _of_worst(seen, spread, worst), at_mm),
        (NEUTRAL_NAMES[1], paper[1], paper_spread[1], centre),
        (NEUTRAL_NAMES[2], paper[2], paper_spread[2], centre),
    )
    picture = Evidence(
        explains=NEUTRAL_NAMES[0],
        kind="map",
        title="Tint of white paper against the middle of the bed",
        scan=scan,
        unit="a*b*",
        image=tint,
        extent_mm=(0.0, 0.0, width, height),
    )
    return Results(
        measurements=tuple(
            Measurement(name, float(value), float(error), scan=scan, at_mm=place)
            for name, value, error, place in values
        ),
        evidence=(picture,),
    )


def _of_worst(tint: Floats, spread: Floats, worst: tuple[np.intp, ...]) -> float:
    """Uncertainty of the strongest of many tints.

    The largest of n lengths that are alike but for scatters s is about s √(2 ln n) too long
    (extreme value of a Rayleigh distribution); of those that are clearly shorter none counts.
    """
    each = np.hypot(spread[..., 1], spread[..., 2])
    rivals = tint > tint[worst] - CLEARLY * each
    chance = float(np.median(each[rivals])) / math.sqrt(2)
    return float(each[worst]) + chance * math.sqrt(2 * math.log(float(rivals.sum()))) / OF_INTERVAL


def _no_colour(blank: Placement) -> Reason | None:
    """Why a scan of blank paper has no colour to measure, or None."""
    if blank.scan.channels != 3:
        return GREY_SCAN
    if (blank.overview.preview == blank.overview.preview[..., :1]).all():
        return EQUAL_CHANNELS
    if min(blank.size_mm) < MIN_CELLS * CELL_MM:
        words = f"an image of {min(blank.size_mm):.0f} mm is too small for a map of the bed"
        return Reason("too-small", words)
    return None


def _cells(light: Floats, block_mm: tuple[float, float]) -> tuple[Floats, Floats]:
    """Light of cells (rows, columns, 3) and its standard error."""
    bands, columns = (
        list(_runs(length, max(round(length * mm / CELL_MM), 1)))
        for length, mm in zip(light.shape[:2], block_mm, strict=True)
    )
    found = [[_of_alike(light[band][:, part], across, down) for part, across in columns]
             for band, down in bands]  # fmt: skip
    cells, errors = (np.block([[[each[n]] for each in row] for row in found]) for n in range(2))
    return cells, errors


def _runs(length: int, count: int) -> Iterator[tuple[slice, int]]:
    """Where cells that are as wide as each other lie, and how many they are.

    A length that is not whole times their number has those that are a block wider first.
    """
    size, wider = divmod(length, count)
    end = wider * (size + 1)
    if wider:
        yield slice(0, end), wider
    yield slice(end, length), count - wider


def _of_alike(light: Floats, across: int, down: int) -> tuple[Floats, Floats]:
    """Light of so many cells of one size, (down, across, 3), and its standard error."""
    rows, columns = light.shape[0] // down, light.shape[1] // across
    blocks = light.reshape(down, rows, across, columns, 3).transpose(0, 2, 1, 3, 4)
    means, errors = _level(blocks)
    # What whole columns, or rows, of a cell have in common is no chance of single blocks.
    lines = [
        blocks.mean(axis=axis).std(axis=2) / np.sqrt(blocks.shape[5 - axis]) for axis in (2, 3)
    ]
    return means, np.maximum(errors, np.max(lines, axis=0))


def _about_middle(light: Floats, block_mm: tuple[float, float]) -> Floats:
    """Blocks of the middle `CELL_MM` of the bed."""
    spans = []
    for length, mm in zip(light.shape[:2], block_mm, strict=True):
        half = max(round(CELL_MM / mm / 2), 1)
        spans.append(slice(max(length // 2 - half, 0), length // 2 + half))
    return light[spans[0], spans[1]]


def _level(blocks: Floats) -> tuple[Floats, Floats]:
    """Mean of the middle 80 % of blocks (…, rows, columns, 3) in each channel, and its error.

    A median would be rounded where a block is a single pixel of 8 bits; the mean without its tails
    scatters like the whole mean, within 3 % (Gaussian).
    """
    channels = np.moveaxis(blocks, -1, -3)
    rising = np.sort(channels.reshape(*channels.shape[:-2], -1))
    count = rising.shape[-1]
    tail = count // 10
    mean = rising[..., tail : count - tail].mean(axis=-1)
    return mean, np.asarray(rising.std(axis=-1) / np.sqrt(count))


def _lab(light: Floats, error: Floats) -> tuple[Floats, Floats]:
    """CIELAB of linear sRGB light (…, 3), and its standard error from that of each channel."""
    from skimage.color import rgb2xyz, xyz2lab

    primaries = np.array([rgb2xyz(one) for one in np.eye(3)])  # XYZ of red, green and blue
    lab = np.asarray(xyz2lab(light @ primaries))
    variance = np.zeros_like(lab)
    for channel in range(3):
        step = np.zeros_like(light)
        step[..., channel] = error[..., channel]
        variance += (xyz2lab((light + step) @ primaries) - lab) ** 2
    return lab, np.sqrt(variance)
