"""How much of the paper in a scan lies on the plateau at the top of the scale."""

from __future__ import annotations

import numpy as np

from scanqa.model import Placement, Reason
from scanqa.reading.bed_light import bed_luma

PAPER = 0.5  # of the light of the lightest tenth: what is darker is print or no paper
SATURATED = 0.5  # share of them there, above which nothing can be said of lines and bands
MOST_CLIPPED = 0.02  # of the paper's samples, above which values that rest on them are bounds


def clipped_share(placement: Placement) -> float:
    """Share of the paper's samples at the top of the scale, in the channel that has most there."""
    overview = placement.overview
    if not overview.top_blocks.any():
        return 0.0
    light = bed_luma(placement)
    paper = light >= PAPER * np.percentile(light, 90)
    return float(overview.top_blocks[paper].mean()) if paper.any() else overview.top_share


def clipped(placement: Placement) -> Reason | None:
    """Why values that rest on the paper are not what they seem, None where they are."""
    share = clipped_share(placement)
    if share < MOST_CLIPPED:
        return None
    words = (
        f"{100 * share:.0f} % of the paper is at the top of the scale (clipped), which hides what "
        "is to be measured: lower the brightness and scan again"
    )
    return Reason("clipped", words)
