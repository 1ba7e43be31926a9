"""Paper sizes, the printable area and the blocks of fiducials that each sheet owns."""

from __future__ import annotations

from scanqa.model import MM_PER_INCH

PAPERS: dict[str, tuple[float, float]] = {  # width, height, upright
    "a4": (210.0, 297.0),  # ISO 216
    "letter": (8.5 * MM_PER_INCH, 11 * MM_PER_INCH),  # ANSI/ASME Y14.1, size A
    "a3": (297.0, 420.0),  # ISO 216
}
PAPER_NAMES = {"a4": "A4", "letter": "US Letter", "a3": "A3"}
MARGIN_MM = 6.0  # printers leave the outermost millimetres bare

FIRST_TAG: dict[str, int] = {  # each block ends where the next begins; 36h11 has 587 tags
    "bed-sheet-a4": 0,
    "bed-sheet-letter": 48,
    "bed-sheet-a3": 96,
    "edge-strip-a4": 192,
    "edge-strip-letter": 224,
    "edge-strip-a3": 256,
    "gutter-ramp-a4": 288,
    "gutter-ramp-letter": 320,
    "gutter-ramp-a3": 352,
    "back-print-a4": 384,
    "back-print-letter": 432,
    "back-print-a3": 480,  # to 575; 576-586 are free
}
