"""From the scan of an edge to the scanner: what the edge and its paper blur is not the scanner's.

What is measured is the scan of *this edge*: scanner, print and paper blur it one after the other,
so their responses multiply, and the scanner alone is at least as good. How much better it may be
depends on the edge:

- A *printed* edge may be blurred by the printer as much as it likes: a bound from below. Light that
  spreads in the paper takes its share in any case; where the kind of paper is told, the least that
  it takes lifts the bound.
- A *cut* edge (a window of the sheet, an edge card) is sharp, but for the light that its paper
  loses at the cut: between the least and the most of what its kind of paper takes
  (`scanqa.catalogue.paper_spread`), or of all papers where it is not told. A rough cut is a bound.
- An edge *found* by chance is of something that nobody knows: a bound.
- A printed edge whose own response is known (`Told.edge_response`) says the scanner's.

Printed edges near a cut one gain by it: see `lifted`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from scanqa.catalogue import PaperKind
from scanqa.catalogue.paper_spread import KP_MM, EdgeOnPaper, kept_by_paper
from scanqa.measures.sharpness.print_limit import Limit
from scanqa.measures.sharpness.site import Site
from scanqa.model import LIKE_DPI, Floats, Reason
from scanqa.numeric.edge.sfr import EdgeSfr, divide

UNTOLD = Reason(
    "target", "what print and paper blur is not known: the scanner shows this much at least"
)
CHANCE = Reason("target", "an edge that lay there by chance: the scanner shows this much at least")
IN_PAPER = Reason(
    "target", "light that spreads in the paper takes between the least and the most of its kind"
)
BESIDE_CUT = Reason(
    "target", "what print and paper take is read from cut edges beside: between its least and most"
)
DIVIDED = Reason("method", "the edge's own response is divided out")
ALIKE_MM = 60.0  # a cut edge speaks for the print beside it


@dataclass(frozen=True, slots=True, eq=False)
class Behind:
    """What the scanner's response can be behind the scan of an edge.

    Attributes
    ----------
    least : EdgeSfr
        No worse than this.
    most : EdgeSfr or None
        No better than this; None where that is not known. The same as `least` where nothing is
        open.
    why : Reason or None
        What is open, or how it was found.
    """

    least: EdgeSfr
    most: EdgeSfr | None
    why: Reason | None


@dataclass(frozen=True, slots=True)
class Papers:
    """Kinds of paper as told: of the sheet, and of the edge card."""

    sheet: PaperKind | None = None
    card: PaperKind | None = None


def behind(site: Site, limit: Limit, papers: Papers) -> Behind:
    """What the scanner's response can be behind one measured site."""
    sfr = site.sfr
    if site.divided:
        return Behind(sfr, sfr, DIVIDED)
    if site.kind == "found":
        return Behind(sfr, None, CHANCE)
    sfr50 = site.sfr50_cy_mm
    rough = limit.exceeded(sfr50) if sfr50 is not None else None
    paper = papers.card if site.kind == "card" else papers.sheet
    low, high = KP_MM[paper]
    edge: EdgeOnPaper = "ink" if site.kind == "printed" else "cut"
    least = _without_paper(site, low, edge) if paper else sfr
    if site.kind == "printed":
        return Behind(least, None, rough or UNTOLD)
    if rough is not None:
        return Behind(least, None, rough)
    share = 1 / (1 - limit.loss(sfr50))
    most = _without_paper(site, high, edge).with_crossings(lambda each: each.times(share))
    return Behind(least, most, IN_PAPER)


def _without_paper(site: Site, kp_mm: float, edge: EdgeOnPaper) -> EdgeSfr:
    """The response with what a paper of some spread keeps divided out."""
    return divide(site.sfr, kept_by_paper(site.sfr.frequency / site.place.mm_per_px, kp_mm, edge))


# ----------------------------------------------------------- printed edges beside cut ones


