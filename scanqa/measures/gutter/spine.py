"""On which side of the image the spine lies: said by the user, or evident."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scanqa.catalogue import SIDES, Side
from scanqa.measures.gutter.page_profile import Profile, delta_at, page_profile, reach
from scanqa.model import MM_PER_INCH, Placement, Reason
from scanqa.numeric.lightness import mean_of_channels
from scanqa.reading.book_spine import Spine, find_spines

# What tells a gutter from an edge shadow or the end of the page, when nobody says where it is:
GUTTER_MIN_DELTA_L = 4.0  # at 2 mm
GUTTER_REACH_MM = (3.0, 30.0)  # of a darkening by 2 L*
GUTTER_SLOPE_MM = 1.0  # between a darkening by 2 L* and by half of the whole
GUTTER_LEAD = 2.0  # the area under the curve over that of any other side
GUTTER_STEEPEST_L_PER_MM = 40.0  # steeper is the end of the page, or the edges of those beneath it
PLAIN_REACH_MM = 10.0  # no fan of page edges is so wide
NEAR_MM, LEAST_DELTA_L = 5.0, 1.0  # a side told by the user darkens by so much within so much
GUTTER_FOLD_MM = 1.5  # ... but for the fold itself


NO_SPINE = "the page does not darken softly toward the {side} side: no spine shows there"
ENDS = "the page ends before the image does on the {side} side: no spine shows there"


@dataclass(frozen=True, slots=True, eq=False)
class Page:
    """Paper from the spine outwards: its side of the image, its profile, and where it begins."""

    side: Side
    profile: Profile
    spine_in_sight: bool


def spine_pages(book: Placement, told: Side | None) -> list[Page] | Reason:
    """Sides of the spine and the paper's profile from there outwards, or why there is none.

    Parameters
    ----------
    book : Placement
        An open-book scan.
    told : str or None
        The side of the image where the spine lies, if the user said it.

    Returns
    -------
    list of Page or Reason
        Two if the spine lies inside the image, with a page on each side of it.
    """
    grey = mean_of_channels(book.light.light(book.overview.preview))
    mm_px = sum(book.dpi) / 2 / MM_PER_INCH / book.overview.step_px
    spines = find_spines(grey, mm_px)
    if len(spines) > 1:
        pages = [(spine.toward, page_profile(book, spine.toward, spine)) for spine in spines]
        both = [Page(side, page, True) for side, page in pages if isinstance(page, Profile)]
        reasons = [page for _, page in pages if isinstance(page, Reason)]
        return both or reasons[0]
    plain = [spine.toward for spine in spines if spine.reach_mm > PLAIN_REACH_MM]
    side = told or (plain[0] if plain else None)
    if side is None:
        evident = _evident(book)
        return evident if isinstance(evident, Reason) else [Page(*evident, False)]
    at_it = next((spine for spine in spines if spine.toward == side and spine.inside), None)
    found = _toward(book, side, at_it)
    return found if isinstance(found, Reason) else [found]


def hardly_dark_profile(page: Placement, side: Side) -> Profile | None:
    """Profile toward a side at which no spine shows; None if paper does not reach it."""
    profile = page_profile(page, side)
    if isinstance(profile, Reason) or _steepest(profile) > GUTTER_STEEPEST_L_PER_MM:
        return None
    return profile


def _toward(book: Placement, side: Side, spine: Spine | None) -> Page | Reason:
    """Profile from a side of the image, or from a spine before the paper ends there."""
    profile = page_profile(book, side)
    if isinstance(profile, Reason) or _steepest(profile) > GUTTER_STEEPEST_L_PER_MM:
        if spine is not None:
            inner = page_profile(book, side, spine)
            return inner if isinstance(inner, Reason) else Page(side, inner, True)
        if isinstance(profile, Reason):
            return profile
        return Reason("not-found", ENDS.format(side=side))
    if float(profile.delta[profile.at_mm < NEAR_MM].max(initial=0.0)) < LEAST_DELTA_L:
        return Reason("not-found", NO_SPINE.format(side=side))
    return Page(side, profile, False)


def _evident(book: Placement) -> tuple[Side, Profile] | Reason:
    """The one side that darkens as a gutter does."""
    areas: dict[Side, float] = {}
    profiles: dict[Side, Profile] = {}
    for side in SIDES:
        profile = page_profile(book, side)
        if isinstance(profile, Reason):
            continue
        profiles[side] = profile
        areas[side] = float(np.maximum(profile.delta, 0).sum()) if _gutter_like(profile) else 0.0
    ranked = sorted(areas, key=lambda side: areas[side], reverse=True)
    if ranked and areas[ranked[0]] > 0:
        best = ranked[0]
        if len(ranked) == 1 or areas[best] > GUTTER_LEAD * areas[ranked[1]]:
            return best, profiles[best]
    why = "it is not evident where the spine lies: say --book-edge left, right, top or bottom"
    return Reason("not-told", why)


def _gutter_like(profile: Profile) -> bool:
    delta = profile.delta
    if delta_at(profile, 2.0) < GUTTER_MIN_DELTA_L:
        return False
    if _steepest(profile) > GUTTER_STEEPEST_L_PER_MM:
        return False
    foot = reach(profile.at_mm, delta, 2.0)
    half = reach(profile.at_mm, delta, float(delta.max()) / 2)
    return GUTTER_REACH_MM[0] <= foot <= GUTTER_REACH_MM[1] and foot - half >= GUTTER_SLOPE_MM


def _steepest(profile: Profile) -> float:
    """How fast the paper darkens towards the side at most, L* per mm: median of the bands.

    Of each band on its own, because the page may lie a little askew.
    """
    beyond = profile.at_mm[:-1] > GUTTER_FOLD_MM
    falls = -np.diff(profile.lack, axis=1)[:, beyond] / np.diff(profile.at_mm)[beyond]
    return float(np.median(falls.max(axis=1)))
