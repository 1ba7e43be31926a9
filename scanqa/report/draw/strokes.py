"""How much contrast is left of strokes, from fine to broad, with zones of what that means."""

from __future__ import annotations

import numpy as np

from scanqa.report.draw.svg import drawing, element, line, rect, short, text
from scanqa.report.view import Strokes

WIDTH, HEIGHT = 344.0, 170.0
LEFT, TOP, BELOW = 46.0, 22.0, 40.0
FINEST_MM, BROADEST_MM = 0.03, 0.6  # strokes of print lie between
TICKS_MM = (0.03, 0.05, 0.1, 0.2, 0.3, 0.6)
CURVES = ("across", "travel")


def strokes(picture: Strokes) -> str:
    """The picture; widths are on a scale of equal ratios."""

    def x(mm: float) -> float:
        share = np.log(max(mm, FINEST_MM) / FINEST_MM) / np.log(BROADEST_MM / FINEST_MM)
        return LEFT + float(np.clip(share, 0, 1)) * (WIDTH - LEFT - 12)

    def y(share: float) -> float:
        return TOP + (1 - min(max(share, 0.0), 1.1) / 1.1) * HEIGHT

    parts = []
    edges = [mm for mm, _ in picture.zones]
    for at, (mm, word) in enumerate(picture.zones):
        right = edges[at - 1] if at else BROADEST_MM
        parts.append(rect(x(mm), TOP, x(right) - x(mm), HEIGHT, f"zone zone-{min(at, 3)}"))
        if x(right) - x(mm) > 6.2 * len(word):
            middle = (x(mm) + x(right)) / 2
            parts.append(text(word, middle, TOP - 6, text_anchor="middle", class_="note"))
    for share in (0.0, 0.5, 1.0):
        parts.append(line(LEFT, y(share), WIDTH - 12, y(share), "grid"))
        words = f"{share:.0%}"
        parts.append(text(words, LEFT - 5, y(share) + 4, text_anchor="end", class_="note"))
    for mm in TICKS_MM:
        parts.append(line(x(mm), TOP + HEIGHT, x(mm), TOP + HEIGHT + 4, "axis"))
        parts.append(text(f"{mm:g}", x(mm), TOP + HEIGHT + 17, text_anchor="middle", class_="note"))
    parts.append(
        text("width of a stroke, mm", WIDTH / 2, TOP + HEIGHT + 34, text_anchor="middle",
             class_="note")
    )  # fmt: skip
    for at, curve in enumerate(picture.curves):
        points = [
            f"{short(x(mm))} {short(y(float(left)))}"
            for mm, left in zip(curve.x, curve.y, strict=True)
            if FINEST_MM <= mm <= BROADEST_MM
        ]
        if points:
            parts.append(element("path", d="M" + "L".join(points), class_=f"curve curve-{at % 3}"))
    for at, curve in enumerate(picture.curves):
        top = TOP + HEIGHT - 14 * (len(picture.curves) - at)
        parts.append(line(WIDTH - 120, top, WIDTH - 96, top, f"curve curve-{at % 3}"))
        parts.append(text(curve.label, WIDTH - 90, top + 4, class_="note"))
    return drawing(WIDTH, TOP + HEIGHT + BELOW, *parts)
