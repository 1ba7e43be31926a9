"""Evenness of the light over the bed, from blank paper.

*Light map*: the image is divided into cells of about 5 mm; the level of a cell is the median
luminance (linear, luma) of its small blocks, so that dust, streaks and paper grain do not count.
Edge shadow (`edges`) is left out; then the map is smoothed by local quadratics over 7 cells.
Repeats of one size are averaged, each over its own mean. Where the strip that is left out is deeper
than shadows are, light may fall off there as well: the figures then lie between those without the
strip and those of all cells as they are, the shadow among them.

*Non-uniformity*: ``100 (max - min) / mean`` of that map. The limits of FADGI 2010 and 2016 are on
a difference of light across the field, without saying how finely it is sampled: the cells are our
choice. Metamorfoze 2.0 puts its limit on the difference of lightness (``shading.range_L``), FADGI
2023 on the standard deviation of lightness over its mean (``shading.deviation_L``): same map.

*Falloff*: for each side and distance, ``100 × level there / level half-way across`` in the same
band across the bed; median over the bands of the middle half of the side. Edge shadow included.

Fails: no blank scan; not lit; image too small. Clipped paper looks even because it is cut off:
non-uniformity is then a lower bound and falloff not measurable.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from scanqa.catalogue import FALLOFF_DISTANCES_MM, SIDES, Side
from scanqa.measures.shading.local_fit import quadratic_smoother
from scanqa.model import (
    MM_PER_INCH,
    Evidence,
    Floats,
    Measurement,
    Placement,
    Point,
    Reason,
    Results,
    Told,
    not_measurable,
    of_role,
)
from scanqa.numeric.border import far_zone_mm, shadow
from scanqa.numeric.lightness import CLIPPED, lstar, luma
from scanqa.numeric.scatter import median_error, repeat_error, robust_sd
from scanqa.reading.sides import depths_mm, from_side, inwards_dpi

CELL_MM = 5.0
SMOOTH_CELLS = 7
MIN_CELLS = 3  # along each axis, or there is no map
# A shadow at the glass edge is hardly deeper (common practice, no source): light that falls off by
# 4 % within some centimetres is taken for one 6 to 8 mm deep.
DEEP_MM = 5.0
SHADOW_DELTA_L = 1.0  # stricter than the edge measure: the tail of a shadow is not shading either
CENTRE_MM = 10.0  # width of the strip half-way across that falloff compares with
SPECK_MM = 1.0  # running median along the profile
TOO_DARK = 0.03  # light; about L* 20
CLIPPED_SHARE = 0.01  # of the cells, above which the figures are bounds
UNEVEN_NAMES = ("shading.nonuniformity", "shading.range_L", "shading.deviation_L")
NO_BLANK = Reason("no-scan", "no blank scan: scan plain white paper that covers the whole bed")
BEYOND_CENTRE = Reason("too-small", "the image is too small: that is beyond its centre")
DARK = Reason("too-dark", "the scan is too dark for white paper")


def measure(scans: Sequence[Placement], told: Told) -> Results:
    """Non-uniformity over the bed, its map, and the falloff towards the four sides.

    Parameters
    ----------
    scans : sequence of Placement
        Blank ones count: plain white paper over the whole bed. Those of one size count together
        (the paper should be moved between them, so that its own unevenness shows in the
        uncertainty).
    told : Told
        Not needed.

    Returns
    -------
    Results
        For each size of scan.
    """
    blanks = of_role(scans, "blank")
    if not blanks:
        return Results(tuple(not_measurable(name, NO_BLANK) for name in _all_names()))
    results = Results()
    for _, group in groupby(sorted(blanks, key=_size), key=_size):
        alike = list(group)
        name = alike[0].scan.name if len(alike) == 1 else ""
        results += _evenness(alike, name)
        results += Results(tuple(m for side in SIDES for m in _falloff(alike, side, name)))
    return results


def _all_names() -> list[str]:
    falloff = [f"shading.falloff_{side}_{d}mm" for side in SIDES for d in FALLOFF_DISTANCES_MM]
    return [*UNEVEN_NAMES, *falloff]


def _size(blank: Placement) -> tuple[int, int, float, float, int]:
    return blank.scan.height_px, blank.scan.width_px, *blank.dpi, blank.overview.step_px


# ------------------------------------------------------------------------------- the map


@dataclass(frozen=True, slots=True, eq=False)
class LightMap:
    """Light over the bed, smoothed, and how well it is known.

    Attributes
    ----------
    light : (rows, columns)
        Relative light of each cell.
    repeats : (scans, rows, columns)
        The same from each scan, each over its own mean.
    error : (rows, columns)
        Standard error of `light` from the scatter of cells about the smooth map.
    """

    light: Floats
    repeats: Floats
    error: Floats


def cell_medians(blocks: Floats, shape: tuple[int, int]) -> Floats:
    """Median of the blocks in each of rows × columns cells, evenly spread over the array.

    All cells are of one size; where it does not divide the array, single rows and columns of
    blocks between cells are not used.
    """
    rows, cols = (_cell_indices(n, count) for n, count in zip(blocks.shape, shape, strict=True))
    cells = blocks[rows[:, None, :, None], cols[None, :, None, :]]
    return np.asarray(np.median(cells.reshape(*shape, -1), axis=2), np.float64)


def _cell_indices(length: int, count: int) -> NDArray[np.int64]:
    """Indices of the members of each cell, (count, size)."""
    size = length // count
    starts = np.linspace(0, length - size, count).round().astype(np.int64)
    return starts[:, None] + np.arange(size)


def light_map(cells: Floats) -> LightMap:
    """Smooth map from the cell medians of repeats, (scans, rows, columns)."""
    down = quadratic_smoother(cells.shape[1], SMOOTH_CELLS)
    across = quadratic_smoother(cells.shape[2], SMOOTH_CELLS)
    level = float(cells.mean())
    own = cells / cells.mean(axis=(1, 2), keepdims=True)
    repeats = down @ own @ across.T
    mean = own.mean(axis=0)
    smooth = repeats.mean(axis=0)
    kept = 1 - np.outer(np.diag(down), np.diag(across))  # variance that the fit leaves
    free = kept > 1e-6
    noise = float(robust_sd((mean - smooth)[free] / np.sqrt(kept[free]))) if free.any() else 0.0
    gain = np.sqrt(np.outer((down**2).sum(axis=1), (across**2).sum(axis=1)))
    return LightMap(level * smooth, repeats, level * noise * gain)


def _as_it_is(planes: Sequence[Floats], block_mm: Sequence[float]) -> LightMap:
    """All cells of the image, edge shadow among them, not smoothed."""
    rows, cols = planes[0].shape
    shape = (round(rows * block_mm[1] / CELL_MM), round(cols * block_mm[0] / CELL_MM))
    cells = np.array([cell_medians(plane, shape) for plane in planes])
    own = cells / cells.mean(axis=(1, 2), keepdims=True)
    return LightMap(float(cells.mean()) * own.mean(axis=0), own, np.zeros(shape))


def _evenness(blanks: list[Placement], name: str) -> Results:
    planes = [luma(blank.light.light(blank.overview.preview)) for blank in blanks]
    block_mm = tuple(blanks[0].overview.step_px * MM_PER_INCH / dpi for dpi in blanks[0].dpi)
    field = _lit_field(planes, (block_mm[0], block_mm[1]))
    rows, cols = (slice(*field[1]), slice(*field[0]))
    size_mm = tuple((end - start) * mm for (start, end), mm in zip(field, block_mm, strict=True))
    shape = (round(size_mm[1] / CELL_MM), round(size_mm[0] / CELL_MM))
    if min(shape) < MIN_CELLS:
        words = f"only {size_mm[0]:.0f} × {size_mm[1]:.0f} mm of lit bed: too small for a light map"
        why = Reason("too-small", words)
        return Results(tuple(not_measurable(each, why, name) for each in UNEVEN_NAMES))
    found = light_map(np.array([cell_medians(plane[rows, cols], shape) for plane in planes]))
    if found.light.mean() < TOO_DARK:
        return Results(tuple(not_measurable(each, DARK, name) for each in UNEVEN_NAMES))
    extent = (
        field[0][0] * block_mm[0],
        field[1][0] * block_mm[1],
        field[0][1] * block_mm[0],
        field[1][1] * block_mm[1],
    )
    evidence = Evidence(
        "shading.nonuniformity",
        "map",
        "Light over the bed, against its mean",
        scan=name,
        unit="%",
        image=100 * found.light / found.light.mean(),
        extent_mm=extent,
        note=f"{shape[1]} × {shape[0]} cells; edge shadow left out.",
    )
    left_out = _left_out_mm(field, planes[0].shape, (block_mm[0], block_mm[1]))
    uneven = tuple(_unevenness(found, name))
    if left_out > DEEP_MM:
        most = {m.name: m.value or 0.0 for m in _unevenness(_as_it_is(planes, block_mm), name)}
        words = (
            f"{left_out:.0f} mm at a side were taken for its shadow: more, if light falls off there"
        )
        uneven = tuple(
            replace(m, status="between", low=m.value, high=max(most[m.name], m.value or 0.0),
                    reason=words, reason_kind="unclear")
            if m.status == "ok" else m
            for m in uneven
        )  # fmt: skip
    return Results(uneven, evidence=(evidence,))


def _left_out_mm(
    field: tuple[tuple[int, int], tuple[int, int]], shape: tuple[int, ...], block_mm: Point
) -> float:
    """The widest strip at a side that is taken for its shadow."""
    (left, right), (top, bottom) = field
    width = max(left, shape[1] - right) * block_mm[0]
    return max(width, max(top, shape[0] - bottom) * block_mm[1])


def _lit_field(
    planes: list[Floats], block_mm: tuple[float, float]
) -> tuple[tuple[int, int], tuple[int, int]]:
    """Columns and rows of blocks (start, end) that no edge shadow reaches in any scan."""
    height, width = planes[0].shape
    trim: dict[Side, int] = dict.fromkeys(SIDES, 0)
    for plane in planes:
        for side in SIDES:
            pitch = block_mm[0] if side in ("left", "right") else block_mm[1]
            inwards = from_side(plane, side)
            at_mm = (np.arange(inwards.shape[1] // 2) + 0.5) * pitch
            zone = far_zone_mm(inwards.shape[1] * pitch)
            if zone is None or np.diff(np.searchsorted(at_mm, zone)) < 2:
                continue
            # Bands of ten blocks: enough along the side, and quiet enough for each to tell.
            groups = inwards[: len(inwards) // 10 * 10, : len(at_mm)]
            bands = lstar(groups.reshape(-1, 10, len(at_mm)).mean(axis=1))
            if not len(bands):
                continue
            depths = np.nan_to_num(shadow(at_mm, bands, zone, SHADOW_DELTA_L).depths, nan=zone[0])
            deep = float(np.percentile(depths, 90))
            trim[side] = max(trim[side], int(np.ceil(deep / pitch)))
    return (
        (trim["left"], max(width - trim["right"], trim["left"])),
        (trim["top"], max(height - trim["bottom"], trim["top"])),
    )


def _unevenness(found: LightMap, name: str) -> Iterator[Measurement]:
    """The three figures of one map; repeats are compared at the mean map's own extremes."""
    light = found.light
    high, low = int(np.argmax(light)), int(np.argmin(light))
    mean = float(light.mean())
    within = float(np.hypot(found.error.flat[high], found.error.flat[low])) / mean
    repeats = found.repeats.reshape(len(found.repeats), -1)
    error = max(within, float(repeat_error(repeats[:, high] - repeats[:, low])), _by_paper(repeats))
    lightness = lstar(light)
    spread_l = float(lightness.max() - lightness.min())
    # dL*/dY × Y = 116/3 × Y^(1/3) above the toe, so a relative error of light is this in L*:
    error_l = error * (float(lightness.mean()) + 16) / 3
    each_l = lstar(found.repeats * mean)
    deviations = each_l.std(axis=(1, 2)) / each_l.mean(axis=(1, 2))
    deviation = float(lightness.std() / lightness.mean())
    noise_l = float(np.median(found.error)) / mean * (float(lightness.mean()) + 16) / 3
    # A map of noise alone would show its own noise as deviation: that is how far it can be off.
    error_d = max(noise_l / float(lightness.mean()), float(repeat_error(deviations)))
    clipped = float(np.mean(light >= CLIPPED))
    why = f"{100 * clipped:.0f} % of the bed is clipped: lower the brightness and scan again"
    for measure_name, value, uncertainty in (
        ("shading.nonuniformity", 100 * (light.max() - light.min()) / mean, 100 * error),
        ("shading.range_L", spread_l, error_l),
        ("shading.deviation_L", 100 * deviation, 100 * error_d),
    ):
        yield Measurement(
            measure_name,
            float(value),
            float(uncertainty),
            "at-least" if clipped > CLIPPED_SHARE else "ok",
            why if clipped > CLIPPED_SHARE else "",
            name,
            reason_kind="clipped" if clipped > CLIPPED_SHARE else None,
        )


