"""Grain of scans of plain paper: in all, from scan to scan, and in place.

Small windows on a grid over the bed are read at full resolution, turned into L* and rid of
their shading. Their standard deviation is the total noise (FADGI 2023 and ISO 19264-1 state
noise as the standard deviation of L*). Two scans of the same paper tell its parts, by the
two-frame method of ISO 15739 and of photon transfer, var(A − B)/2 = var A − cov(A, B): what
both scans share in place is fixed pattern; what they share where the paper has moved to is the
paper's grain; the rest is temporal. A paper that lies still hides its grain in the fixed
pattern, one whose grain is not found again hides it in the temporal noise: then the part is
reported as not measurable, with what was seen.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scanqa.model import Floats, Measurement, Placement, Point, Results, Window
from scanqa.numeric.covariance import cross_covariance, flatten, peak
from scanqa.numeric.lightness import lstar, luma

WINDOW_PX = 256
GRID = (5, 4)  # windows along travel and across
EDGE_MM = 12.0  # edge shadows bend more than a window's shading fit can follow
NEAR_PX = 6  # displacement within which the paper's grain and the fixed pattern are not separable
CLEAR = 8.0  # height of a grain peak over the scatter of the covariance
AGREE_PX = 3.0  # windows whose grain moved alike


@dataclass(frozen=True, slots=True, eq=False)
class _Patch:
    """A window of one scan: L* without shading, and linear luma."""

    at_mm: Point
    grain: Floats
    light: Floats


@dataclass(frozen=True, slots=True)
class _Split:
    """Variances of one window in two scans, L*²."""

    total: float
    in_place: float  # shared at displacement nought
    grain: float | None  # shared at the paper's displacement, None if not found
    moved_px: Point | None
    light_difference: float  # var(A − B)/2 of light over mean light squared


def measure(placements: Sequence[Placement]) -> Results:
    """Noise of blank scans.

    Parameters
    ----------
    placements : sequence of Placement
        Scans of plain white paper; the first two of like size and dpi are compared.

    Returns
    -------
    Results
        ``noise.total`` of each scan; ``noise.temporal``, ``noise.fixed_pattern`` (L*, standard
        deviations) and ``noise.snr`` (dB, linear light) of the first pair. The uncertainty is
        the standard error over the windows.
    """
    results = Results()
    patches = {}
    for placement in placements:
        found = _patches(placement)
        patches[id(placement)] = found
        results += Results((_total(placement, found),))
    pair = _pair(placements)
    if pair is None:
        why = "it takes two scans of the same paper at the same setting; one alone gives the total"
        return results + (_none(placements[0], why) if placements else Results())
    one, other = pair
    if all(patch.grain.std() < 1e-6 for patch in patches[id(one)]):
        return results + _none(one, "the scan has no grain at all: it was processed or is clipped")
    splits = [_split(a, b) for a, b in zip(patches[id(one)], patches[id(other)], strict=True)]
    return results + _parts(one, splits, patches[id(one)])


def _windows(placement: Placement) -> list[Window]:
    scan = placement.scan
    margins = [round(EDGE_MM * dpi / 25.4) for dpi in placement.dpi]
    out = []
    size = min(WINDOW_PX, scan.width_px, scan.height_px)
    spots = []
    for length, margin, count in zip(
        (scan.height_px, scan.width_px), margins[::-1], GRID, strict=True
    ):
        margin = min(margin, max(length - size, 0) // 4)
        spots.append(np.unique(np.linspace(margin, length - margin - size, count).astype(int)))
    for row in spots[0]:
        out += [Window(int(row), int(col), size, size) for col in spots[1]]
    return out


def _patches(placement: Placement) -> list[_Patch]:
    out = []
    for window in _windows(placement):
        light = luma(placement.light.light(placement.scan.window(window)))
        at = placement.mm(window.col + (window.width - 1) / 2, window.row + (window.height - 1) / 2)
        out.append(_Patch(at, flatten(lstar(light)), light))
    return out


def _total(placement: Placement, patches: Sequence[_Patch]) -> Measurement:
    values = np.array([patch.grain.std() for patch in patches])
    if placement.overview.top_share > 0.02 and values.max() > 0:
        reason = (
            f"{100 * placement.overview.top_share:.1f} % of the samples are at the top of the "
            "scale, which hides part of the noise: the value is the least it can be"
        )
        return Measurement(
            "noise.total",
            float(np.median(values)),
            _median_error(values),
            "lower-bound",
            reason,
            placement.scan.name,
            channel="luma",
        )
    return Measurement(
        "noise.total",
        float(np.median(values)),
        _median_error(values),
        scan=placement.scan.name,
        channel="luma",
    )


def _median_error(values: Floats) -> float:
    """Standard error of a median of windows, 1.2533 that of their mean."""
    return 1.2533 * float(values.std(ddof=1)) / math.sqrt(len(values)) if len(values) > 1 else 0.0


def _pair(placements: Sequence[Placement]) -> tuple[Placement, Placement] | None:
    for index, one in enumerate(placements):
        for other in placements[index + 1 :]:
            alike = (one.scan.width_px, one.scan.height_px, one.dpi) == (
                other.scan.width_px,
                other.scan.height_px,
                other.dpi,
            )
            if alike:
                return one, other
    return None


def _split(one: _Patch, other: _Patch) -> _Split:
    surface = cross_covariance(one.grain, other.grain)
    rows, columns = one.grain.shape
    middle = (rows - 1, columns - 1)
    total = float((one.grain.var() + other.grain.var()) / 2)
    # At the rim few pairs are left and chance makes peaks.
    inner = surface[rows // 2 : rows // 2 + rows, columns // 2 : columns // 2 + columns].copy()
    offset = (rows // 2, columns // 2)
    y, x = np.mgrid[: inner.shape[0], : inner.shape[1]]
    distance = np.hypot(y + offset[0] - middle[0], x + offset[1] - middle[1])
    scatter = float(np.median(np.abs(inner))) * 1.4826
    inner[(distance < NEAR_PX) | (distance > min(rows, columns) // 2 - 2)] = -math.inf
    row, column = np.unravel_index(int(np.argmax(inner)), inner.shape)
    at_row, at_column, height = peak(surface, int(row) + offset[0], int(column) + offset[1])
    found = height > CLEAR * scatter
    difference = (one.light - other.light) / math.sqrt(one.light.mean() * other.light.mean())
    return _Split(
        total=total,
        in_place=float(surface[middle]),
        grain=height if found else None,
        moved_px=(at_column - middle[1], at_row - middle[0]) if found else None,
        light_difference=float(flatten(difference).var() / 2),
    )


def _parts(placement: Placement, splits: Sequence[_Split], patches: Sequence[_Patch]) -> Results:
    total = np.array([split.total for split in splits])
    in_place = np.array([split.in_place for split in splits])
    moved = [split for split in splits if split.grain is not None]
    if len(moved) >= 0.5 * len(splits):
        grain = np.array([split.grain or 0.0 for split in moved])
        temporal = np.array([s.total - s.in_place - (s.grain or 0.0) for s in moved])
        # var(A − B)/2 of light still holds the grain: take off the share it has in L*.
        share = np.array([1 - (s.grain or 0.0) / max(s.total - s.in_place, 1e-9) for s in moved])
        noise = np.array([s.light_difference for s in moved]) * np.clip(share, 1e-6, 1)
        how = (
            f"the paper moved by about {_moved_words(moved, placement)} and its grain "
            f"({math.sqrt(max(float(np.median(grain)), 0)):.2f} L*) was lined up and taken off"
        )
        return _values(placement, temporal, np.array([s.in_place for s in moved]), noise, how)
    if np.median(in_place) > 0.5 * np.median(total):
        # Most of it is shared in place: the paper lay still and its grain is part of that.
        why = (
            "the paper did not move between the scans, so its grain looks like a fixed pattern "
            f"(together {math.sqrt(float(np.median(in_place))):.2f} L*); move it by a few "
            "millimetres and scan again"
        )
        noise = np.array([split.light_difference for split in splits])
        still = _values(placement, total - in_place, None, noise, "the paper lay still")
        return still + Results((_missing("noise.fixed_pattern", placement, why),))
    rest = math.sqrt(max(float(np.median(total - in_place)), 0.0))
    why = (
        "the paper moved and its grain was not found again, so it cannot be told from noise "
        f"(together {rest:.2f} L*); move it by only 1 or 2 mm without turning it, or not at all"
    )
    fixed = _value("noise.fixed_pattern", placement, in_place, "")
    return Results(
        (_missing("noise.temporal", placement, why), fixed, _missing("noise.snr", placement, why))
    )


def _moved_words(moved: Sequence[_Split], placement: Placement) -> str:
    shifts = np.array([split.moved_px for split in moved if split.moved_px is not None])
    mm = np.median(shifts, axis=0) * 25.4 / np.array(placement.dpi)
    return f"{mm[0]:+.2f} mm across and {mm[1]:+.2f} mm along travel"


def _values(
    placement: Placement, temporal: Floats, fixed: Floats | None, noise: Floats, how: str
) -> Results:
    out = [_value("noise.temporal", placement, temporal, how)]
    if fixed is not None:
        out.append(_value("noise.fixed_pattern", placement, fixed, how))
    ratio = float(np.median(noise))
    if ratio <= 0:
        out.append(_missing("noise.snr", placement, "the two scans do not differ at all"))
    else:
        error = 10 / math.log(10) * _median_error(noise) / ratio
        out.append(
            Measurement(
                "noise.snr",
                -10 * math.log10(ratio),
                error,
                reason=how,
                scan=placement.scan.name,
                channel="luma",
            )
        )
    return Results(tuple(out))


def _value(name: str, placement: Placement, variances: Floats, how: str) -> Measurement:
    """Root of the median variance; where that is not above its error, the error's root."""
    variance = max(float(np.median(variances)), 0.0)
    error = _median_error(variances)
    value = math.sqrt(variance)
    return Measurement(
        name,
        value,
        math.sqrt(variance + error) - value,
        reason=how,
        scan=placement.scan.name,
        channel="luma",
    )


def _missing(name: str, placement: Placement, why: str) -> Measurement:
    return Measurement(name, None, None, "not-measurable", why, placement.scan.name, channel="luma")


def _none(placement: Placement, why: str) -> Results:
    names = ("noise.temporal", "noise.fixed_pattern", "noise.snr")
    return Results(tuple(_missing(name, placement, why) for name in names))