def lifted(known: Mapping[Site, Behind]) -> dict[Site, Behind]:
    """Bounds of printed edges, raised by what the cut edges beside some of them say of the print.

    An edge card goes before windows cut out of the sheet: its paper is the sharper one. One printer
    and one paper blur all of a sheet alike: what they keep of contrast is the response
    of printed edges over that of the scanner behind a cut edge near by, and is divided out of the
    printed edges everywhere on the sheet (in each direction by itself).

    Parameters
    ----------
    known : mapping from site to Behind
        Measured sites of all scans.
    """
    made = dict(known)
    groups: dict[tuple[str, str], list[Site]] = {}
    for site in known:
        if site.kind == "printed" and not site.divided:
            groups.setdefault((site.scan, site.place.direction), []).append(site)
    cards = [site for site in known if site.kind == "card"]
    cuts = cards or [site for site in known if site.kind == "cut"]
    for (_, direction), printed in groups.items():
        beside = [
            cut
            for cut in cuts
            if cut.place.direction == direction
            and LIKE_DPI < cut.place.dpi / printed[0].place.dpi < 1 / LIKE_DPI
        ]
        kept = [found for cut in beside if (found := _kept(cut, known[cut], printed)) is not None]
        if not kept:
            continue
        by_most = [each for each, _ in kept]
        by_least = [each for _, each in kept if each is not None]
        unlike = _unlike(printed)
        for site in printed:
            made[site] = _through_print(site, known[site].why, by_most, by_least, unlike)
    return made


def _unlike(printed: Sequence[Site]) -> float:
    """How unlike printed edges near each other are: standard deviation of SFR50, as a share.

    Toner strays from edge to edge; what a cut edge says of the print beside it holds for the others
    so far only. Differences of neighbours leave out what the scanner does over the bed.
    """
    ordered = sorted(
        (site.place.at_mm[1], site.place.at_mm[0], sfr50)
        for site in printed
        if (sfr50 := site.sfr50_cy_mm) is not None
    )
    logs = np.log([sfr50 for _, _, sfr50 in ordered])
    if len(logs) < 3:
        return 0.0
    return float(np.sqrt(np.mean(np.diff(logs) ** 2) / 2))


_Response = tuple[Floats, Floats]  # cy/mm, share of contrast kept


def _kept(
    cut: Site, of_cut: Behind, printed: Sequence[Site]
) -> tuple[_Response, _Response | None] | None:
    """What the print near a cut edge keeps at most and at least; None without print near by."""
    x, y = cut.place.at_mm
    near = [
        site
        for site in printed
        if np.hypot(site.place.at_mm[0] - x, site.place.at_mm[1] - y) < ALIKE_MM
    ]
    if not near:
        return None
    ends = [cut.last_cy_mm(of_cut.least), *(site.last_cy_mm(site.sfr) for site in near)]
    frequency = np.linspace(0, min(ends), 201)
    seen = np.median([site.at(frequency, site.sfr) for site in near], axis=0)
    most = np.minimum(seen / cut.at(frequency, of_cut.least), 1.0)
    if of_cut.most is None:
        return (frequency, most), None
    return (frequency, most), (frequency, np.minimum(seen / cut.at(frequency, of_cut.most), 1.0))


def _through_print(
    site: Site,
    why: Reason | None,
    by_most: Sequence[_Response],
    by_least: Sequence[_Response],
    unlike: float,
) -> Behind:
    """A printed edge's bounds with what its print keeps divided out."""
    frequency = site.sfr.frequency / site.place.mm_per_px

    def without(responses: Sequence[_Response]) -> EdgeSfr:
        kept = np.median([np.interp(frequency, *response) for response in responses], axis=0)
        return divide(site.sfr, kept).with_crossings(lambda each: each.less_certain(unlike))

    if not by_least:
        return Behind(without(by_most), None, why)
    return Behind(without(by_most), without(by_least), BESIDE_CUT)
