"""What the codes of a scan tell of their making: stretched levels, JPEG.

- Levels: gain after digitising, from codes that are empty or doubled
  (`scanqa.measures.processing.code_gaps`).
- JPEG: from the steps of its coefficients (`scanqa.numeric.jpeg_trace`), also when the
  file is a TIFF.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from scanqa.measures.processing.code_gaps import Stretch, level_stretch
from scanqa.model import (
    COLOURS,
    Channel,
    Curve,
    Evidence,
    Measurement,
    Placement,
    Reason,
    Results,
    Status,
    not_measurable,
)
from scanqa.numeric.jpeg_trace import BLOCK, FINEST_QUALITY, JpegTrace
from scanqa.reading.jpeg_grid import K1_MEAN, jpeg_grid
from scanqa.reading.print_through_jpeg import jpeg_in_print
from scanqa.reading.tiles import tiles

GRAIN_QUALITY_ERROR = 3.0  # steps are whole numbers, and the encoder's tables its own
TOO_FINE = Reason("range", "16-bit codes are too many to show gaps")
GAPS_FILLED = Reason("compression", "lossy compression fills the gaps between codes")
TOO_FEW_CODES = Reason(
    "too-few", "too few different codes occur to show gaps: scan a page with print and greys"
)
FINER = Reason("compression", "finer than this leaves no steps to see")
NO_TRACE = Reason("range", "no trace: not compressed, or finer than this, or altered since")
NO_PRINT = Reason("no-detail", "too little print to show the steps of JPEG")
HISTOGRAM_WINDOWS, HISTOGRAM_SIDE = 64, 192


def traces(placement: Placement) -> Results:
    """Levels and JPEG of one scan, with its histogram."""
    counts = _histogram(placement)
    return Results(
        (*_levels(placement, counts), _jpeg(placement)),
        evidence=(_histogram_figure(placement, counts),),
    )


def stretched(gain: float, error: float) -> bool:
    """Whether levels were altered after digitising."""
    return abs(gain - 1) > max(3 * error, 0.05)


# ------------------------------------------------------------------------------- levels


def _channels(placement: Placement) -> tuple[Channel, ...]:
    return ("luma",) if placement.scan.channels == 1 else COLOURS


def _levels(placement: Placement, histogram: NDArray[np.int_]) -> Iterator[Measurement]:
    name, scan = "processing.level_stretch", placement.scan
    if scan.bits != 8:
        yield not_measurable(name, TOO_FINE, scan=scan.name)
        return
    if scan.lossy:
        yield not_measurable(name, GAPS_FILLED, scan=scan.name)
        return
    for channel, counts in zip(_channels(placement), histogram, strict=True):
        stretch = level_stretch(counts)
        if stretch is None:
            yield not_measurable(name, TOO_FEW_CODES, scan=scan.name, channel=channel)
        else:
            why = _gaps_seen(stretch)
            yield Measurement(
                name,
                stretch.gain,
                stretch.gain_error,
                reason=why.words,
                reason_kind=why.kind,
                scan=scan.name,
                channel=channel,
            )


def _gaps_seen(stretch: Stretch) -> Reason:
    seen = f"{stretch.empty} of {stretch.judged} codes are empty, {stretch.doubled} doubled"
    if not stretched(stretch.gain, stretch.gain_error):
        return Reason("method", f"{seen}: no stretch of levels shows")
    return Reason("software", f"{seen}: levels were altered after digitising")


def _histogram(placement: Placement) -> NDArray[np.int_]:
    """Counts of each code in windows spread over the image: (channels, 256)."""
    scan = placement.scan
    side = min(HISTOGRAM_SIDE, scan.width_px, scan.height_px)
    windows = tiles(scan, placement.overview, side, side).windows
    counts = np.zeros((scan.channels, 256), int)
    chosen = np.linspace(0, len(windows) - 1, min(HISTOGRAM_WINDOWS, len(windows))).astype(int)
    for index in np.unique(chosen):
        codes = scan.window(windows[index])
        for channel, row in enumerate(counts):
            row += np.bincount(codes[..., channel].ravel() >> (scan.bits - 8), minlength=256)
    return counts


def _histogram_figure(placement: Placement, counts: NDArray[np.int_]) -> Evidence:
    codes = np.arange(256, dtype=np.float64)
    curves = tuple(
        Curve(channel, codes, np.log10(np.maximum(row, 1)))
        for channel, row in zip(_channels(placement), counts, strict=True)
    )
    return Evidence(
        "processing.level_stretch",
        "curves",
        "How often each code occurs",
        scan=placement.scan.name,
        x_label="code (upper 8 bits)",
        y_label="log10 of the count",
        curves=curves,
        note="A comb of empty codes means that levels were stretched after digitising.",
    )


# --------------------------------------------------------------------------------- JPEG


def _jpeg(placement: Placement) -> Measurement:
    name, scan = "processing.jpeg_quality", placement.scan
    trace = jpeg_in_print(placement)
    if trace is None:
        return not_measurable(name, NO_PRINT, scan=scan.name)
    quality, status, why = _traced(trace, lossy=scan.lossy)
    return Measurement(
        name,
        quality,
        trace.quality_error,
        status,
        why.words,
        scan=scan.name,
        reason_kind=why.kind,
    )


def jpeg_in_grain(placement: Placement) -> Iterator[Measurement]:
    """Quality of JPEG that blank paper went through, from the step of its levels; none without.

    T.81, table K.1: the step of the mean is 16 at quality 50, as the Independent JPEG Group scales.
    """
    grid = jpeg_grid(placement)
    if grid is None:
        return
    ratio = max(grid.level * BLOCK, 1.0) / K1_MEAN
    quality = 50 / ratio if ratio > 1 else 100 - 50 * ratio
    words = "the grid of JPEG shows in the grain of the paper"
    yield Measurement(
        "processing.jpeg_quality",
        quality,
        GRAIN_QUALITY_ERROR,
        reason=words,
        scan=placement.scan.name,
        reason_kind="compression",
    )


def _traced(trace: JpegTrace, *, lossy: bool) -> tuple[float, Status, Reason]:
    """Quality, what it is worth and why, of a file that says itself whether it is lossy."""
    if trace.steps:
        words = f"{len(trace.steps)} frequencies keep to the steps of JPEG"
        if not lossy:
            words += ", though this file is lossless: it was compressed before"
        if trace.offset != (0, 0):
            words += f"; its grid starts at {trace.offset[1]}, {trace.offset[0]} px: cropped since"
        return trace.quality, "ok", Reason("compression", words)
    why = FINER if lossy else NO_TRACE
    return float(FINEST_QUALITY), "at-least", why
