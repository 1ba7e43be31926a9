"""Depth of the shadow along each side of a blank scan."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from scanqa.catalogue import Side
from scanqa.model import (
    MM_PER_INCH,
    Curve,
    Evidence,
    Floats,
    Measurement,
    Placement,
    Reason,
    not_measurable,
)
from scanqa.numeric.border import Shadow, far_line, far_zone_mm, shadow
from scanqa.numeric.lightness import lstar, luma
from scanqa.numeric.scatter import median_error, repeat_error, robust_sd
from scanqa.reading.sides import depths_mm, from_side, inwards_dpi

SHADOW_DELTA_L = 2.0  # how much darker than the level further in counts as shadow
SHOWN_MM = 25.0  # of each profile in the figure
SHOWN_PITCH_MM = 0.1
TOO_DARK_L = 20.0  # paper that is darker than this was not lit (or is not paper)
FAR_DELTA_L = 10.0  # a level further in that lies lower than the middle by this is in shadow itself
UNEVEN_MM = 0.5  # a part of a side deeper than the median by this is named


@dataclass(frozen=True, slots=True, eq=False)
class SideShadow:
    """The shadow of one side: its depth (or why there is none), deepest part and profile.

    `deepest_error_mm` is the standard uncertainty of the deepest part, one band in place of all.
    """

    depth: Measurement
    deepest_mm: float = 0.0
    deepest_error_mm: float = 0.0
    curve: Curve | None = None


def side_lightness(blank: Placement, side: Side) -> Floats:
    """L* of the outer half of a blank scan, (bands along the side, pixels inwards)."""
    means = blank.overview.row_means if side in ("top", "bottom") else blank.overview.column_means
    inwards = from_side(means, side)
    return lstar(luma(blank.light.light(inwards[:, : inwards.shape[1] // 2])))


def side_shadow(blanks: Sequence[Placement], side: Side, scan: str) -> SideShadow:
    """Depth of the shadow at a side, mm, from blank scans of one size.

    Parameters
    ----------
    blanks : sequence of Placement
        One or more.
    side : str
        Of the image.
    scan : str
        Name of the scan, or an empty string for several.
    """
    name = f"edges.shadow_{side}"
    dpi = inwards_dpi(blanks[0].dpi, side)
    scans = [side_lightness(blank, side) for blank in blanks]
    at_mm = depths_mm(scans[0].shape[1], dpi)
    zone = far_zone_mm(2 * at_mm[-1]) if len(at_mm) > 1 else None
    if zone is None or np.diff(np.searchsorted(at_mm, zone)) < 2:
        why = Reason("too-small", "the image is too small to show its edges")
        return SideShadow(not_measurable(name, why, scan))
    bands = np.vstack(scans)
    further_in = float(
        np.median(far_line(at_mm, bands, zone)[:, np.searchsorted(at_mm, zone[1]) - 1])
    )
    middle = float(np.median(bands[:, at_mm > 0.9 * at_mm[-1]]))
    if middle < TOO_DARK_L:
        why = Reason("too-dark", "the scan is too dark for white paper")
        return SideShadow(not_measurable(name, why, scan))
    found = shadow(at_mm, bands, zone, SHADOW_DELTA_L)
    curve = _curve(at_mm, bands, side)
    if not np.isfinite(found.depth) or further_in < middle - FAR_DELTA_L:
        why = Reason(
            "range",
            f"darkness reaches further than {zone[0]:.0f} mm: no level further in to compare with",
        )
        least = Measurement(name, zone[0], None, "at-least", why.words, scan, reason_kind=why.kind)
        return SideShadow(least, zone[0], 0.0, curve)
    alone = np.array([shadow(at_mm, one, zone, SHADOW_DELTA_L).depth for one in scans])
    uncertainty = _depth_error(found, alone[np.isfinite(alone)], MM_PER_INCH / dpi)
    deepest, of_band, words = _uneven(found, blanks[0], side, len(blanks))
    depth = Measurement(name, found.depth, uncertainty, reason=words, scan=scan)
    if found.deepest - found.depth > 2 * uncertainty:
        depth = _on_a_slope(depth, found.deepest, words)
    # Against a level in place of a line it may be deeper: which of them counts is not known.
    error = math.hypot(max(uncertainty, of_band), max(found.deepest - found.depth, 0.0) / 2)
    return SideShadow(depth, max(deepest, found.deepest), error, curve)


def _on_a_slope(depth: Measurement, deepest_mm: float, words: str) -> Measurement:
    """Between the depth against a line that falls toward the side, and that against its level."""
    slope = (
        f"the light further in falls toward this side, too: {deepest_mm:.1f} mm if that counts as "
        "shadow"
    )
    return replace(
        depth, status="between", low=depth.value, high=deepest_mm, reason_kind="uneven",
        reason="; ".join(filter(None, (slope, words))),
    )  # fmt: skip


def _depth_error(found: Shadow, repeats: Floats, pixel_mm: float) -> float:
    """Scatter along the side or between scans, whichever is larger, and a pixel's width."""
    finite = found.depths[np.isfinite(found.depths)]
    along = float(median_error(finite)) if len(finite) else 0.0
    between = float(repeat_error(repeats)) if len(repeats) else 0.0
    return float(np.hypot(max(along, between), pixel_mm / np.sqrt(12)))


