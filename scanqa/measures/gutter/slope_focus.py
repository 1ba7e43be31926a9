"""Fine detail on a slope of known height, against that on the glass beside it.

SFR50 of edges that run up the slope, measured across it: along it they are foreshortened. Blur of
defocus grows with height and adds to that of the optics in quadrature, so that ``1/SFR50²`` is
straight in ``height²``: so it is taken between the edges on either side of a height. How far that
can be off where they lie wide apart (below the first edge over the glass, above all) is told by
straight interpolation.

The print is blurred, too, at all heights alike: against it the blur of defocus looks smaller than
it is. How much a home print may add is not known and part of the doubt.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from scanqa.measures.gutter.slope_light import distance_up
from scanqa.model import Edge, Floats, Placement, Reason
from scanqa.numeric.edge.find import locate_edge
from scanqa.numeric.edge.sfr import measure_edge
from scanqa.numeric.lightness import luma
from scanqa.numeric.scatter import OF_INTERVAL, median_error
from scanqa.reading.edge_window import edge_window

CLEAR = 0.3  # of the clean distance beside an edge: more blur than this cannot be measured
MIN_SITES = 4
MODEL_SHARE = 0.1  # of what two ways to interpolate a height differ by: how far it can be off
STEP_MM = 0.4  # of height: edges nearer to each other count together
ALONG = 0.5  # an edge nearer to the foot's direction than this (cosine) is foreshortened
PRINT_BLUR_MM = (
    0.015  # sigma of a home print: spot, toner, rough edges (common practice, no source)
)
GAUSS_50 = 0.187391  # σ f50 of a Gaussian: exp(-2π² · 0.187391²) = 0.5
MOST_OF_PRINT = 0.5  # of the variance of blur on the glass that a print is taken to make
TOO_FEW = Reason("too-few", "too few edges of the ramp could be measured")


@dataclass(frozen=True, slots=True)
class Site:
    """SFR50 (cy/mm) of one edge at a height."""

    height_mm: float
    sfr50: float
    error: float


@dataclass(frozen=True, slots=True, eq=False)
class FocusCurve:
    """SFR50 against height.

    Attributes
    ----------
    sites : tuple of Site
        Every edge, by rising height; those of the flat part have height 0.
    height_mm, share : (n,)
        Heights of the steps, the first 0, and SFR50 there over that on the glass.
    above_error, glass_error : float
        Standard errors of a step's share and of the level on the glass, as shares of that level.
    print_share : float
        Share of the variance of blur on the glass that the print may make.
    """

    sites: tuple[Site, ...]
    height_mm: Floats
    share: Floats
    above_error: float
    glass_error: float
    print_share: float = 0.0

    def at(self, height_mm: float) -> tuple[float, float] | None:
        """Share at a height and its standard error; None above the last edge measured."""
        if not 0 <= height_mm <= self.height_mm[-1]:
            return None
        share = self._share(height_mm)
        straight = float(np.interp(height_mm, self.height_mm, self.share))
        parts = (self.above_error, share * self.glass_error, share - straight)
        return share, float(np.sqrt(np.sum(np.square(parts))))

    def print_error(self, share: float) -> float:
        """By how much a share is too high if the print blurs as it may."""
        return share - math.sqrt((1 - self.print_share) / (share**-2.0 - self.print_share))

    def print_error_of_fall(self, share: float) -> float:
        """By how much the height at which SFR50 falls to a share is too high then."""
        seen = (self.print_share + share**-2.0 * (1 - self.print_share)) ** -0.5
        found, early = self.falls_to(share), self.falls_to(seen)
        return 0.0 if found is None or early is None else max(found[0] - early[0], 0.0)

    def falls_to(self, share: float) -> tuple[float, float] | None:
        """The height at which SFR50 first falls to a share, and its error; None if it does not."""
        below = np.flatnonzero(self.share <= share)
        if not len(below):
            return None
        pair = slice(int(below[0]) - 1, int(below[0]) + 1)
        low, high = self.height_mm[pair] ** 2
        start, end = self.share[pair] ** -2.0
        height = float(np.sqrt(low + (share**-2 - start) / (end - start) * (high - low)))
        straight = float(np.interp(-share, -self.share[pair], self.height_mm[pair]))
        # d share / d height = -share³/2 × d(share⁻²)/d(height²) × 2 height
        slope = share**3 * (end - start) / (high - low) * height
        noise = np.hypot(self.above_error, share * self.glass_error) / slope
        return height, float(np.hypot(noise, MODEL_SHARE * (height - straight)))

    def end_error(self, height_share: float) -> float:
        """By how much SFR50 may have halved below the last edge, where that is still over a half.

        Its half lies farther up, where 1/share² that is straight in height² takes it: what noise,
        print and the slope's own height (as a share) leave open of that reaches back so far.
        """
        height, share = float(self.height_mm[-1]), float(self.share[-1])
        if share >= 1:
            return 0.0
        half = height * math.sqrt(3 / (share**-2 - 1))
        noise = float(np.hypot(self.above_error, share * self.glass_error)) / (share - share**3)
        of_print = 1 - math.sqrt(1 - self.print_share)
        error = half * math.hypot(noise, of_print, height_share)
        return max(error - (half - height) / OF_INTERVAL, 0.0)

    def _share(self, height_mm: float) -> float:
        squares = np.interp(height_mm**2, self.height_mm**2, self.share**-2.0)
        return float(squares**-0.5)


def focus_over_height(
    slope: Placement, flat: Placement, *, height_mm: float | None = None
) -> FocusCurve | Reason:
    """SFR50 on the slope over that on the flat part, or the reason why not.

    Parameters
    ----------
    slope, flat : Placement
        The two pieces in one scan; `slope.piece.rise` says how it rises.
    height_mm : float, optional
        Measured height of the upper end; as designed unless given.
    """
    sites = tuple(sorted(_sites(slope, flat, height_mm), key=lambda site: site.height_mm))
    glass = np.array([site.sfr50 for site in sites if site.height_mm == 0])
    above = [site for site in sites if site.height_mm > 0]
    if len(glass) < MIN_SITES or len(above) < MIN_SITES:
        return TOO_FEW
    level = float(np.median(glass))
    heights, values = _by_height(above)
    return FocusCurve(
        sites,
        np.append(0.0, heights),
        np.append(1.0, values / level),
        float(np.median([site.error for site in above])) / level,
        float(median_error(glass)) / level,
        min((PRINT_BLUR_MM * level / GAUSS_50) ** 2, MOST_OF_PRINT),
    )


def _sites(slope: Placement, flat: Placement, height_mm: float | None) -> Iterator[Site]:
    assert slope.piece is not None
    assert slope.piece.rise is not None
    rise = slope.piece.rise
    per_mm = (rise.height_mm if height_mm is None else height_mm) / rise.length_mm
    foot = np.subtract(rise.foot_mm[1], rise.foot_mm[0])
    for piece in (flat, slope):
        assert piece.piece is not None
        for edge in piece.piece.edges:
            run = np.subtract(edge.end_mm, edge.start_mm)
            if abs(run @ foot) > ALONG * np.hypot(*run) * np.hypot(*foot):
                continue
            middle = (
                (edge.start_mm[0] + edge.end_mm[0]) / 2,
                (edge.start_mm[1] + edge.end_mm[1]) / 2,
            )
            site = _site(piece, edge, max(distance_up(slope, middle), 0.0) * per_mm)
            if site is not None:
                yield site


def _site(piece: Placement, edge: Edge, height_mm: float) -> Site | None:
    place = edge_window(piece, edge)
    if place is None:
        return None
    codes = piece.scan.window(place.window)
    light = luma(piece.light.light(codes))
    light[(codes >= piece.overview.top_code).any(axis=-1)] = 1.0  # as for any other edge
    located = locate_edge(light, place.line, place.reach_px)
    # High up the blur outgrows the clean paper beside the edge: nothing is level there any more.
    if isinstance(located, Reason) or located[1].sigma_px > CLEAR * place.reach_px:
        return None
    found = measure_edge(light, place.line, place.reach_px)
    if isinstance(found, Reason) or found.sfr50 is None:
        return None
    per_mm = 1 / place.mm_per_px
    return Site(height_mm, found.sfr50.frequency * per_mm, found.sfr50.uncertainty * per_mm)


def _by_height(sites: list[Site]) -> tuple[Floats, Floats]:
    """Mean height and median SFR50 of the sites of each step of height, rising."""
    steps: dict[int, list[Site]] = {}
    for site in sites:
        steps.setdefault(int(site.height_mm / STEP_MM), []).append(site)
    ordered = [steps[step] for step in sorted(steps)]
    heights = [np.mean([site.height_mm for site in step]) for step in ordered]
    return np.array(heights), np.array([np.median([s.sfr50 for s in step]) for step in ordered])
