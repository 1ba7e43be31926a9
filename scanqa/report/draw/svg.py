"""SVG elements as text: numbers short, words escaped, the same bytes each time."""

from __future__ import annotations

from html import escape

from scanqa.words.numbers import plain


def element(name: str, *inside: str, **attributes: str | float | None) -> str:
    """An element; an attribute's underscores become dashes, a last one is dropped (``class_``)."""
    given = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{_value(value)}"'
        for key, value in attributes.items()
        if value is not None
    )
    return f"<{name}{given}>{''.join(inside)}</{name}>" if inside else f"<{name}{given}/>"


def text(words: str, x: float, y: float, **attributes: str | float | None) -> str:
    """Words at a place."""
    return element("text", escape(plain(words)), x=x, y=y, **attributes)


def rect(x: float, y: float, width: float, height: float, class_: str) -> str:
    """A rectangle; nothing of a negative size."""
    return element("rect", x=x, y=y, width=max(width, 0.0), height=max(height, 0.0), class_=class_)


def line(x1: float, y1: float, x2: float, y2: float, class_: str) -> str:
    """A straight line."""
    return element("path", d=f"M{short(x1)} {short(y1)}L{short(x2)} {short(y2)}", class_=class_)


def drawing(width: float, height: float, *inside: str, class_: str = "drawing") -> str:
    """A whole picture of this size in CSS pixels; its words stand in the label around it."""
    return (
        f'<svg class="{class_}" viewBox="0 0 {short(width)} {short(height)}" '
        f'style="width:{short(width)}px" aria-hidden="true" focusable="false">'
        f"{''.join(inside)}</svg>"
    )


def short(value: float) -> str:
    """A number with at most two decimals."""
    words = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if words in ("-0", "") else words


def _value(value: str | float) -> str:
    return escape(value) if isinstance(value, str) else short(value)