def _uneven(found: Shadow, blank: Placement, side: Side, scans: int) -> tuple[float, float, str]:
    """Deepest part of a side, its scatter, and words if it is clearly deeper than the median.

    One band alone is a mark, not a part of the side: bands are medians of three. What neighbours
    differ by is noise: the deepest of many is so by chance, too.
    """
    depths = np.where(np.isfinite(found.depths), found.depths, found.at_mm[-1])
    depths = np.median(depths.reshape(scans, -1), axis=0)
    if len(depths) < 5:
        return found.depth, 0.0, ""
    smooth = np.median(np.lib.stride_tricks.sliding_window_view(depths, 3), axis=1)
    deepest = float(smooth.max())
    if deepest - found.depth <= UNEVEN_MM:
        return found.depth, 0.0, ""
    scatter = float(robust_sd(np.diff(depths))) / math.sqrt(2)
    edges = _band_edges_mm(blank, side, len(depths))
    part = np.flatnonzero(smooth > found.depth + UNEVEN_MM) + 1
    start, end = edges[part[0]], edges[part[-1] + 1]
    words = f"uneven: up to {deepest:.1f} mm deep between {start:.0f} and {end:.0f} mm"
    return deepest, scatter, words


def _band_edges_mm(blank: Placement, side: Side, count: int) -> Floats:
    width_mm, height_mm = blank.size_mm
    if side in ("top", "bottom"):
        return np.linspace(0, width_mm, count + 1, dtype=np.float64)
    rows = np.arange(count + 1) * blank.overview.band_rows_px
    return np.asarray(np.minimum(rows * MM_PER_INCH / blank.dpi[1], height_mm), np.float64)


# ------------------------------------------------------------------------------- the figure


def profiles_inwards(found: Mapping[Side, SideShadow], scan: str) -> tuple[Evidence, ...]:
    """One figure of all sides; none if no side has a profile."""
    curves = tuple(one.curve for one in found.values() if one.curve)
    if not curves:
        return ()
    depths = [(side, one.depth.value) for side, one in found.items()]
    return (
        Evidence(
            "edges",
            "curves",
            "Lightness from each side of the image inwards",
            scan=scan,
            x_label="Distance from the side of the image, mm",
            y_label="L*",
            unit="L*",
            curves=curves,
            lines_mm=tuple((depth, f"{side}: {depth:.1f} mm") for side, depth in depths if depth),
            note=f"Median along each side; shadow ends {SHADOW_DELTA_L:g} L* below the level "
            "further in.",
        ),
    )


def _curve(at_mm: Floats, bands: Floats, side: Side) -> Curve:
    """Median profile, thinned to what a figure can show."""
    profile = np.median(bands[:, at_mm <= SHOWN_MM], axis=0)
    every = max(1, round(SHOWN_PITCH_MM / float(at_mm[1] - at_mm[0])))
    whole = len(profile) // every * every
    return Curve(
        side,
        at_mm[:whole].reshape(-1, every).mean(axis=1),
        profile[:whole].reshape(-1, every).mean(axis=1),
    )
