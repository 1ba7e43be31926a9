"""Scan a scene with a scanner: pixels, and the truth about them.

In the order of the physics: reflectance of the scene, averaged over area · page lift · optics
blur and pixel aperture, each channel where it looks · stray light of haze · marks on the glass ·
illumination, streaks, banding, flicker · photon and read noise · white calibration and fixed
pattern · tone curve · codes. It works strip by strip in float32, so that memory is bounded whatever
the size.

Left out: the paper's texture is not blurred by the optics, light does not spread inside the
paper, and a lifted page is not magnified differently.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from scanqa.model import MM_PER_INCH, Floats, Pixels
from scanqa.simulate.coverage import Layer, Shape, layers, paint, paint_over
from scanqa.simulate.deliver import deliver, tone
from scanqa.simulate.frames import chained, inverse
from scanqa.simulate.haze import veiled
from scanqa.simulate.laid import Laid, Paper, Scene
from scanqa.simulate.laser import lay_over
from scanqa.simulate.lighting import (
    Light,
    column_gain,
    darken_partly,
    light_across,
    light_along,
    page_heights,
    vignette,
)
from scanqa.simulate.optics import BLOCK_COLS, BLOCK_ROWS, CELLS, cuts, padding_px, resolve
from scanqa.simulate.scanner import Scanner
from scanqa.simulate.truth import Truth

_STRIP_ROWS = 144
_TEXTURE_PITCH_MM = 0.1


@dataclass(frozen=True, slots=True, eq=False)
class Simulated:
    """A simulated scan.

    Attributes
    ----------
    pixels : (rows, columns, 3) uint8 or uint16
        As delivered.
    dpi : (x, y)
        As a file would say.
    truth : Truth
        What a measure should find.
    """

    pixels: Pixels
    dpi: tuple[float, float]
    truth: Truth


def scan(
    scene: Scene, scanner: Scanner, *, dpi: float | tuple[float, float], rng: np.random.Generator
) -> Simulated:
    """Scan a scene.

    Parameters
    ----------
    scene : Scene
        What lies on the glass.
    scanner : Scanner
        The device.
    dpi : float or (x, y)
        Samples per inch asked for.
    rng : numpy.random.Generator
        Noise of this scan. Paper, print and fixed pattern have seeds of their own, so they stay
        from scan to scan.

    Returns
    -------
    Simulated
    """
    asked = (float(dpi), float(dpi)) if isinstance(dpi, (int, float)) else dpi
    native = scanner.output.native_dpi or asked
    laid = scene.lay(scanner.glass_mm)
    width, height = scanner.size_px(native)
    codes = np.empty((height, width, 3), np.uint8 if scanner.output.bits == 8 else np.uint16)
    for row, light in _strips(laid, scanner, native, rng):
        codes[row : row + len(light)] = tone(light, scanner.output)
    to_px = scanner.glass_to_px(asked)
    pixels = deliver(codes, scanner.output, native=native, asked=asked, size=scanner.size_px(asked))
    paper_light = tuple(
        _calibrated(laid.paper.reflectance * tint, scanner) for tint in laid.paper.tint
    )
    truth = Truth(
        scanner=scanner,
        dpi=asked,
        size_px=(pixels.shape[1], pixels.shape[0]),
        paper_light=(paper_light[0], paper_light[1], paper_light[2]),
        to_px={name: chained(onto, to_px) for name, onto in laid.maps.items()},
        turn_deg=laid.turn_deg + scanner.skew_deg,
        lift=laid.lift,
    )
    return Simulated(pixels, asked, truth)


def one_thread() -> None:
    """Keep OpenCV in this process to one thread: for one of several workers."""
    import cv2

    cv2.setNumThreads(1)


def _calibrated(reflectance: float, scanner: Scanner) -> float:
    """Light that a reflectance is given."""
    return reflectance / scanner.white_reflectance + scanner.black_light


def _strips(
    laid: Laid, scanner: Scanner, dpi: tuple[float, float], rng: np.random.Generator
) -> Iterator[tuple[int, Light]]:
    """First row and relative light (rows, width, 3) of each strip, noise and all."""
    width, height = scanner.size_px(dpi)
    seen = _reflectance(laid, scanner, dpi)
    grain = _texture(laid, scanner, dpi)
    marks = _marks(scanner, dpi)
    across = light_across(laid, scanner, dpi)
    veil = veiled(seen, scanner.haze, scanner.size_px(dpi), dpi) if scanner.haze else None
    along = light_along(laid, scanner, dpi, rng)
    gain = column_gain(scanner, dpi, rng)
    share = scanner.lamp.level * (1 - vignette(scanner, width))
    well, read = scanner.sensor.full_well_e, scanner.sensor.read_noise_e
    photons = (1 / (well * share)).astype(np.float32)[:, np.newaxis]
    reading = ((read / (well * share)) ** 2).astype(np.float32)[:, np.newaxis]
    noisy = math.isfinite(well) or read > 0
    tint = np.asarray(laid.paper.tint, np.float32) / np.float32(scanner.white_reflectance)

    for row in range(0, height, _STRIP_ROWS):
        rows = min(_STRIP_ROWS, height - row)
        light = seen(row, rows)
        if veil is not None:
            light = veil(row, light)
        light = light * (tint * across)
        if grain is not None:
            light *= grain(row, rows)[:, :, np.newaxis]
        light *= along[row : row + rows, np.newaxis, np.newaxis]
        light += np.float32(scanner.black_light)
        marks(row, light)
        darken_partly(scanner, dpi, row, light)
        if noisy:
            spread = np.sqrt(np.maximum(light, 0) * photons + reading)
            spread *= rng.standard_normal(light.shape, dtype=np.float32)
            light += spread
        light *= gain
        yield row, light


def _reflectance(
    laid: Laid, scanner: Scanner, dpi: tuple[float, float]
) -> Callable[[int, int], Light]:
    """A function that gives the resolved reflectance of rows, (rows, width, 1 or 3)."""
    width, _ = scanner.size_px(dpi)
    if not (laid.shapes or laid.inks or laid.over):
        flat = np.full((_STRIP_ROWS, width, 1), laid.base, np.float32)
        return lambda row, rows: flat[:rows]
    to_px = scanner.glass_to_px(dpi)
    picture, over = (_in_cells(list(part), to_px) for part in (laid.shapes, laid.over))
    optics, sensor = scanner.optics, scanner.sensor
    aperture = (optics.aperture_across, optics.aperture_travel)
    looks = (
        (-sensor.red_px[0], -sensor.red_px[1]),
        (0.0, 0.0),
        (-sensor.blue_px[0], -sensor.blue_px[1]),
    )
    shifts = looks if len(set(looks)) > 1 else ((0.0, 0.0),)
    shift = max(abs(value) for look in shifts for value in look)

    def seen(row: int, rows: int) -> Light:
        blocks = _blocks(laid, scanner, dpi, row, rows)
        sigma = _sigma_px(
            laid, scanner, dpi, *((np.add(b[:-1], b[1:]) / 2) for b in blocks), from_row=row
        )
        widest = max(float(np.max(sigma[0])), float(np.max(sigma[1])))
        pad = padding_px(widest, max(aperture), shift)
        left, top = -pad * CELLS, (row - pad) * CELLS
        size = {"rows": (rows + 2 * pad) * CELLS, "cols": (width + 2 * pad) * CELLS}
        fine = paint(picture, laid.base, left=left, top=top, **size)
        if laid.inks:
            # Cell (x, y) of this grid lies at pixel (x + left) / CELLS - 0.5.
            cell = np.array([[1 / CELLS, 0, left / CELLS - 0.5], [0, 1 / CELLS, top / CELLS - 0.5]])
            for page in laid.inks:
                lay_over(fine, page, chained(cell, inverse(to_px)))
        paint_over(fine, over, left=left, top=top)
        return resolve(
            fine, pad=pad, blocks=blocks, sigma_px=sigma, aperture_px=aperture, shifts_px=shifts
        )

    return seen


def _in_cells(shapes: list[Shape], to_px: Floats) -> list[Layer]:
    """Shapes as layers in fine cells: cell 0 begins where pixel 0 begins."""
    cells = np.column_stack([to_px[:, :2] * CELLS, (to_px[:, 2] + 0.5) * CELLS])
    return layers([shape.moved(cells) for shape in shapes])


def _blocks(
    laid: Laid, scanner: Scanner, dpi: tuple[float, float], row: int, rows: int
) -> tuple[list[int], list[int]]:
    """Borders of rows (from the strip's first) and of columns between which the blur is even."""
    width, _ = scanner.size_px(dpi)
    x, y = (np.arange(n, dtype=np.float64) + 0.5 for n in (width, rows))
    down = _sigma_px(laid, scanner, dpi, y, np.array([0.0, width / 2, width]), from_row=row)
    over = _sigma_px(laid, scanner, dpi, np.array([0.0, rows]), x, from_row=row)
    return cuts(np.hstack(down), BLOCK_ROWS), cuts(np.vstack(over).T, BLOCK_COLS)


def _sigma_px(
    laid: Laid,
    scanner: Scanner,
    dpi: tuple[float, float],
    y_px: Floats,
    x_px: Floats,
    *,
    from_row: int,
) -> tuple[Floats, Floats]:
    """Blur across and along travel, (rows, columns) in pixels, at places counted from corners."""
    width, height = scanner.size_px(dpi)
    y = y_px + from_row
    rise: Floats | float = 0.0
    if laid.lift is not None:
        rise = page_heights(laid, scanner, dpi, x_px, y)
    u, v = np.meshgrid(2 * x_px / width - 1, 2 * y / height - 1)
    across, travel = scanner.optics.sigma_um(u, v, rise)
    return (
        np.broadcast_to(across * dpi[0] / (1000 * MM_PER_INCH), u.shape),
        np.broadcast_to(travel * dpi[1] / (1000 * MM_PER_INCH), u.shape),
    )


# --------------------------------------------------------------------------- paper and glass


def _texture(
    laid: Laid, scanner: Scanner, dpi: tuple[float, float]
) -> Callable[[int, int], Light] | None:
    """A function that gives the factor of the paper's texture for rows, (rows, width)."""
    import cv2

    paper = laid.paper
    if paper.texture == 0 and not paper.features:
        return None
    field, corner = _paper_field(paper, scanner.glass_mm)
    width, _ = scanner.size_px(dpi)
    to_paper = chained(inverse(scanner.glass_to_px(dpi)), laid.to_paper)
    to_field = np.column_stack([to_paper[:, :2], to_paper[:, 2] - corner]) / _TEXTURE_PITCH_MM

    def grain(row: int, rows: int) -> Light:
        here = to_field.copy()
        here[:, 2] += to_field[:, 1] * row
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        warped = cv2.warpAffine(
            field, here, (width, rows), flags=flags, borderMode=cv2.BORDER_REFLECT_101
        )
        return np.asarray(warped, np.float32)

    return grain


def _paper_field(paper: Paper, glass_mm: tuple[float, float]) -> tuple[Light, Floats]:
    """Texture around 1 on a grid in paper mm that covers the plate, and the grid's corner (mm).

    The same paper has the same texture at the same paper mm wherever it lies: only the size of
    the grid comes from the plate. What reaches beyond it is mirrored.
    """
    import cv2

    margin = 12.0
    side = math.ceil((max(glass_mm) + 2 * margin) / _TEXTURE_PITCH_MM)
    shape = (side, side)
    rng = np.random.default_rng([paper.seed, 7])
    total = np.ones(shape, np.float32)
    for sigma_mm in (paper.grain_mm, paper.cloud_mm):
        sigma = sigma_mm / _TEXTURE_PITCH_MM
        # White noise smoothed by a Gaussian keeps 1 / (2 √π σ) of its standard deviation.
        strength = paper.texture / math.sqrt(2) * 2 * math.sqrt(math.pi) * sigma
        step = max(1, int(sigma / 3))  # cloudy parts need no fine grid
        small = tuple(math.ceil(n / step) for n in shape)
        noise = rng.standard_normal(small, dtype=np.float32) * np.float32(strength / step)
        smooth = cv2.GaussianBlur(noise, (0, 0), sigma / step)
        if step > 1:
            smooth = cv2.resize(smooth, shape[::-1], interpolation=cv2.INTER_LINEAR)
        total += smooth
    place = (np.arange(side, dtype=np.float32) * np.float32(_TEXTURE_PITCH_MM)) - margin
    for index, feature in enumerate(paper.features):
        total *= feature(place[None], place[:, None], np.random.default_rng([paper.seed, 8, index]))
    return total, np.array([-margin, -margin])


def _marks(scanner: Scanner, dpi: tuple[float, float]) -> Callable[[int, Light], None]:
    """A function that darkens or brightens a strip where dust and scratches lie, in place."""
    patches: list[tuple[int, int, Light]] = []
    width, height = scanner.size_px(dpi)
    for mark in scanner.marks:
        px = mark.outline_mm() * np.asarray(dpi) / MM_PER_INCH
        across, travel = (
            np.array([[blur * d / (1000 * MM_PER_INCH)]])
            for blur, d in zip(
                (scanner.optics.blur_across_um, scanner.optics.blur_travel_um), dpi, strict=True
            )
        )
        pad = padding_px(max(across.item(), travel.item()), 1.0, 0.0)
        low, high = np.floor(px.min(axis=0)) - pad, np.ceil(px.max(axis=0)) + pad
        x0, y0 = (max(int(v), 0) for v in low)
        x1, y1 = min(int(high[0]), width), min(int(high[1]), height)
        if x1 <= x0 or y1 <= y0:
            continue
        fine = paint(
            layers([Shape((px * CELLS,), mark.contrast)]),
            0.0,
            left=(x0 - pad) * CELLS,
            top=(y0 - pad) * CELLS,
            rows=(y1 - y0 + 2 * pad) * CELLS,
            cols=(x1 - x0 + 2 * pad) * CELLS,
        )
        seen = resolve(
            fine,
            pad=pad,
            blocks=([0, y1 - y0], [0, x1 - x0]),
            sigma_px=(across, travel),
            aperture_px=(scanner.optics.aperture_across, scanner.optics.aperture_travel),
            shifts_px=((0.0, 0.0),),
        )
        patches.append((y0, x0, 1 + seen))

    def darken(row: int, light: Light) -> None:
        for top, left, patch in patches:
            a, b = max(top, row), min(top + len(patch), row + len(light))
            if a < b:
                light[a - row : b - row, left : left + patch.shape[1]] *= patch[a - top : b - top]

    return darken
