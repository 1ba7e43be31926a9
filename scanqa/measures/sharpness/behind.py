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
from dataclasses import dataclass, replace

import numpy as np

from scanqa.catalogue import PaperKind
from scanqa.catalogue.paper_spread import KP_MM, kept_by_paper
from scanqa.measures.sharpness.print_limit import Limit
from scanqa.measures.sharpness.site import Site
from scanqa.model import LIKE_DPI, Floats, Reason
from scanqa.numeric.edge.sfr import Crossing, EdgeSfr, divide

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
    """What the scanner's response can be behind one measured site.

    Raises
    ------
    TypeError
        If the site was not measured.
    """
    sfr = site.found
    if isinstance(sfr, Reason):
        raise TypeError("the site was not measured")
    if site.divided:
        return Behind(sfr, sfr, DIVIDED)
    paper = papers.card if site.kind == "card" else papers.sheet
    sfr50 = site.sfr50_cy_mm
    rough = limit.exceeded(sfr50) if sfr50 is not None else None
    if site.kind == "found":
        return Behind(sfr, None, CHANCE)
    if site.kind == "printed":
        least = sfr if paper is None else _without_paper(site, sfr, KP_MM[paper][0], "ink")
        return Behind(least, None, rough or UNTOLD)
    low, high = KP_MM[paper]
    least = sfr if paper is None else _without_paper(site, sfr, low, "cut")
    if rough is not None:
        return Behind(least, None, rough)
    most = _without_paper(site, sfr, high, "cut")
    return Behind(least, _lifted_by(most, limit.loss(sfr50)), IN_PAPER)


def _without_paper(site: Site, sfr: EdgeSfr, kp_mm: float, edge: str) -> EdgeSfr:
    frequency = sfr.frequency / site.place.mm_per_px
    kept = kept_by_paper(frequency, kp_mm, "ink" if edge == "ink" else "cut")
    return divide(sfr, kept)


def _lifted_by(sfr: EdgeSfr, loss: float) -> EdgeSfr:
    """A response with its crossings at higher frequencies by a share."""
    return replace(
        sfr,
        sfr50=_moved(sfr.sfr50, 1 / (1 - loss)),
        sfr10=_moved(sfr.sfr10, 1 / (1 - loss)),
    )


def _moved(crossing: Crossing | None, factor: float) -> Crossing | None:
    if crossing is None:
        return None
    return Crossing(crossing.frequency * factor, crossing.uncertainty * factor)


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
            lifted_site = _through_print(site, known[site], by_most, by_least)
            made[site] = replace(
                lifted_site,
                least=_scattered(lifted_site.least, unlike),
                most=lifted_site.most and _scattered(lifted_site.most, unlike),
            )
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


def _scattered(sfr: EdgeSfr, share: float) -> EdgeSfr:
    """A response whose crossings are less certain by a share."""
    return replace(sfr, sfr50=_doubted(sfr.sfr50, share), sfr10=_doubted(sfr.sfr10, share))


def _doubted(crossing: Crossing | None, share: float) -> Crossing | None:
    if crossing is None:
        return None
    doubt = float(np.hypot(crossing.uncertainty, share * crossing.frequency))
    return Crossing(crossing.frequency, doubt)


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
    frequency = np.linspace(0, min(_last(cut, of_cut.least), *(_last_of(s) for s in near)), 201)
    seen = np.median([_at(site, site.found, frequency) for site in near], axis=0)
    most = np.minimum(seen / _at(cut, of_cut.least, frequency), 1.0)
    if of_cut.most is None:
        return (frequency, most), None
    share = seen / np.maximum(_at(cut, of_cut.most, frequency), 1e-6)
    return (frequency, most), (frequency, np.minimum(share, 1.0))


def _last(site: Site, sfr: EdgeSfr) -> float:
    return float(sfr.frequency[-1]) / site.place.mm_per_px


def _last_of(site: Site) -> float:
    assert isinstance(site.found, EdgeSfr)
    return _last(site, site.found)


def _at(site: Site, sfr: EdgeSfr | Reason, frequency: Floats) -> Floats:
    assert isinstance(sfr, EdgeSfr)
    return np.interp(frequency, sfr.frequency / site.place.mm_per_px, np.maximum(sfr.sfr, 1e-6))


def _through_print(
    site: Site, of_site: Behind, by_most: Sequence[_Response], by_least: Sequence[_Response]
) -> Behind:
    """A printed edge's bounds with what its print keeps divided out."""
    assert isinstance(site.found, EdgeSfr)
    least = divide(site.found, _median_at(site, site.found, by_most))
    if not by_least:
        return Behind(least, None, of_site.why)
    most = divide(site.found, _median_at(site, site.found, by_least))
    return Behind(least, most, BESIDE_CUT)


def _median_at(site: Site, sfr: EdgeSfr, responses: Sequence[_Response]) -> Floats:
    frequency = sfr.frequency / site.place.mm_per_px
    return np.median([np.interp(frequency, *each) for each in responses], axis=0)
