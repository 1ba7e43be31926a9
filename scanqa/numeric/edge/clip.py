"""Whether an edge touches the end of the scale, and whether that bends its profile.

White paper often sits just at the top code. If what lies beyond the end of the scale is cut off,
the shoulder of the profile there is shorter than the foot at the other side, and the response is
too high; if nothing is cut off (paper exactly at the top, but for noise), foot and shoulder mirror
each other. The distances from the middle of the edge to 10 % and to 90 % tell: paper 1 % over the
top of the scale makes them differ by 2.3 %, 2 % over by 4.6 % (normal distribution, closed form).
A profile that overshoots is never whole: its overshoot is what is cut off.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from scanqa.model import Floats, Reason
from scanqa.numeric.edge.fit import MAX_TOP_SHARE, EdgeFit, Patch

MOST_UNEQUAL = 0.02  # of foot and shoulder: up to about 1 % of the light is cut off, then
DOUBT = 0.01  # SFR50 reads up to 2 % high (simulated, several blurs): standard uncertainty
UNDERSHOOT = 0.015  # of the contrast; more is sharpening
NEIGHBOURS = 40  # pixels in a running mean of the profile: noise of 2 % then costs 0.3 %
NOTE = Reason(
    "clipped",
    "the white side is at the top of the scale, but its shoulder is whole: up to 2 % too high",
)


def clipped(patch: Patch, fit: EdgeFit) -> tuple[Reason | None, Reason | None]:
    """Why the edge cannot be measured, and what to say about it if it can."""
    distance = fit.distance(patch.x, patch.t)
    at_top = _stuck(patch, distance > 0, patch.light >= 1 - 1e-6)
    at_bottom = _stuck(patch, distance < 0, patch.light <= 1e-9)
    if at_bottom > MAX_TOP_SHARE:
        return _cut_off("dark side is at the bottom", at_bottom), None
    if at_top <= MAX_TOP_SHARE:
        return None, None
    if _whole(distance[patch.use], _relative(patch, fit)):
        return None, NOTE
    return _cut_off("white side is at the top", at_top), None


def _stuck(patch: Patch, side: NDArray[np.bool_], at_end: NDArray[np.bool_]) -> float:
    here = patch.use & side
    return float(at_end[here].mean()) if here.any() else 0.0


def _cut_off(where: str, share: float) -> Reason:
    return Reason(
        "clipped", f"the {where} of the scale (clipped) in {100 * share:.0f} % of its pixels"
    )


def _relative(patch: Patch, fit: EdgeFit) -> Floats:
    """Light of the used pixels, 0 on the dark side and 1 at the top of the scale."""
    dark = float(fit.dark[0])
    return np.asarray((patch.light[patch.use] - dark) / (1 - dark), np.float64)


def _whole(distance: Floats, light: Floats) -> bool:
    """Whether the shoulder mirrors the foot, and nothing undershoots."""
    order = np.argsort(distance)
    if order.size < 4 * NEIGHBOURS:
        return False
    kernel = np.full(NEIGHBOURS, 1 / NEIGHBOURS)
    at = np.convolve(distance[order], kernel, "valid")
    profile = np.convolve(light[order], kernel, "valid")
    if profile.min() < -UNDERSHOOT:
        return False
    rising = np.maximum.accumulate(profile)
    low, middle, high = np.interp((0.1, 0.5, 0.9), rising, at)
    foot, shoulder = middle - low, high - middle
    return bool(abs(shoulder - foot) < MOST_UNEQUAL * foot)
