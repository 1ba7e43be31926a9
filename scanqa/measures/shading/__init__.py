"""Evenness of the light over the bed, from blank paper.

*Light map*: the image is divided into cells of about 5 mm; the level of a cell is the middle
luminance (linear, luma) of its small blocks, so that dust and streaks do not count.
Edge shadow (`edges`) is left out; then the map is smoothed by local quadratics over 7 cells, and
read on to the borders of the bed where no shadow is.
Repeats of one size are averaged, each over its own mean. Where the strip that is left out is deeper
than shadows are, light may fall off there as well: the figures then lie between those without the
strip and those of all cells as they are, the shadow among them.

*Non-uniformity*: ``100 (max - min) / mean`` of that map. The limits of FADGI 2010 and 2016 are on
a difference of light across the field, without saying how finely it is sampled: the cells are our
choice. Metamorfoze 2.0 puts its limit on the difference of lightness (``shading.range_L``), FADGI
2023 on the standard deviation of lightness over its mean (``shading.deviation_L``): same map.
Grain enlarges a range: what it adds is taken off (`noise_of_map`). A strip at a side that is hardly
dark enough for a shadow (`lit_field`) makes them a range of what is possible.

*Falloff*: for each side and distance, ``100 × level there / level half-way across`` in the same
band across the bed; median over the bands of the middle half of the side. Edge shadow included.

Fails: no blank scan; not lit; image too small. Clipped paper looks even because it is cut off:
non-uniformity is then a lower bound and falloff not measurable.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

import numpy as np
from scipy import ndimage

from scanqa.catalogue import FALLOFF_DISTANCES_MM, SIDES, Side
from scanqa.measures.shading.at_border import among_places, beyond_cells, to_borders
from scanqa.measures.shading.lit_field import OUTERMOST_MM, Range, lit_field
from scanqa.measures.shading.local_fit import quadratic_smoother
from scanqa.measures.shading.noise_of_map import Added, ByNoise, by_noise
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
from scanqa.numeric.even_cells import even_cells
from scanqa.numeric.lightness import CLIPPED, lstar, luma
from scanqa.numeric.medians import medians
from scanqa.numeric.scatter import median_error, middle_mean, repeat_error
from scanqa.reading.bed_light import bed_luma
from scanqa.reading.sides import depths_mm, from_side, inwards_dpi

CELL_MM = 5.0
SMOOTH_CELLS = 7
MIN_CELLS = 3  # along each axis, or there is no map
# A shadow at the glass edge is hardly deeper (common practice, no source): light that falls off by
# 4 % within some centimetres is taken for one 6 to 8 mm deep.
DEEP_MM = 5.0
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
    light : (places down, places across)
        Relative light at the middle of each cell, and at the borders of the bed that are lit.
    repeats : (scans, places down, places across)
        The same from each scan, each over its own mean.
    cells : (slice, slice)
        Where the cells are among the places.
    noise : ByNoise
        What the scatter of cells about the smooth map makes of it, as a share of the mean.
    beyond : float
        What the range lacks at the borders, likewise.
    """

    light: Floats
    repeats: Floats
    cells: tuple[slice, slice]
    noise: ByNoise
    beyond: float = 0.0

    def of_cells(self) -> Floats:
        """Light of the cells alone, (rows, columns)."""
        return self.light[self.cells]