def _by_paper(repeats: Floats) -> float:
    """Half the range of a map that has the papers of all scans but no scanner.

    Half of the scans less the other half has in it what the mean has of moved paper. Its largest
    and least places are chosen like those of the map: a range of noise alone is not nought.
    """
    half = len(repeats) // 2
    if not half:
        return 0.0
    apart = (repeats[:half].mean(axis=0) - repeats[half : 2 * half].mean(axis=0)) / 2
    return float(np.ptp(apart)) / 2


# ------------------------------------------------------------------------------- falloff


def _falloff(blanks: list[Placement], side: Side, name: str) -> Iterator[Measurement]:
    ratios = [_side_ratios(blank, side) for blank in blanks]
    reach_mm = blanks[0].size_mm[0 if side in ("left", "right") else 1] / 2
    refused = next((why for why in ratios if isinstance(why, Reason)), None)
    bands = [ratio for ratio in ratios if not isinstance(ratio, Reason)]
    between = 0.0 if refused else _between_scans(bands)
    for i, d in enumerate(FALLOFF_DISTANCES_MM):
        measure_name = f"shading.falloff_{side}_{d}mm"
        if refused or d >= reach_mm:
            yield not_measurable(measure_name, refused or BEYOND_CENTRE, name)
            continue
        stack = np.concatenate([ratio[:, i] for ratio in bands])
        error = max(float(median_error(stack)), between)
        yield Measurement(measure_name, 100 * float(np.median(stack)), 100 * error, scan=name)


