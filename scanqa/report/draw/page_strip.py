"""The page beside the spine: grey as bright as it was measured, with the fall drawn over it."""

from __future__ import annotations

import numpy as np

from scanqa.report.draw.svg import drawing, element, line, rect, short, text
from scanqa.report.view import SpineStrip

WIDTH, HEIGHT = 344.0, 120.0
LEFT, TOP = 30.0, 20.0
PAPER_L = 94.0  # how bright the page is drawn where nothing is lost
TICK_MM = 5.0


def spine_strip(picture: SpineStrip) -> str:
    """The picture; the spine is at the left."""
    x_mm, drop = np.asarray(picture.curve.x), np.asarray(picture.curve.y)
    reach = float(x_mm.max())
    deepest = max(float(drop.max()), 1.0)

    def x(mm: float) -> float:
        return LEFT + mm / reach * (WIDTH - LEFT - 10)

    def y(delta: float) -> float:
        return TOP + 8 + max(delta, 0.0) / deepest * (HEIGHT - 16)

    edges = [*((x_mm[1:] + x_mm[:-1]) / 2), reach]
    parts, start = [], 0.0
    for end, delta in zip(edges, drop, strict=True):
        level = round(255 * _light(PAPER_L - float(delta)))
        parts.append(
            element("rect", x=x(start), y=TOP, width=x(float(end)) - x(start) + 0.4, height=HEIGHT,
                    fill=f"rgb({level},{level},{level})")
        )  # fmt: skip
        start = float(end)
    points = "L".join(
        f"{short(x(float(a)))} {short(y(float(b)))}" for a, b in zip(x_mm, drop, strict=True)
    )
    parts += [
        element("path", d=f"M{points}", class_="fall-under"),
        element("path", d=f"M{points}", class_="fall"),
        rect(LEFT, TOP, WIDTH - LEFT - 10, HEIGHT, "frame"),
    ]
    for at, (mm, words) in enumerate(picture.marks):
        if mm <= reach:
            parts.append(line(x(mm), TOP, x(mm), TOP + HEIGHT, "cut"))
            name = words.partition(":")[0]
            low = TOP + HEIGHT - 10 - 16 * at
            parts.append(text(name, x(mm) + 4, low, class_="mark halo"))
    for tick in np.arange(0, reach + 0.1, TICK_MM):
        at_px = x(float(tick))
        parts.append(line(at_px, TOP + HEIGHT, at_px, TOP + HEIGHT + 4, "axis"))
        below = TOP + HEIGHT + 16
        parts.append(text(f"{tick:g}", at_px, below, text_anchor="middle", class_="note"))
    parts.append(
        text(picture.x_label, WIDTH / 2, TOP + HEIGHT + 32, text_anchor="middle", class_="note")
    )
    return drawing(WIDTH, TOP + HEIGHT + 38, *parts)


def _light(lightness: float) -> float:
    """The screen's share of full scale for an L* (CIE; sRGB, IEC 61966-2-1)."""
    f = (lightness + 16) / 116
    luminance = f**3 if f > 6 / 29 else 3 * (6 / 29) ** 2 * (f - 4 / 29)
    luminance = min(max(luminance, 0.0), 1.0)
    if luminance <= 0.0031308:
        return 12.92 * luminance
    return float(1.055 * luminance ** (1 / 2.4) - 0.055)
