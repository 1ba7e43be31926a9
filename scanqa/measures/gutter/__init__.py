"""How the open page darkens towards the spine, and why: light and focus above the glass.

*Darkening* (`page_profile`, `spine`, `darkening`). The paper level is an *upper envelope*, so print
does not count: the page is divided into bands of 10 mm along the spine; in each, at each distance
from the side where the spine lies, the paper is the cluster of the small blocks' lightness (L*, of
luma) nearest to their 85th percentile (mean shift); along the way, glints narrower than 1.2 mm are
cut off (grey opening) and dips narrower than 8 mm (lines of text that run with the spine) are
filled (grey closing). Each band is compared with its own plateau, the level further in; bands that
show no bare paper there (pictures, lid beyond the book) are left out; the profile is the median
over the bands.

Distances are from the spine where the dead margin of its side is known (`unseen`), or where it lies
inside the image; else from the image's border, and are bounds. ``delta_L_at_0mm`` is the profile's
light continued to the border.
``reach_k`` is where the page is no longer darker than its plateau by k, for 3 mm on end.

*Height* (`ramp`). A page that rises towards the spine gets darker and blurrier; the gutter ramp is
a slope of known height that says by how much (``light_at_*``, ``focus_at_*_height``,
``depth_of_field``).

*Lift* (`lift`). With a ramp in the set the darkening is explained: light at each distance over that
on the plateau, with what blank paper shows at the same place divided out, is looked up in the
ramp's light against height; that is the lift of the page (``lift_at_*``). How much fine detail is
left at that height the ramp's focus curve says (``focus_at_*``).

A page that shows no spine at the side told may be a book that hardly darkens, or no book: how much
darker it is there is then a bound, and it judges no use.

The definitions are our own; no standard states them. Fails (not measurable): no open-book scan;
spine side unknown and not evident; no bare paper; image too small; no ramp, or not all of it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from scanqa.catalogue import Side
from scanqa.measures.gutter.darkening import darkening, hardly_darker, no_darkening
from scanqa.measures.gutter.lift import lift, no_lift
from scanqa.measures.gutter.ramp import located_ramps, no_ramp, over_height, same_size
from scanqa.measures.gutter.spine import Page, hardly_dark_profile, spine_pages
from scanqa.measures.gutter.unseen import IN_SIGHT, Unseen, unseen
from scanqa.model import Placement, Reason, Results, Told, of_role

NO_BOOK = Reason(
    "no-scan", "no open-book scan: lay a book open at white pages, its spine on the glass edge"
)
NO_SPINE = Reason(
    "not-found",
    "no spine is to be seen on the page: it does not darken softly toward a side; lay the book "
    "open with its spine on the glass edge, and say the side with --book-edge",
)
NO_SLOPE = Reason("not-found", "the slope of the gutter ramp was not located")


def measure(scans: Sequence[Placement], told: Told) -> Results:
    """Darkening towards the spine of each open-book scan, light and focus of each ramp.

    Parameters
    ----------
    scans : sequence of Placement
        Open-book scans; pieces of gutter ramps, the first of which explains the darkening; pieces
        of edge strips, which say how far the first pixel lies from the spine; blank scans, of
        which the first of the size of a scan says what of its darkness is edge shadow.
    told : Told
        `book_edge`, the side of the image where the spine lies: without it the side is found if
        it is evident. `ramp_height_mm`, the height of the ramp's lip above the table as measured
        with a rule: as designed unless given.

    Returns
    -------
    Results
        ``gutter.delta_L_at_*``, ``gutter.reach_*``, ``gutter.plateau`` and the profile, for each
        open book; ``gutter.lift_at_*`` and ``gutter.focus_at_*mm`` if there is a ramp;
        ``gutter.light_at_*``, ``gutter.focus_at_*_height`` and ``gutter.depth_of_field`` of each
        ramp.
    """
    blanks, pieces = of_role(scans, "blank"), of_role(scans, "gutter-ramp")
    ramps = located_ramps(pieces, told, blanks)
    margins = unseen(of_role(scans, "edge-strip"), told.dead_margins_mm)
    results = Results()
    for book in of_role(scans, "open-book"):
        found = spine_pages(book, told.book_edge)
        if isinstance(found, Reason):
            results += no_darkening(found, book.scan.name)
            continue
        for page in found:
            results += darkening(page, _before(page, margins), book.light, book.scan.name)
        if ramps:
            before = _before(found[0], margins)
            blank = same_size(book, blanks)
            results += lift(found[0], before, ramps[0], blank, book.scan.name)
        elif pieces:
            results += no_lift(NO_SLOPE, book.scan.name)
    if not of_role(scans, "open-book"):
        results += _of_pages(of_role(scans, "page"), told.book_edge)
    for ramp in ramps:
        results += over_height(ramp)
    return results if ramps else results + no_ramp()


def _before(page: Page, margins: Mapping[Side, Unseen]) -> Unseen:
    """What is not seen between the spine and the first pixel."""
    return IN_SIGHT if page.spine_in_sight else margins.get(page.side, Unseen())


def _of_pages(pages: Sequence[Placement], told: Side | None) -> Results:
    """Of pages that show no spine: how dark it is at the most, where its side was told."""
    if told is not None:
        for page in pages:
            profile = hardly_dark_profile(page, told)
            found = None if profile is None else hardly_darker(profile, told, page.scan.name)
            if found is not None:
                return found
    return no_darkening(NO_SPINE if pages else NO_BOOK, pages[0].scan.name if pages else "")
