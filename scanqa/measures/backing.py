"""How much the back of a page shows through, from the back-print sheet on a backing.

The back carries black blocks and open ones like a chequerboard; seen from the front, show-through
is ``100 (1 - light over black print / light over open paper)``, each black block against the mean
of the open ones on both its sides, so that uneven light cancels; median over the blocks.

The scan under black card hides print that the scan under a white lid shows, and makes the paper
itself darker: ``backing.paper`` says by how much. The lower of two scans by paper lightness is
called the darker backing. Related to the opacity of paper, 100 R0/R∞ (ISO 2471), but seen by this
scanner's light and under its lid.

Fails: no back-print scan with its sheet located; blocks out of the image.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from scanqa.catalogue.sizes import SAME_BACKING_L
from scanqa.model import (
    Floats,
    Measurement,
    Patch,
    Placement,
    Reason,
    Results,
    Told,
    not_measurable,
    of_role,
)
from scanqa.numeric.lightness import lstar
from scanqa.numeric.scatter import median_error
from scanqa.reading.patches import patch_light

NEIGHBOUR_SHARE = 1.2  # two sides are as far away as each other, but for this
MIN_PAIRS = 3


def measure(scans: Sequence[Placement], told: Told) -> Results:
    """Show-through and lightness of the paper for each back-print scan.

    Parameters
    ----------
    scans : sequence of Placement
        Located back-print sheets count, on one or more backings.
    told : Told
        Not needed.
    """
    sheets = of_role(scans, "back-print")
    if not sheets:
        why = "no back-print scan: print that sheet on both sides and scan it under lid and card"
        return Results(tuple(_missing(Reason("no-scan", why), "")))
    read = [(sheet.scan.name, _read(sheet)) for sheet in sheets]
    papers = [blocks.paper for _, blocks in read if isinstance(blocks, _Blocks)]
    return Results(tuple(m for name, blocks in read for m in _of_scan(name, blocks, papers)))


def _missing(why: Reason, scan: str) -> Iterator[Measurement]:
    for name in ("backing.show_through", "backing.paper"):
        yield not_measurable(name, why, scan)


@dataclass(frozen=True, slots=True, eq=False)
class _Blocks:
    """Show-through of each black block, %, and L* of the open ones."""

    contrasts: Floats
    open_lightness: Floats

    @property
    def paper(self) -> float:
        return float(np.median(self.open_lightness))


def _read(placement: Placement) -> _Blocks | Reason:
    if placement.piece is None or placement.to_px is None:
        return Reason("not-found", "the back-print sheet was not located")
    light = {
        patch: found.light
        for patch in placement.piece.back_patches
        if (found := patch_light(placement, patch.box_mm, rim_mm=0.0)) is not None
    }
    bare = [patch for patch in light if patch.cover == 0.0]
    contrasts = []
    for patch in light:
        beside = [light[other] for other in _neighbours(patch, bare)]
        if patch.cover == 1.0 and beside:
            contrasts.append(100 * (1 - light[patch] / float(np.mean(beside))))
    if len(contrasts) < MIN_PAIRS or min(light.values()) <= 0:
        words = f"only {len(contrasts)} blocks of back print lie whole in the image"
        return Reason("too-few", words)
    return _Blocks(np.array(contrasts), np.array([float(lstar(light[patch])) for patch in bare]))


def _neighbours(patch: Patch, others: Sequence[Patch]) -> list[Patch]:
    """The nearest of the others on two opposite sides, along one axis or both."""
    near: list[Patch] = []
    for axis in (0, 1):
        aligned = [o for o in others if abs(_centre(o)[1 - axis] - _centre(patch)[1 - axis]) < 1.0]
        away = {o: _centre(o)[axis] - _centre(patch)[axis] for o in aligned}
        before = max((o for o in aligned if away[o] < 0), key=lambda o: away[o], default=None)
        after = min((o for o in aligned if away[o] > 0), key=lambda o: away[o], default=None)
        if before is None or after is None:
            continue
        ratio = -away[before] / away[after]
        if 1 / NEIGHBOUR_SHARE < ratio < NEIGHBOUR_SHARE:
            near += [before, after]
    return near


def _centre(patch: Patch) -> tuple[float, float]:
    left, top, right, bottom = patch.box_mm
    return (left + right) / 2, (top + bottom) / 2


def _of_scan(name: str, blocks: _Blocks | Reason, papers: Sequence[float]) -> Iterator[Measurement]:
    if isinstance(blocks, Reason):
        yield from _missing(blocks, name)
        return
    words = ""
    if max(papers) - min(papers) > SAME_BACKING_L:
        lighter = blocks.paper > (max(papers) + min(papers)) / 2
        words = "on the lighter backing" if lighter else "on the darker backing"
    show = float(np.median(blocks.contrasts))
    error = float(median_error(blocks.contrasts))
    yield Measurement("backing.show_through", show, error, reason=words, scan=name)
    paper_error = float(median_error(blocks.open_lightness))
    yield Measurement("backing.paper", blocks.paper, paper_error, reason=words, scan=name)
