"""What the codes of a scan tell of their making: stretched levels, smoothed grain, JPEG.

- Levels: gain after digitising, from codes that are empty or doubled
  (`scanqa.measures.processing.code_gaps`).
- Grain: power of the grain of flat paper at 0.42 … 0.5 cycles/px over that at 0.15 … 0.3. Noise of
  a sensor is as strong at every frequency, and each colour has its own; the texture of paper, which
  a lens weakens towards fine detail, is common to the colours and taken off: 1. Smoothing and
  interpolation leave less. In grey, texture and smoothing look alike.
- JPEG: from the steps of its coefficients (`scanqa.numeric.jpeg_trace`), also when the
  file is a TIFF.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scanqa.measures.processing.code_gaps import Stretch, level_stretch
from scanqa.model import (
    COLOURS,
    DIRECTIONS,
    Channel,
    Curve,
    Direction,
    Evidence,
    Floats,
    Measurement,
    Placement,
    Reason,
    Results,
    Status,
    not_measurable,
)
from scanqa.numeric.jpeg_trace import FINEST_QUALITY, JpegTrace
from scanqa.reading.jpeg_grid import BLOCK, K1_MEAN, jpeg_grid
from scanqa.reading.print_through_jpeg import jpeg_in_print
from scanqa.reading.tiles import tiles

LINE = 64  # samples of a line for the spectrum of grain
FLAT_WINDOWS, FEWEST_FLAT = 40, 8
MOST_TILES = 1500  # to choose them from: a sheet at 600 dpi has ten times as many
FINEST, COARSER, BESIDE = (0.42, 0.5), (0.15, 0.3), 0.3  # cycles/px, the last the other way
ROUNDING = 1 / 12  # codes², of whole codes
UNSURE_ROUNDING = 0.4 * ROUNDING  # of so little noise it is not white, and differs by that
GRAIN_QUALITY_ERROR = 3.0  # steps are whole numbers, and the encoder's tables its own
MOST_TOP = 0.001  # of the pixels: grain that is cut off is white no more
LEAST_GRAIN = 0.05  # codes² above rounding: less is lost in it
WHITE = (0.6, 1.4)  # needs no filter to explain: strong texture alone may leave 1 / 1.5
TOO_FINE = Reason("range", "16-bit codes are too many to show gaps")
GAPS_FILLED = Reason("compression", "lossy compression fills the gaps between codes")
TOO_FEW_CODES = Reason(
    "too-few", "too few different codes occur to show gaps: scan a page with print and greys"
)
GRAIN_EATEN = Reason("compression", "lossy compression has eaten the finest grain")
NO_PLAIN_AREA = Reason(
    "no-detail", "no plain area of middle lightness: scan white paper that is not clipped"
)
GRAIN_CUT_OFF = Reason(
    "clipped", "grain is cut off at the top of the scale: lower the brightness and scan again"
)
NO_GRAIN = Reason("rounding", "grain is below the rounding of the codes: very clean, or smoothed")
NEAR_ROUNDING = Reason(
    "unclear", "grain is too near the rounding of the codes to tell smoothing: scan with 16 bits"
)
LIKE_TEXTURE = Reason(
    "unclear",
    "the finest grain is weak, but in one channel smoothing looks like the paper's own "
    "texture: scan in colour to tell",
)
NOT_WHITE = Reason("software", "grain is not white: smoothed or interpolated")
FINER = Reason("compression", "finer than this leaves no steps to see")
NO_TRACE = Reason("range", "no trace: not compressed, or finer than this, or altered since")
NO_PRINT = Reason("no-detail", "too little print to show the steps of JPEG")
HISTOGRAM_WINDOWS, HISTOGRAM_SIDE = 64, 192


def traces(placement: Placement) -> Results:
    """Levels, grain and JPEG of one scan, with its histogram."""
    counts = _histogram(placement)
    return Results(
        (*_levels(placement, counts), *grain(placement), _jpeg(placement)),
        evidence=(_histogram_figure(placement, counts),),
    )


def stretched(gain: float, error: float) -> bool:
    """Whether levels were altered after digitising."""
    return abs(gain - 1) > max(3 * error, 0.05)


def smoothed(kept: float) -> bool:
    """Whether grain is bent by a filter."""
    return not WHITE[0] <= kept <= WHITE[1]


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


# -------------------------------------------------------------------------------- grain


def grain(placement: Placement) -> Iterator[Measurement]:
    """Share of the finest grain that is left, both directions."""
    name, scan = "processing.grain_kept", placement.scan
    if scan.lossy:
        yield not_measurable(name, GRAIN_EATEN, scan=scan.name)
        return
    top = 2**scan.bits - 1
    step = LINE * max(1, round((scan.width_px * scan.height_px / MOST_TILES) ** 0.5 / LINE))
    rows = range(0, scan.height_px - LINE + 1, step)
    cols = range(0, scan.width_px - LINE + 1, step)
    cut = tiles(scan, placement.overview, LINE, LINE, rows=rows, cols=cols)
    flat = cut.flattest(FLAT_WINDOWS, darkest=0.2 * top, lightest=0.985 * top)
    if len(flat) < FEWEST_FLAT:
        yield not_measurable(name, NO_PLAIN_AREA, scan=scan.name)
        return
    pixels = (scan.window(window) for window in flat)
    kept = [
        each
        for each in pixels
        if np.mean(each >= placement.overview.top_code, axis=(0, 1)).max() <= MOST_TOP
    ]
    if len(kept) < FEWEST_FLAT:
        yield not_measurable(name, GRAIN_CUT_OFF, scan=scan.name)
        return
    power, free = _grain_power(np.array(kept, np.float64))
    for direction in DIRECTIONS:
        yield _grain_along(placement, direction, power, free)


def _grain_power(windows: Floats) -> tuple[Floats, int]:
    """Power of the sensor's grain at each frequency, and the windows that are free for it.

    What two colours have in common at a frequency is paper, and is taken off: the part of green
    (power S) that red and blue (cross powers c, their matrix M) foretell is c* M⁻¹ c, whatever the
    blurs and shifts of the colours. White noise keeps its variance, times the free windows.

    Parameters
    ----------
    windows : (n, LINE, LINE, channels)
        Codes.

    Returns
    -------
    power : (LINE, LINE)
        Codes², rows are frequencies along travel.
    free : int
        n less the colours that foretell.
    """
    taper = np.hanning(LINE)[:, np.newaxis] * np.hanning(LINE)
    centred = windows - windows.mean(axis=(1, 2), keepdims=True)
    waves = np.fft.fft2(centred * taper[..., np.newaxis], axes=(1, 2))
    waves /= np.sqrt(np.sum(taper**2))
    n, channels = len(waves), waves.shape[-1]
    green = waves[..., channels // 2]
    power = np.sum(np.abs(green) ** 2, axis=0)
    if channels == 1:
        return np.asarray(power / n), n
    others = waves[..., [0, 2]]
    cross = np.einsum("nyxc,nyx->yxc", others.conj(), green)
    matrix = np.einsum("nyxc,nyxd->yxcd", others.conj(), others)
    matrix = matrix + 1e-9 * np.eye(2)  # colours that are equal foretell each other
    foretold = np.einsum(
        "yxc,yxc->yx", cross.conj(), np.linalg.solve(matrix, cross[..., None])[..., 0]
    )
    return np.asarray(np.maximum(power - foretold.real, 0) / (n - 2)), n - 2


def _grain_along(
    placement: Placement, direction: Direction, power: Floats, free: int
) -> Measurement:
    name = "processing.grain_kept"
    frequency = np.abs(np.fft.fftfreq(LINE))
    plane = power if direction == "travel" else power.T
    plane = plane[:, frequency <= BESIDE]
    bands = [(frequency >= low) & (frequency <= high) for low, high in (FINEST, COARSER)]
    finest, coarser = (float(plane[band].mean()) - ROUNDING for band in bands)
    where: dict[str, Any] = {"scan": placement.scan.name, "direction": direction}
    if max(finest, coarser) < LEAST_GRAIN:
        return not_measurable(name, NO_GRAIN, **where)
    value = max(finest, 0.0) / max(coarser, LEAST_GRAIN)
    # Power at a frequency has a relative variance of 1 over the free windows; the taper makes 1.5²
    # neighbours one, and the two halves of the plane are one.
    counts = [band.sum() * plane.shape[1] / (2 * 1.5**2) for band in bands]
    parts = [
        (level + ROUNDING) / np.sqrt(free * n)
        for level, n in zip((finest, coarser), counts, strict=True)
    ]
    error = float(np.hypot(parts[0], value * parts[1]) / max(coarser, LEAST_GRAIN))
    if not smoothed(value):
        return Measurement(name, value, error, **where)
    if value < 1 and not smoothed(value + UNSURE_ROUNDING / max(coarser, LEAST_GRAIN)):
        return not_measurable(name, NEAR_ROUNDING, **where)
    if placement.scan.channels == 1:
        return not_measurable(name, LIKE_TEXTURE, **where)
    return Measurement(
        name, value, error, reason=NOT_WHITE.words, reason_kind=NOT_WHITE.kind, **where
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
