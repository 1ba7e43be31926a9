"""An open book under made-up light: lines of word-like bars, a picture, a spine side."""

import numpy as np


def printed_page(shape, dpi, *, seed=3, margin_mm=12.0, picture=None, lines_along=1):
    """Reflectance factor of print (1 where bare): lines of bars of 4.2 mm pitch.

    `lines_along` 1: lines run along the columns axis (to the right); 0: down the image.
    `picture` (top, left, bottom, right) as shares of the page is dark.
    """
    rng = np.random.default_rng(seed)
    page = np.ones(shape)
    view = page if lines_along else page.T
    px = dpi / 25.4
    top = int(margin_mm * px)
    while top + 2.2 * px < view.shape[0] - margin_mm * px:
        left = margin_mm * px
        while left < view.shape[1] - margin_mm * px:
            word = rng.uniform(3, 12) * px
            letters = np.arange(int(left), min(int(left + word), view.shape[1]))
            strokes = letters[(letters / px % 1.4) < 0.35]
            view[top : top + int(2.2 * px), strokes] = 0.1
            view[top + int(1.1 * px), letters] = 0.1
            left += word + rng.uniform(1.2, 1.8) * px
        top += int(4.2 * px)
    if picture:
        top, left, bottom, right = (np.array(picture) * (shape * 2)).astype(int)
        page[top:bottom, left:right] *= 0.3
    return page
