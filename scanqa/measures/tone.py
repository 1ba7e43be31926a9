"""Levels and tones: what is cut off, how light white is, how dark black, how grey is reproduced.

*Clipped*: share of all samples on the plateau at the top of the scale (`scanqa.scans.plateau`),
counted exactly, for each scan.
*White*: L* of luma on blank paper, median over the scan. *Black*: the same on a scan of black
card; without one, the darkest printed patch of a located sheet (printed black is not the
scanner's black: a lower figure may be reachable, and the reason says so).
*Range*: log10 of white light over black light, in density units. ISO 21550 asks for the density
where the incremental signal-to-noise ratio is 1: black card is not that dark, so that this is a
lower bound.
*OECF* (ISO 14524: level against the log of what is scanned): from the tone patches. Printed
patches are halftones whose true reflectance nobody knows at home: the figure shows the area of
ink as the scan sees it (Murray & Davies 1936) against what was printed, which is indicative, for
the printer's dot gain is in it. With measured values of the patches (CGATS text) the curve is
exact, and ``tone.response`` is the largest error of L* over the patches, brightness included.

L* is CIE 15 (ISO 11664-4), relative to the highest code.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scanqa.model import (
    Curve,
    Evidence,
    Floats,
    Measurement,
    Patch,
    Placement,
    Reason,
    ReasonKind,
    Results,
    Told,
    Window,
    not_measurable,
    of_role,
)
from scanqa.numeric.even_cells import even_cells
from scanqa.numeric.lightness import light_of, lstar, luma
from scanqa.numeric.medians import medians
from scanqa.numeric.scatter import median_error, repeat_error
from scanqa.numeric.spread import sigma_about_zero
from scanqa.reading.jpeg_grid import jpeg_grid
from scanqa.reading.patches import PatchLight, patch_light

PATCH_RIM_MM = 1.0  # of a printed patch left out: blur, and where the print may have moved
HALF_CODES = [[-0.5], [0.5]]
TILE_BLOCKS = 16  # to a side of a tile, whose mean lies between codes
WILD = 4.0  # robust deviations, a code at least, beyond which dust is meant
NOISE_PX = 48  # side of the windows in which noise is looked at …
PLACES = np.array([1, 3, 5]) / 6  # … and where, along both sides of a scan
MIN_TONES = 4  # fewer make no curve

Reference = Mapping[str, Mapping[str, float]]  # patch name to field to value, as in CGATS


def measure(scans: Sequence[Placement], told: Told) -> Results:
    """Clipping of every scan, lightness of white and black, range, and tones of printed patches.

    Parameters
    ----------
    scans : sequence of Placement
        Each is looked at for clipping, and for printed patches; blank ones show white, dark ones
        (black card) black.
    told : Told
        `reference`: measured values of the patches by their name or number, ``D_VIS``, ``XYZ_Y``
        or ``LAB_L``.
    """
    darks = of_role(scans, "dark")
    read = [reading for placement in scans for reading in _read_patches(placement)]
    white = _white(of_role(scans, "blank"))
    black = _black(darks, read)
    response, evidence = _tones(read, told.reference)
    levels = (white, black, _range(white, black, bool(darks)), response)
    return Results((*_clipped(scans), *levels), evidence=evidence)


# -------------------------------------------------------------------------------- levels


def _clipped(placements: Sequence[Placement]) -> Iterator[Measurement]:
    """One for each scan, however many pieces lie on it. A count has no uncertainty."""
    for placement in {id(placement.scan): placement for placement in placements}.values():
        share = 100 * placement.overview.top_share
        yield Measurement("tone.clipped", share, scan=placement.scan.name)


def _white(blanks: Sequence[Placement]) -> Measurement:
    if not blanks:
        why = "no blank scan: scan plain white paper that covers the whole bed"
        return not_measurable("tone.white", Reason("no-scan", why))
    return _level("tone.white", blanks)


def _black(darks: Sequence[Placement], read: Sequence[_Reading]) -> Measurement:
    if darks:
        return _level("tone.black", darks)
    solid = [reading for reading in read if reading.patch.cover == 1.0]
    if not solid:
        why = "nothing black was scanned: scan black card with the lid closed"
        return not_measurable("tone.black", Reason("no-scan", why))
    darkest = min(solid, key=lambda reading: reading.found.light)
    level, error = darkest.lightness
    why = "from printed black; scan black card with the lid closed to see the scanner's own"
    return Measurement(
        "tone.black", level, error, reason=why, scan=darkest.scan, reason_kind="print"
    )


def _level(name: str, scans: Sequence[Placement]) -> Measurement:
    """Median lightness over scans of one plain thing.

    Of tiles, whose means lie between codes: a median of blocks of few samples is one of few values.
    """
    tiles = [_tiles(scan) for scan in scans]
    levels = np.array([np.median(each) for each in tiles])
    within = max(float(median_error(each)) for each in tiles)
    parts = within / np.sqrt(len(scans)), float(repeat_error(levels)), _of_rounding(scans)
    error = float(np.linalg.norm(parts))
    scan = scans[0].scan.name if len(scans) == 1 else ""
    return Measurement(name, float(levels.mean()), error, scan=scan)


def _tiles(scan: Placement) -> Floats:
    """L* of each tile of a scan by its mean code, dust left out, and by what noise adds to that."""
    preview = scan.overview.preview
    down, across = (
        even_cells(length, max(1, length // TILE_BLOCKS), min(TILE_BLOCKS, length))
        for length in preview.shape[:2]
    )
    tiles = preview[down[:, None, :, None], across[None, :, None, :]]
    # Channels first: a median along what lies together takes a third of the time.
    codes = np.ascontiguousarray(np.moveaxis(tiles, -1, 0)).reshape(
        preview.shape[2], len(down) * len(across), -1
    )
    used = _no_dust(codes)
    means = (codes * used).sum(axis=-1, dtype=np.float64) / used.sum(axis=-1)
    return lstar(luma(scan.light.light(means.T))) + _by_noise(scan)


def _no_dust(codes: NDArray[Any]) -> NDArray[np.bool_]:
    """Which of samples (channels, …, n) are not far from the median of their n in any channel."""
    off = codes - medians(codes)[..., None]
    most = WILD * np.maximum(sigma_about_zero(off)[..., None], 1.0)
    return np.asarray((np.abs(off) <= most).all(axis=0))


def _by_noise(scan: Placement) -> float:
    """L* by which mean light lies over the light of the mean code, the curve being bent.

    It grows with the square of the noise over the light: much in black, next to nothing in white.
    """
    rows, cols = (
        (PLACES * max(length - NOISE_PX, 0)).astype(int)
        for length in (scan.scan.height_px, scan.scan.width_px)
    )
    height, width = (min(NOISE_PX, n) for n in (scan.scan.height_px, scan.scan.width_px))
    added = []
    for row, col in itertools.product(rows, cols):
        window = scan.scan.window(Window(int(row), int(col), height, width))
        pixels = window.reshape(-1, scan.scan.channels)
        pixels = pixels[_no_dust(pixels.T)]
        light = luma(scan.light.light(pixels)).mean()
        mean_code = pixels.mean(axis=0, dtype=np.float64)
        added.append(float(lstar(light) - lstar(luma(scan.light.light(mean_code)))))
    return float(np.median(added))


def _of_rounding(scans: Sequence[Placement]) -> float:
    """L* of the step between two codes, over √12: noise may be too small to even it out.

    Steps of JPEG are wider where they round the mean of a block.
    """
    code = medians(
        np.concatenate([s.overview.preview.reshape(-1, s.scan.channels) for s in scans]), 0
    )
    steps = []
    for scan in scans:
        grid = jpeg_grid(scan)
        half = 0.5 if grid is None else math.hypot(grid.level, 1.0) / 2  # rounded twice
        low, high = (luma(scan.light.light(np.maximum(code + off, 0.0))) for off in (-half, half))
        steps.append(float(lstar(high) - lstar(low)))
    return max(steps) / math.sqrt(12)


def _range(white: Measurement, black: Measurement, card: bool) -> Measurement:
    """Density between the two levels."""
    name = "tone.range"
    if white.value is None or black.value is None:
        return not_measurable(name, (white if white.value is None else black).why)
    bright, dark = float(light_of(white.value)), float(light_of(black.value))
    if dark <= 0:
        why = "black is cut off at code 0: raise the black level and scan again"
        return not_measurable(name, Reason("clipped", why))
    errors = [
        math.log10(float(light_of(level + (error or 0.0))) / float(light_of(level)))
        for level, error in ((white.value, white.uncertainty), (black.value, black.uncertainty))
    ]
    what = "the card" if card else "printed black"
    why = f"{what} itself reflects light: the scanner may tell darker tones apart"
    value = math.log10(bright / dark)
    kind: ReasonKind = "range" if card else "print"
    return Measurement(name, value, math.hypot(*errors), "at-least", why, reason_kind=kind)


# --------------------------------------------------------------------------------- tones


@dataclass(frozen=True, slots=True)
class _Reading:
    """A patch as it was scanned; `step` is L* from half a code under its mean to half one over."""

    patch: Patch
    found: PatchLight
    scan: str
    step: float

    @property
    def lightness(self) -> tuple[float, float]:
        """L* and its standard error."""
        low = max(self.found.light - self.found.error, 0.0)
        high = self.found.light + self.found.error
        return float(lstar(self.found.light)), float(lstar(high) - lstar(low)) / 2


def _read_patches(placement: Placement) -> Iterator[_Reading]:
    if placement.piece is None or placement.to_px is None:
        return
    for patch in placement.piece.patches:
        found = patch_light(placement, patch.box_mm, rim_mm=PATCH_RIM_MM)
        if found is not None:
            codes = np.full((2, placement.scan.channels), found.code)
            low, high = luma(placement.light.light(np.maximum(np.add(codes, HALF_CODES), 0.0)))
            step = float(lstar(high) - lstar(low))
            yield _Reading(patch, found, placement.scan.name, step)


def _tones(
    read: Sequence[_Reading], reference: Reference | None
) -> tuple[Measurement, tuple[Evidence, ...]]:
    """Response error and figure: exact with measured values, else the figure is indicative."""
    name = "tone.response"
    if not read:
        why = Reason("no-scan", "no tone patches: scan the bed sheet")
        return not_measurable(name, why), ()
    if reference is None:
        why = Reason(
            "not-told",
            "printed greys are not known: measure the patches and give them as a CGATS file",
        )
        return not_measurable(name, why), _ink_area(read)
    known = [(r, y) for r in read if (y := reference_light(r.patch, reference)) is not None]
    if len(known) < MIN_TONES:
        words = f"the reference holds values of {len(known)} patches of the sheet: too few"
        why = Reason("too-few", words)
        return not_measurable(name, why), _ink_area(read)
    return _response(known), (_oecf(known),)


def reference_light(patch: Patch, reference: Reference) -> float | None:
    """Reflectance of a patch by its measured values, or None if it is not among them.

    The patch goes by its whole name (``patch-3-20``) or its number (``3``). Visual density is
    taken before luminance, and that before lightness.
    """
    parts = patch.name.split("-")
    number = parts[1] if len(parts) > 1 else patch.name
    values = reference.get(patch.name) or reference.get(number)
    if not values:
        return None
    if "D_VIS" in values:
        return float(10 ** -values["D_VIS"])
    if "XYZ_Y" in values:
        return values["XYZ_Y"] / 100
    if "LAB_L" in values:
        return float(light_of(values["LAB_L"]))
    return None


def _response(known: Sequence[tuple[_Reading, float]]) -> Measurement:
    worst, reading = max(
        ((reading.lightness[0] - float(lstar(light)), reading) for reading, light in known),
        key=lambda pair: abs(pair[0]),
    )
    way = "lighter" if worst > 0 else "darker"
    return Measurement(
        "tone.response",
        abs(worst),
        math.hypot(reading.lightness[1], reading.step / math.sqrt(12)),
        reason=f"worst of {len(known)}: {reading.patch.name} came out {way}",
        scan=reading.scan,
    )


def _oecf(known: Sequence[tuple[_Reading, float]]) -> Evidence:
    ordered = sorted(known, key=lambda pair: -pair[1])
    density = np.array([-math.log10(max(light, 1e-6)) for _, light in ordered])
    codes = np.array([reading.found.code for reading, _ in ordered])
    return Evidence(
        "tone",
        "curves",
        "Code against density (OECF)",
        scan=ordered[0][0].scan,
        x_label="Density of the patch, D",
        y_label="Mean code",
        unit="code",
        curves=(Curve("patches", density, codes),),
        note="From measured values of the patches.",
    )


def ink_area(light: float, paper: float, solid: float) -> float:
    """Share of a patch that is covered with ink: Murray & Davies 1936, in light."""
    return (paper - light) / (paper - solid)


def _ink_area(read: Sequence[_Reading]) -> tuple[Evidence, ...]:
    covers = sorted({reading.patch.cover for reading in read})
    light = {
        cover: float(np.mean([r.found.light for r in read if r.patch.cover == cover]))
        for cover in covers
    }
    if len(covers) < MIN_TONES or covers[0] > 0 or covers[-1] < 1 or light[0.0] <= light[1.0]:
        return ()
    seen = [100 * ink_area(light[cover], light[0.0], light[1.0]) for cover in covers]
    printed = 100 * np.array(covers)
    return (
        Evidence(
            "tone",
            "curves",
            "Area of ink as scanned against what was printed",
            scan=read[0].scan,
            x_label="Printed, %",
            y_label="As scanned (Murray–Davies), %",
            unit="%",
            curves=(Curve("patches", printed, np.array(seen)), Curve("equal", printed, printed)),
            note="Indicative: the spread of the printer's ink is in it, and the scan's tone curve.",
        ),
    )
