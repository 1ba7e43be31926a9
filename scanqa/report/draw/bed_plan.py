"""The glass seen from above, to scale, with every finding at its place and its number."""

from __future__ import annotations

from collections.abc import Iterator

from scanqa.catalogue import Side
from scanqa.report.draw.svg import drawing, element, line, rect, short, text
from scanqa.report.view import Glass, Place

MOST_WIDTH, MOST_HEIGHT = 262.0, 330.0  # px of the bed's picture
AROUND = 34.0  # px, for numbers, the spine's words and the scale
BADGE = 8.5
BEYOND = 6.0  # px outside the glass, of the line for the spine
LEAST_STRIP_PX = 3.0
SCALES_MM = (100.0, 50.0, 20.0, 10.0)


def glass(picture: Glass) -> str:
    """The picture; which way is up is that of the image as delivered."""
    width_mm, height_mm = picture.bed_mm
    scale = min(MOST_WIDTH / width_mm, MOST_HEIGHT / height_mm)
    wide, high = width_mm * scale, height_mm * scale
    parts = [rect(AROUND, AROUND, wide, high, "glass"), *_papers(picture, scale, wide, high)]
    badges: list[tuple[float, float, str]] = []
    for place in picture.places:
        parts.append(_shape(place, scale, wide, high))
        badges.append((*_badge_at(place, scale, wide, high), place.mark))
    if picture.spine is not None:
        parts += _spine(picture.spine, wide, high)
    parts += _scale_bar(width_mm, scale, high)
    parts += [_badge(x, y, mark) for x, y, mark in _apart(badges)]
    return drawing(wide + 2 * AROUND, high + 2 * AROUND, *parts, class_="plan")


def _papers(picture: Glass, scale: float, wide: float, high: float) -> Iterator[str]:
    """Borders of paper, cut off at the glass: an ``<svg>`` inside shows nothing beyond itself."""
    for border in picture.papers:
        corners = "L".join(f"{short(x * scale)} {short(y * scale)}" for x, y in border)
        path = element("path", d=f"M{corners}Z", class_="border")
        yield element("svg", path, x=AROUND, y=AROUND, width=wide, height=high)


def _shape(place: Place, scale: float, wide: float, high: float) -> str:
    left, top, right, bottom = (value * scale + AROUND for value in place.box_mm)
    sure = "" if place.sure else " unsure"
    match place.kind:
        case "line":
            x, y = (left + right) / 2, (top + bottom) / 2
            upright = bottom - top >= right - left
            ends = (x, top, x, bottom) if upright else (left, y, right, y)
            return line(*ends, f"streak {place.polarity}{sure}")
        case "spot":
            radius = max((right - left) / 2, (bottom - top) / 2, 2.0)
            middle = {"cx": (left + right) / 2, "cy": (top + bottom) / 2}
            return element("circle", **middle, r=radius + 2.5, class_=f"ring{sure}") + element(
                "circle", **middle, r=radius / 1.5, class_="dot"
            )
        case "corner":
            across, down = (right - left) / 2, (bottom - top) / 2
            return element(
                "ellipse",
                cx=(left + right) / 2,
                cy=(top + bottom) / 2,
                rx=across,
                ry=down,
                class_=f"soft{sure}",
            )
        case "bands":
            step = max((bottom - top) / 12, 4.0)
            rows = range(int((bottom - top) / step))
            paths = "".join(
                f"M{short(left)} {short(top + (n + 0.5) * step)}H{short(right)}" for n in rows
            )
            return element("path", d=paths, class_=f"bands{sure}")
        case "strip" | "outside":
            box = _at_least(left, top, right, bottom, wide, high, inside=place.kind == "strip")
            return rect(*box, f"{place.kind}-shade{sure}")


