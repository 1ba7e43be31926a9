"""Words for roles, directions and likelihoods, and the glossary."""

from __future__ import annotations

LIKELIHOODS = ((0.85, "very likely"), (0.5, "likely"), (0.15, "possible"), (0.0, "less likely"))


def likelihood(share: float) -> str:
    """Words for the probability of a cause: the weights behind it do not bear digits."""
    return next(words for least, words in LIKELIHOODS if share >= least)


DIRECTION_WORDS: dict[str, str] = {"across": "across", "travel": "along travel"}

ROLE_WORDS: dict[str, str] = {
    "blank": "plain white paper",
    "dark": "dark: black card or open lid",
    "bed-sheet": "bed sheet",
    "edge-strip": "edge strip",
    "gutter-ramp": "gutter ramp",
    "open-book": "open book",
    "back-print": "sheet printed on its back",
    "claim": "page at the highest dpi",
    "edge-card": "edge card: paper cut with a knife, on black card",
    "white-strip": "the strip to which the driver calibrates",
    "uncalibrated": "plain white paper, without the driver's calibration",
    "page": "page without a spine",
    "picture": "picture: anything else",
}

GLOSSARY: tuple[tuple[str, str], ...] = (
    (
        "±",
        "Standard uncertainty: about two times in three the truth lies within it, and nineteen "
        "times in twenty within twice as much.",
    ),
    (
        "at least",
        "A lower bound: the scanner may be better, but the sheet, the set-up or the "
        "file was the limit. The reason stands beside it. Bounds are rounded outward.",
    ),
    ("not measurable", "There is no value, and the reason is given. It is never a zero."),
    (
        "across, travel",
        "Across is along the sensor line (left to right in the image), travel is "
        "along the way of the carriage (top to bottom).",
    ),
    (
        "place",
        "Millimetres from the top-left corner of the image as delivered: x to the right, y down.",
    ),
    (
        "median",
        "The middle one of the values from all places, so that a single bad place does "
        "not hide or spoil the rest.",
    ),
    ("dpi", "Samples per inch as delivered. Effective dpi is what the optics support."),
    (
        "cy/mm",
        "Cycles (a dark and a light line) per millimetre. 300 dpi can hold at most 5.9, "
        "600 dpi 11.8.",
    ),
    (
        "SFR",
        "Spatial frequency response: the share of contrast left at a fineness of detail, "
        "1 being all of it (ISO 12233, slanted edge).",
    ),
    (
        "L*, ΔL*",
        "Lightness as the eye steps it, 0 black to 100 white (CIE), and a difference of "
        "it. The top of the scanner's scale counts as white.",
    ),
    ("luma", "Red, green and blue light summed in the eye's proportions."),
    (
        "printed, cut, card, found",
        "A printed edge is as blurred as the printer made it; a cut one (a window of the sheet) or "
        "that of an edge card only as far as light spreads in its paper; a found one is any "
        "clean border that lay there by chance.",
    ),
    (
        "this sheet's scan",
        "What the scan of the printed sheet shows: scanner, print and paper together. The scanner "
        "alone is at least as sharp; an edge card of photo paper says within some per cent how "
        "sharp.",
    ),
)