def cell_levels(blocks: Floats, shape: tuple[int, int], step: float) -> Floats:
    """Middle level of the blocks in each of rows × columns cells, evenly spread over the array.

    All cells are of one size; where it does not divide the array, single rows and columns of
    blocks between cells are not used. `step` is the light of one code there.
    """
    rows, cols = (
        even_cells(n, count, n // count) for n, count in zip(blocks.shape, shape, strict=True)
    )
    cells = blocks[rows[:, None, :, None], cols[None, :, None, :]]
    return middle_mean(cells.reshape(*shape, -1), axis=2, least=step)


def light_map(cells: Floats, lit: Collection[Side]) -> LightMap:
    """Smooth map from the cells of repeats, (scans, rows, columns), read on to the lit borders."""
    down, across = (quadratic_smoother(count, SMOOTH_CELLS) for count in cells.shape[1:])

    def read(values: Floats) -> Floats:
        return to_borders(down @ values @ across.T, values, lit, SMOOTH_CELLS)

    level = float(cells.mean())
    own = cells / cells.mean(axis=(1, 2), keepdims=True)
    repeats = read(own)
    smooth, inner = repeats.mean(axis=0), among_places(lit)
    noise = by_noise(smooth, own.mean(axis=0) - smooth[inner], read, inner)
    return LightMap(level * smooth, repeats, inner, noise)


def _as_it_is(planes: Sequence[Floats], block_mm: Point, step: float) -> LightMap:
    """All cells of the image, edge shadow among them, not smoothed."""
    rows, cols = planes[0].shape
    shape = (round(rows * block_mm[1] / CELL_MM), round(cols * block_mm[0] / CELL_MM))
    cells = np.array([cell_levels(plane, shape, step) for plane in planes])
    own = cells / cells.mean(axis=(1, 2), keepdims=True)
    none = Added(0.0, 0.0)
    whole = slice(None), slice(None)
    return LightMap(float(cells.mean()) * own.mean(axis=0), own, whole, ByNoise(none, none))


def _evenness(blanks: list[Placement], name: str) -> Results:
    planes = [bed_luma(blank) for blank in blanks]
    side_px, dpi = blanks[0].overview.step_px, blanks[0].dpi
    block_mm = (side_px * MM_PER_INCH / dpi[0], side_px * MM_PER_INCH / dpi[1])
    step = max(_step_of_code(blank) for blank in blanks)
    field = lit_field(planes, block_mm)
    found = _mapped(planes, field.columns, field.rows, block_mm, step)
    if isinstance(found, Reason):
        return Results(tuple(not_measurable(each, found, name) for each in UNEVEN_NAMES))
    (left, right), (top, bottom) = field.columns, field.rows
    light = found.of_cells()
    evidence = Evidence(
        "shading.nonuniformity",
        "map",
        "Light over the bed, against its mean",
        scan=name,
        unit="%",
        image=100 * light / light.mean(),
        extent_mm=(
            left * block_mm[0], top * block_mm[1], right * block_mm[0], bottom * block_mm[1],
        ),
        note=f"{light.shape[1]} × {light.shape[0]} cells; edge shadow left out.",
    )  # fmt: skip
    uneven = tuple(_unevenness(found, name))
    if field.left_out_mm > DEEP_MM:
        as_is = {
            m.name: m.value or 0.0 for m in _unevenness(_as_it_is(planes, block_mm, step), name)
        }
        words = (
            f"{field.left_out_mm:.0f} mm at a side were taken for its shadow: "
            "more, if light falls off there"
        )
        uneven = tuple(
            replace(m, status="between", low=m.value, high=max(as_is[m.name], m.value or 0.0),
                    reason=words, reason_kind="unclear")
            if m.status == "ok" else m
            for m in uneven
        )  # fmt: skip
    elif (field.wide_columns, field.wide_rows) != (field.columns, field.rows):
        wide = _mapped(planes, field.wide_columns, field.wide_rows, block_mm, step)
        if not isinstance(wide, Reason):
            uneven = tuple(map(_with_strip, uneven, _unevenness(wide, name)))
    return Results(uneven, evidence=(evidence,))


def _step_of_code(blank: Placement) -> float:
    """Light (luma) of one code at the level of the paper."""
    code = medians(blank.overview.preview.reshape(-1, blank.scan.channels), 0)
    low, high = (luma(blank.light.light(np.maximum(code + off, 0.0))) for off in (-0.5, 0.5))
    return float(high - low)


def _mapped(
    planes: list[Floats], columns: Range, rows: Range, block_mm: Point, step: float
) -> LightMap | Reason:
    """Light over a part of the bed, or why there is no map of it."""
    size_mm = (columns[1] - columns[0]) * block_mm[0], (rows[1] - rows[0]) * block_mm[1]
    shape = (round(size_mm[1] / CELL_MM), round(size_mm[0] / CELL_MM))
    if min(shape) < MIN_CELLS:
        words = f"only {size_mm[0]:.0f} × {size_mm[1]:.0f} mm of lit bed: too small for a light map"
        return Reason("too-small", words)
    part = slice(*rows), slice(*columns)
    height, width = planes[0].shape
    free: dict[Side, bool] = {
        "left": columns[0] == 0, "right": columns[1] == width,
        "top": rows[0] == 0, "bottom": rows[1] == height,
    }  # fmt: skip
    lit = [side for side in free if free[side]]
    found = light_map(np.array([cell_levels(plane[part], shape, step) for plane in planes]), lit)
    if found.light.mean() < TOO_DARK:
        return DARK
    outer = {
        side: max(round(OUTERMOST_MM / block_mm[0 if side in ("left", "right") else 1]), 1)
        for side in lit
    }
    whole = np.mean([plane[part] for plane in planes], axis=0)
    return replace(found, beyond=beyond_cells(whole, found.light, outer))


def _with_strip(without: Measurement, wide: Measurement) -> Measurement:
    """Between a figure without a strip that is hardly dark enough for a shadow, and with it."""
    if without.status != "ok" or wide.status != "ok":
        return without
    assert without.value is not None
    assert wide.value is not None
    error = max(without.uncertainty or 0.0, wide.uncertainty or 0.0)
    return replace(
        without, uncertainty=error, status="between", reason_kind="unclear",
        low=min(without.value, wide.value), high=max(without.value, wide.value),
        reason="a strip at a side is a little darker: whether by its frame or not is not known",
    )  # fmt: skip


def _unevenness(found: LightMap, name: str) -> Iterator[Measurement]:
    """The three figures of one map; repeats are compared at the mean map's own extremes."""
    light = found.light
    high, low = int(np.argmax(light)), int(np.argmin(light))
    mean = float(found.of_cells().mean())
    repeats = found.repeats.reshape(len(found.repeats), -1)
    added = found.noise.to_range
    apart = float(repeat_error(repeats[:, high] - repeats[:, low]))
    error = max(added.error, apart, _by_paper(repeats))
    error = math.hypot(error, found.beyond / math.sqrt(3))  # a border's last millimetre may count
    lightness, inner = lstar(light), lstar(found.of_cells())
    # dL*/dY × Y = 116/3 × Y^(1/3) above the toe, so a relative error of light is this in L*:
    to_l = (float(inner.mean()) + 16) / 3
    each_l = lstar(found.repeats[:, *found.cells] * mean)
    deviations = each_l.std(axis=(1, 2)) / each_l.mean(axis=(1, 2))
    rougher = found.noise.to_deviation
    share = to_l / float(inner.mean())
    # Noise stays in this one: how far the figure can be off, evenly between nought and that.
    by_noise_d = math.hypot(rougher.size / math.sqrt(3), rougher.error) * share
    # Where the bed ends, and a shadow with it, is known to half a cell.
    border_d = abs(_deviation(inner) - _deviation(inner[1:-1, 1:-1])) / math.sqrt(12)
    error_d = math.hypot(max(by_noise_d, float(repeat_error(deviations))), border_d)
    clipped = float(np.mean(light >= CLIPPED))
    why = f"{100 * clipped:.0f} % of the bed is clipped: lower the brightness and scan again"
    for measure_name, value, uncertainty in (
        ("shading.nonuniformity", 100 * (np.ptp(light) / mean - added.size), 100 * error),
        ("shading.range_L", np.ptp(lightness) - added.size * to_l, error * to_l),
        ("shading.deviation_L", 100 * _deviation(inner), 100 * error_d),
    ):
        yield Measurement(
            measure_name,
            max(float(value), 0.0),
            float(uncertainty),
            "at-least" if clipped > CLIPPED_SHARE else "ok",
            why if clipped > CLIPPED_SHARE else "",
            name,
            reason_kind="clipped" if clipped > CLIPPED_SHARE else None,
        )


def _deviation(lightness: Floats) -> float:
    """Standard deviation over the mean."""
    return float(lightness.std() / lightness.mean())


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
