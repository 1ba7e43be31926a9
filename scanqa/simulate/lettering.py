"""Words as outlines, so that they are area-averaged like everything else that is printed.

OpenCV's stroke letters are drawn large and traced; they stand in for any type face.
"""

from __future__ import annotations

import unicodedata
from functools import lru_cache
from typing import Literal

import numpy as np

from scanqa.model import Floats

_CAP_PX = 48  # height of a capital in the drawing that is traced
_CAP_SHARE = 0.72  # height of a capital in ems
_PLAIN = str.maketrans(
    {"–": "-", "—": "-", "×": "x", "’": "'", "‘": "'", "“": '"', "”": '"', "·": "-"}
)


@lru_cache(maxsize=512)
def lettering(
    words: str, size_mm: float, bold: bool, anchor: Literal["start", "middle", "end"]
) -> tuple[Floats, ...]:
    """Outlines of words on a baseline at y = 0, in mm, anchored at x = 0.

    Characters that the stroke letters lack are drawn as a question mark. Outer rings and holes
    run in opposite senses.
    """
    import cv2

    plain = unicodedata.normalize("NFKD", words.translate(_PLAIN))
    plain = "".join(c if c.isascii() else "" if unicodedata.combining(c) else "?" for c in plain)
    face = cv2.FONT_HERSHEY_TRIPLEX if bold else cv2.FONT_HERSHEY_COMPLEX
    thick = 1  # version 5 takes more for a heavier weight, version 4 for a broader pen
    scale = _CAP_PX / 21
    (width, height), below = cv2.getTextSize(plain, face, scale, thick)
    canvas = np.zeros((height + below + 40, width + 40), np.uint8)
    baseline = height + 20
    cv2.putText(canvas, plain, (20, baseline), face, scale, 255, thick, cv2.LINE_8)
    # A contour runs through the middles of the outermost pixels: give it the half pixel back.
    inked = cv2.dilate(canvas, np.ones((3, 3), np.uint8))
    rings, _ = cv2.findContours(inked, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_TC89_L1)
    unit = size_mm * _CAP_SHARE / _CAP_PX
    ink = np.flatnonzero(canvas.any(axis=0))
    if not ink.size:
        return ()
    first, last = int(ink[0]), int(ink[-1])
    zero = {"start": first, "middle": (first + last) / 2, "end": last}[anchor]
    return tuple(
        (ring[:, 0, :].astype(float) - np.array([zero, baseline])) * unit
        for ring in rings
        if len(ring) > 2
    )
