"""An image seen from one of its four sides: distance inwards along the second axis."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from scanqa.catalogue import Side
from scanqa.model import MM_PER_INCH, Floats


def from_side(image: NDArray[Any], side: Side) -> NDArray[Any]:
    """View of (rows, columns, …) as (along the side, inwards from the side, …).

    Along the side runs down for left and right, to the right for top and bottom. Column means
    (bands, columns, …) and row means (rows, bands, …) turn the same way.
    """
    turned = image if side in ("left", "right") else image.swapaxes(0, 1)
    return turned if side in ("left", "top") else turned[:, ::-1]


def inwards_dpi(dpi: tuple[float, float], side: Side) -> float:
    """The dpi of the axis that runs inwards from a side."""
    return dpi[0] if side in ("left", "right") else dpi[1]


def depths_mm(count: int, dpi: float) -> Floats:
    """Distance of pixel centres from the image's border, mm: half a pixel, then one more each."""
    return np.asarray((np.arange(count) + 0.5) * MM_PER_INCH / dpi, np.float64)
