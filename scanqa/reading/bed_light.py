"""Light of a whole scan by its preview, made once for all that asks in a row."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from scanqa.model import Floats, Linear, Overview, Placement
from scanqa.numeric.lightness import luma
from scanqa.numeric.medians import medians
from scanqa.numeric.spread import sigma_about_zero

KEPT = 2  # two blanks; each is some megabytes, and families go through their scans in turn
CUT_OFF = 3.0  # scatters: specks and print must not outshout the rest


def bed_luma(placement: Placement) -> Floats:
    """Luma of the preview in linear light, (rows, columns); not to be written to."""
    return luma_of_preview(placement.overview, placement.light)


@lru_cache(maxsize=KEPT)
def luma_of_preview(overview: Overview, light: Linear) -> Floats:
    """The same of an overview and a tone curve."""
    found = luma(light.light(overview.preview))
    found.flags.writeable = False
    return found


def clouds(level: Floats, background_blocks: float, darkest: float) -> Floats:
    """Logarithm of light over the bed, (rows, columns), rid of what belongs to the device.

    Parameters
    ----------
    background_blocks : float
        Sigma of the shading that is taken off.
    darkest : float
        Light: what is darker is taken for so much.
    """
    from scipy.ndimage import gaussian_filter

    log = np.log(np.maximum(level, darkest))
    log -= gaussian_filter(log, background_blocks)
    log -= medians(log, 0)
    log -= medians(log)[:, np.newaxis]
    limit = CUT_OFF * max(float(sigma_about_zero(log.ravel())), 1e-9)
    return np.asarray(np.clip(log, -limit, limit))
