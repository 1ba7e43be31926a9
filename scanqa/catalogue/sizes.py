"""Sizes of what people lay on the glass, and the pace of steady work."""

from __future__ import annotations

FORMATS_MM = {  # words, width and height of what people lay on the glass
    "a4": ("an A4 sheet", 210.0, 297.0),  # ISO 216
    "a3": ("an A3 sheet", 297.0, 420.0),  # ISO 216
    "letter": ("a US Letter sheet", 215.9, 279.4),  # 8.5 × 11 in
    "sleeve": ("a 12-inch record sleeve", 315.0, 315.0),  # common practice, no source
}
PAGES_MM = {  # width and height of a page
    "a3": (297.0, 420.0),  # ISO 216
    "a4": (210.0, 297.0),
    "a5": (148.0, 210.0),
    "letter": (215.9, 279.4),  # 8.5 × 11 in
    "legal": (215.9, 355.6),  # 8.5 × 14 in
    "tabloid": (279.4, 431.8),  # 11 × 17 in
}
SAME_BACKING_L = 0.5  # paper that is lighter by less lies on the same backing
# Common practice, no source: on a 600 dpi A3 book-edge flatbed steady hand work makes 150 to 160
# pages an hour, about 200 is the mechanical limit. 200 an hour are 18 s a scan, 155 an hour 23.2 s:
# turning a page takes 5 s, which is assumed unless stated.
TURN_S = 5.0
HOURS_A_DAY = 4.0  # of steady work by one person: our assumption
