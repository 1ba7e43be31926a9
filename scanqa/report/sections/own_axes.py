"""Pictures that say at once what a curve over axes has to be read for: the spine, strokes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from scanqa.model import Curve, Evidence, Legibility
from scanqa.report.view import SpineStrip, Strokes
from scanqa.words.numbers import joined, number, sentence_case

SPINE_MM = 25.0  # of the page, beside the spine
MOST_RESPONSES = 2  # curves of strokes: one for each way


# --------------------------------------------------------------------------------- spine


def spine_strip(evidence: Sequence[Evidence]) -> Iterator[SpineStrip]:
    """The page at the spine as it comes out: as bright as was measured, its fall drawn over it."""
    found = [e for e in evidence if e.explains == "gutter" and e.lines_mm and e.curves]
    for e in found[:1]:
        x, y = (np.asarray(v, np.float64) for v in (e.curves[0].x, e.curves[0].y))
        keep = np.isfinite(x) & np.isfinite(y) & (x <= SPINE_MM)
        if not keep.any():
            continue
        curve = Curve(e.curves[0].label, x[keep], y[keep])
        marks = tuple((at, words) for at, words in sorted(e.lines_mm))
        said = joined([words for _, words in marks])
        yield SpineStrip(
            "The page beside the spine",
            f"Grey as measured; the line is how much darker (L*) it is than further in. {said}.",
            f"A strip of the page beside the spine, {number(float(y[keep][0]), 1)} L* darker at "
            f"its edge than further in; {said}.",
            curve,
            marks,
            sentence_case(e.x_label),
        )


# ------------------------------------------------------------------------------- strokes


def stroke_pictures(
    evidence: Sequence[Evidence], legibility: Sequence[Legibility]
) -> Iterator[Strokes]:
    """Contrast left of a stroke against its width, with our zones of legibility."""
    found = [e for e in evidence if e.shows == "response" and e.curves]
    if not found:
        return
    curves = tuple(_of_strokes(e) for e in found[:MOST_RESPONSES])
    finest = max(legibility, key=lambda each: each.dpi, default=None)
    sizes = sorted(
        ((s.size_mm, s.level) for s in finest.sizes if s.what == "stroke") if finest else (),
        reverse=True,
    )
    zones = (*sizes, (0.0, "lost")) if sizes else ()
    said = [f"{word} from {number(mm, 2)} mm" for mm, word in sizes]
    half = [
        f"{curve.label}: half the contrast is left at {number(_width_at(curve, 0.5), 2)} mm"
        for curve in curves
    ]
    yield Strokes(
        "Contrast left of a stroke, by its width",
        "Strokes of print are 0.1 to 0.5 mm wide. Shades: our zones of legibility"
        + (f" ({joined(said)})." if said else "."),
        f"Contrast left of a stroke against its width. {'; '.join(half)}. Zones: {joined(said)}.",
        curves,
        zones,
    )


def _of_strokes(e: Evidence) -> Curve:
    """A response against frequency as one against the width of a stroke: half a period."""
    luma = e.curves[len(e.curves) // 2]  # the best, the median, the worst place
    frequency, left = np.asarray(luma.x, np.float64), np.asarray(luma.y, np.float64)
    keep = (frequency > 0) & np.isfinite(left)
    order = np.argsort(0.5 / frequency[keep])
    way = "across" if "across" in e.title else "along travel"
    return Curve(way, (0.5 / frequency[keep])[order], left[keep][order])


def _width_at(curve: Curve, share: float) -> float:
    """The finest width at which this share of contrast is left."""
    above = curve.x[curve.y >= share]
    return float(above.min()) if above.size else float(curve.x.max())