def _between_scans(bands: Sequence[Floats]) -> float:
    """Standard error by which scans of moved paper differ, over all distances: its clouds.

    One pair at one place knows its scatter hardly; four places know it better.
    """
    alone = np.array([np.median(ratio, axis=0) for ratio in bands])
    alone = alone[:, np.isfinite(alone).all(axis=0)]
    return float(np.sqrt(np.mean(repeat_error(alone) ** 2))) if alone.size else 0.0


def _side_ratios(blank: Placement, side: Side) -> Floats | Reason:
    """Level at each distance over that half-way across, (bands, distances); or why not."""
    dpi = inwards_dpi(blank.dpi, side)
    means = blank.overview.row_means if side in ("top", "bottom") else blank.overview.column_means
    inwards = from_side(means, side)
    count, middle = len(inwards), inwards.shape[1] // 2
    inwards = inwards[count // 4 : count - count // 4]
    half = max(1, round(CENTRE_MM / 2 * dpi / MM_PER_INCH))
    across = luma(blank.light.light(inwards[:, max(middle - half, 0) : middle + half]))
    centre = np.median(across, axis=1)
    level = float(np.median(centre))
    if level < TOO_DARK:
        return DARK
    if level >= CLIPPED:
        words = "white paper is clipped at the centre: lower the brightness and scan again"
        return Reason("clipped", words)
    outer = round((FALLOFF_DISTANCES_MM[-1] + 2 * SPECK_MM) * dpi / MM_PER_INCH)
    profiles = luma(blank.light.light(inwards[:, : max(outer, 1)]))
    return np.asarray(_at_distances(profiles, dpi) / np.maximum(centre, TOO_DARK / 2)[:, None])


def _at_distances(profiles: Floats, dpi: float) -> Floats:
    """Level at each distance from the side, (bands, distances): running median, interpolated."""
    width = 2 * round(SPECK_MM / 2 * dpi / MM_PER_INCH) + 1
    smooth = ndimage.median_filter(profiles, size=(1, width), mode="nearest")
    at_mm = depths_mm(profiles.shape[1], dpi)
    wanted = np.asarray(FALLOFF_DISTANCES_MM, np.float64)
    return np.array([np.interp(wanted, at_mm, each) for each in smooth])
