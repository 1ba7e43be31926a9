"""An edge card by its look: one light, plain, straight-sided piece, turned a little, on black.

A leaf of a book or a letter on an open lid looks the same but for its size. Nobody pressed its
edges to the glass, so that what they lack in sharpness may be theirs: they are *found* ones.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from scanqa.model import Floats
from scanqa.numeric.blocks import block_means

PER = 3  # pixels in one both ways: fine enough for a shape
DARK, DARK_SHARE = 0.15, 0.5  # light of black card, and how much of the image it is
LIGHT = 0.4  # of the card
NEARLY_ALL = 0.9  # of all that is light is one piece
SOLID = 0.96  # of its convex hull: no hollows
TURNED = (0.5, 0.96)  # area over that of the upright box about it; upright is 1, by 2 degrees 0.94
PLAIN = 0.1  # standard deviation inside, of its light
MOST_MM = 120.0  # from corner to corner: the card that is asked for has sides of 5 to 8 cm
RIM = 3  # pixels at its border that are neither


def is_edge_card(grey: Floats, px_per_mm: float) -> bool:
    """Whether light is that of an edge card on black.

    Parameters
    ----------
    grey : (rows, columns)
        Preview in linear light.
    px_per_mm : float
        Its pixels in a millimetre.
    """
    few = block_means(grey, PER)
    light = few > LIGHT
    if (few < DARK).mean() < DARK_SHARE or not light.any():
        return False
    parts, count = ndimage.label(light)
    sizes = ndimage.sum_labels(light, parts, np.arange(1, count + 1))
    largest = int(np.argmax(sizes))
    if sizes[largest] < NEARLY_ALL * light.sum():
        return False
    piece = parts == largest + 1
    inside = ndimage.binary_erosion(ndimage.binary_fill_holes(piece), iterations=RIM)
    if not inside.any() or few[inside].std() > PLAIN * few[inside].mean():
        return False
    from skimage.measure import regionprops  # late: it takes a quarter of a second

    (region,) = regionprops(piece.astype(np.uint8))  # type: ignore[no-untyped-call]
    at_border = region.bbox[0] == 0 or region.bbox[1] == 0
    at_border |= region.bbox[2] == piece.shape[0] or region.bbox[3] == piece.shape[1]
    turned = TURNED[0] < region.extent < TURNED[1]
    small = PER * region.feret_diameter_max <= MOST_MM * px_per_mm
    return bool(turned and small and region.solidity > SOLID and not at_border)
