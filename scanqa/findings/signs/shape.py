"""Squareness and size, of the picture and of the print."""

from __future__ import annotations

from collections.abc import Sequence

from scanqa.findings.signs.sign import Looked, graded, sign
from scanqa.findings.statistic import figure, known, members, pick, quoted
from scanqa.model import DIRECTIONS, Direction, Measurement, ScanFacts
from scanqa.summary import Summary, value_of

NOT_SQUARE = 0.15, 0.4  # degrees: 0.15 is 0.5 mm over a page
WRONG_SIZE = 0.5, 1.5  # %
PRINT_SIZE, PRINT_SQUARE = 0.4, 0.15  # %, degrees
SQUARE, PRINT = "geometry.orthogonality", "geometry.printer_squareness"


def geometry(measured: Sequence[Summary], scans: Sequence[ScanFacts]) -> Looked:
    """Squareness and size, of the picture and of the print."""
    angle = figure(measured, SQUARE, "median")
    if angle:
        clear = abs(angle.value) > 3 * (angle.uncertainty or 0.0)
        yield sign(
            "not-square",
            graded(abs(angle.value), NOT_SQUARE) if clear else None,
            SQUARE,
            numbers={"deg": angle.value, "uncertainty": angle.uncertainty},
            quoted=quoted(members(pick(measured, SQUARE)))[:1],
        )
    yield from _sizes(measured, scans)
    yield from _print(measured)


def _print(measured: Sequence[Summary]) -> Looked:
    """Of the sheet itself."""
    sizes = ("geometry.printer_across", "geometry.printer_down")
    printer = [m for name in sizes for m in members(known(measured, name))]
    if printer:
        worst = max(printer, key=lambda m: abs(value_of(m)))
        yield sign(
            "print-size",
            "note" if abs(value_of(worst)) > PRINT_SIZE else None,
            worst.name,
            numbers={"percent": worst.value, "uncertainty": worst.uncertainty},
        )
    angle = figure(measured, PRINT, "median")
    if angle:
        yield sign(
            "print-not-square",
            "note" if abs(angle.value) > PRINT_SQUARE else None,
            PRINT,
            numbers={"deg": angle.value, "uncertainty": angle.uncertainty},
        )


def _sizes(measured: Sequence[Summary], scans: Sequence[ScanFacts]) -> Looked:
    """True dpi against what the files say."""
    told = {scan.file: scan.dpi for scan in scans if scan.dpi_source in ("file", "option")}
    sheet = next((s.dpi for s in scans if s.role == "bed-sheet" and s.file in told), None)
    found: list[tuple[float, Direction, Measurement]] = []
    for axis, direction in enumerate(DIRECTIONS):
        for m in members(known(measured, f"geometry.dpi_{direction}")):
            dpi = told.get(m.scan, sheet)
            if dpi is not None:
                found.append((100 * (value_of(m) / dpi[axis] - 1), direction, m))
    if found:
        percent, direction, m = max(found, key=lambda each: abs(each[0]))
        yield sign(
            "wrong-size",
            graded(abs(percent), WRONG_SIZE),
            m.name,
            numbers={"percent": percent, "dpi": m.value},
            direction=direction,
            scan=m.scan,
            quoted=quoted([m]),
        )
