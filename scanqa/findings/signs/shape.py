"""Squareness and size, of the picture and of the print."""

from __future__ import annotations

from collections.abc import Sequence

from scanqa.findings.signs.sign import ALONG, DIRECTIONS, Seen, Sign, graded, plus_minus, value_of
from scanqa.model import Results, ScanFacts

NOT_SQUARE = 0.15, 0.4  # degrees: 0.15 is 0.5 mm over a page
WRONG_SIZE = 0.5, 1.5  # %
PRINT_SIZE, PRINT_SQUARE = 0.4, 0.15  # %, degrees


def geometry(results: Results, scans: Sequence[ScanFacts]) -> Seen:
    """Squareness and size, of the picture and of the print."""
    for m in results.named("geometry.orthogonality")[:1]:
        clear = abs(value_of(m)) > 3 * (m.uncertainty or 0.0)
        severity = graded(abs(value_of(m)), NOT_SQUARE) if clear else None
        sign = Sign(
            f"the picture is {abs(value_of(m)):.2f}° out of square",
            f"sensor line against travel: {value_of(m):+.2f}{plus_minus(m)}°"
            + (f"; {m.reason}" if m.reason else ""),
            severity,
            ("geometry.orthogonality",),
        )
        yield "not-square", (sign,) if severity else ()
    yield from _sizes(results, scans)
    printer = [
        *results.named("geometry.printer_across"),
        *results.named("geometry.printer_down"),
    ]
    if printer:
        worst = max(printer, key=lambda m: abs(value_of(m)))
        sign = Sign(
            f"the sheet was printed {abs(value_of(worst)):.1f} % too "
            f"{'large' if value_of(worst) > 0 else 'small'}",
            f"{value_of(worst):+.2f}{plus_minus(worst)} %",
            "note",
            (worst.name,),
        )
        yield "print-size", (sign,) if abs(value_of(worst)) > PRINT_SIZE else ()
    for m in results.named("geometry.printer_squareness")[:1]:
        sign = Sign(
            f"the sheet was printed {abs(value_of(m)):.2f}° out of square",
            f"{value_of(m):+.2f}{plus_minus(m)}°",
            "note",
            (m.name,),
        )
        yield "print-not-square", (sign,) if abs(value_of(m)) > PRINT_SQUARE else ()


def _sizes(results: Results, scans: Sequence[ScanFacts]) -> Seen:
    """True dpi against what the files say."""
    told = {scan.file: scan.dpi for scan in scans if scan.dpi_source in ("file", "option")}
    found = []
    for axis, direction in enumerate(DIRECTIONS):
        for m in results.named(f"geometry.dpi_{direction}")[:1]:
            dpi = told.get(m.scan) or next(
                (s.dpi for s in scans if s.role == "bed-sheet" and s.file in told), None
            )
            if dpi is not None:
                found.append((100 * (value_of(m) / dpi[axis] - 1), direction, m))
    if found:
        error, direction, m = max(found, key=lambda each: abs(each[0]))
        severity = graded(abs(error), WRONG_SIZE)
        sign = Sign(
            f"lengths {ALONG[direction]} come out {abs(error):.1f} % too "
            f"{'large' if error > 0 else 'small'}",
            f"{value_of(m):.1f} dpi" + (f"; {m.reason}" if m.reason else ""),
            severity,
            (m.name,),
        )
        yield "wrong-size", (sign,) if severity else ()