def _at_least(
    left: float, top: float, right: float, bottom: float, wide: float, high: float, *, inside: bool
) -> tuple[float, float, float, float]:
    """A strip as x, y, width, height, wide enough to be seen; it grows into its own side."""
    across, down = right - left, bottom - top
    if across < LEAST_STRIP_PX <= down:
        at_left = left < AROUND + wide / 2
        left = left if at_left == inside else right - LEAST_STRIP_PX
        across = LEAST_STRIP_PX
    elif down < LEAST_STRIP_PX:
        at_top = top < AROUND + high / 2
        top = top if at_top == inside else bottom - LEAST_STRIP_PX
        down = LEAST_STRIP_PX
    return left, top, across, down


def _badge_at(place: Place, scale: float, wide: float, high: float) -> tuple[float, float]:
    """Where the number stands: above a line or a strip, beside a spot, in the middle else."""
    left, top, right, bottom = (value * scale + AROUND for value in place.box_mm)
    x, y = (left + right) / 2, (top + bottom) / 2
    match place.kind:
        case "line":
            upright = bottom - top >= right - left
            return (x, AROUND - 2 - BADGE) if upright else (AROUND + wide + 2 + BADGE, y)
        case "spot":
            return x + (BADGE + 5) * (-1 if x > AROUND + wide - 30 else 1), y - BADGE - 3
        case "strip" | "outside":
            if bottom - top >= right - left:
                at_left = x < AROUND + wide / 2
                return (AROUND - 2 - BADGE if at_left else AROUND + wide + 2 + BADGE), y + (
                    0 if place.kind == "strip" else 40
                )
            at_top = y < AROUND + high / 2
            return x, (AROUND - 2 - BADGE if at_top else AROUND + high + 2 + BADGE)
        case _:
            return x, y


def _apart(badges: list[tuple[float, float, str]]) -> Iterator[tuple[float, float, str]]:
    """Numbers moved along until none covers another; the same number is not said twice nearby."""
    taken: list[tuple[float, float]] = []
    for x, y, mark in badges:
        step = 0
        at = (x, y)
        while any(abs(at[0] - a) < 2 * BADGE and abs(at[1] - b) < 2 * BADGE for a, b in taken):
            step += 1
            sign = 1 if step % 2 else -1
            along = sign * ((step + 1) // 2) * 2 * BADGE
            at = (x + along, y) if y < AROUND or y > AROUND + 2000 else (x, y + along)
            if step > 40:
                break
        taken.append(at)
        yield at[0], at[1], mark


def _badge(x: float, y: float, mark: str) -> str:
    circle = element("circle", cx=x, cy=y, r=BADGE, class_="badge")
    return circle + text(mark, x, y + 4, text_anchor="middle", class_="mark")


def _spine(side: Side, wide: float, high: float) -> list[str]:
    near, far_x, far_y = AROUND - BEYOND, AROUND + wide + BEYOND, AROUND + high + BEYOND
    ends = {
        "left": (near, AROUND, near, AROUND + high),
        "right": (far_x, AROUND, far_x, AROUND + high),
        "top": (AROUND, near, AROUND + wide, near),
        "bottom": (AROUND, far_y, AROUND + wide, far_y),
    }
    x, y = {
        "left": (AROUND - 22, AROUND + 0.78 * high),
        "right": (AROUND + wide + 26, AROUND + 0.78 * high),
        "top": (AROUND + 0.78 * wide, AROUND - 18),
        "bottom": (AROUND + 0.4 * wide, AROUND + high + 14),
    }[side]
    turn = f"rotate(-90 {short(x)} {short(y)})" if side in ("left", "right") else None
    return [
        line(*ends[side], "spine"),
        text("spine side", x, y, text_anchor="middle", class_="note", transform=turn),
    ]


def _scale_bar(width_mm: float, scale: float, high: float) -> list[str]:
    length_mm = next((mm for mm in SCALES_MM if mm <= width_mm / 2), SCALES_MM[-1])
    x, y = AROUND, AROUND + high + 20
    long = length_mm * scale
    ends = "".join(f"M{short(at)} {short(y - 3)}v6" for at in (x, x + long))
    return [
        element("path", d=f"M{short(x)} {short(y)}h{short(long)}{ends}", class_="scale"),
        text(f"{length_mm:g} mm", x + long + 6, y + 4, class_="note"),
    ]
