"""Traces of what the scanner's software does unasked, and what they spoil.

- ``halo``: overshoot beside the edges of a located sheet, in percent of the step, the larger of
  its two sides, median over edges. A lens spreads light and never takes any away, so that an
  overshoot can only be computed: sharpening. It raises SFR50 without adding detail.
- ``level_stretch``: gain after digitising, from codes that are empty or doubled
  (`scanqa.numeric.code_gaps`). Stretched levels make shading, tone and noise incomparable.
- ``grain_kept``: power of the grain of flat paper at 0.46 … 0.5 cycles/px over that at
  0.36 … 0.42. Noise of a sensor is as strong at every frequency, and the paper's own grain ends
  below, where the lens does: 1. Smoothing and interpolation bend it there, down mostly, up for
  running means and medians, which have a null near 0.33.
- ``jpeg_quality``: from the steps of its coefficients (`scanqa.numeric.jpeg_trace`), also when
  the file is a TIFF.
- ``crop``: largest difference in size between scans of the whole bed; automatic cropping follows
  the paper, and with it goes every distance from the edge of the bed.

Each is not measurable, with the reason, where there is nothing to judge by: no located edges, few
codes, 16 bits or lossy compression (which fills gaps and eats grain), grain below rounding, no
print, a single scan.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scanqa.model import (
    MM_PER_INCH,
    Channel,
    Curve,
    Direction,
    Evidence,
    Floats,
    Measurement,
    Placement,
    Results,
    Status,
    Window,
    not_measurable,
)
from scanqa.numeric.code_gaps import Stretch, level_stretch
from scanqa.numeric.edge import locate_edge
from scanqa.numeric.edge_fit import Unmeasured
from scanqa.numeric.edge_window import edge_window
from scanqa.numeric.jpeg_trace import FINEST_QUALITY, find_jpeg
from scanqa.numeric.lightness import luma
from scanqa.numeric.scatter import median_error
from scanqa.numeric.tiles import tiles

DIRECTIONS: tuple[Direction, ...] = ("across", "travel")
LUMA_OF_CODES = (0.299, 0.587, 0.114)  # ITU-R BT.601: JPEG's Y
MOST_EDGES = 12  # in a direction: a median needs no more
FEWEST_EDGES = 3
HALO_PX = 8.0  # from the edge, within which sharpening filters overshoot
FAR = 0.7  # of the reach: beyond, the light is that of the plain sides
BIN_PX = 0.5
MOST_ENDS = 0.001  # of the pixels at an end of the scale, for a halo not to be cut off
HALO_SEEN = 2.0  # percent; noise of a bin stays below (tests/measures/test_processing.py)
LINE = 64  # samples of a line for the spectrum of grain
FLAT_WINDOWS, FEWEST_FLAT = 40, 8
FINEST, COARSER = (0.46, 0.5), (0.36, 0.42)  # cycles/px
ROUNDING = 1 / 12  # codes², of whole codes
LEAST_GRAIN = 0.05  # codes² above rounding: less is lost in it
WHITE = (0.65, 1.35)  # share of grain kept that needs no filter to explain
JPEG_WINDOWS, JPEG_SIDE = 8, 192
HISTOGRAM_WINDOWS, HISTOGRAM_SIDE = 64, 192
SAME_MM = 1.0  # sizes within this are the same
WHOLE_BED = ("blank", "dark", "bed-sheet")


def measure(placements: Sequence[Placement]) -> Results:
    """Every trace, for each scan; sizes are compared over all scans of the whole bed.

    Parameters
    ----------
    placements : sequence of Placement
        Any scans. Edges need a located sheet, JPEG needs print, grain needs plain paper.
    """
    results = _halos(placements)
    scans = {placement.scan.name: placement for placement in placements}
    for placement in scans.values():
        counts = _histogram(placement)
        results += Results(
            (*_levels(placement, counts), *_grain(placement), _jpeg(placement)),
            evidence=(_histogram_figure(placement, counts),),
        )
    return results + Results((_crop(list(scans.values())),))


# ----------------------------------------------------------------------------- sharpening


@dataclass(frozen=True, slots=True, eq=False)
class _Profile:
    """Mean light at distances from an edge, 0 on its plain dark side, 1 on the bright one."""

    distance_px: Floats
    light: Floats
    clipped: bool

    @property
    def overshoot_percent(self) -> float:
        """The larger of what exceeds 1 and what falls below 0 near the edge."""
        near = np.abs(self.distance_px) <= HALO_PX
        above, below = self.light[near].max() - 1, -self.light[near].min()
        return 100 * max(float(above), float(below))


def _halos(placements: Sequence[Placement]) -> Results:
    results = Results()
    for placement in placements:
        for direction in DIRECTIONS:
            profiles = _profiles(placement, direction)
            if len(profiles) >= FEWEST_EDGES:
                results += _halo(placement, direction, profiles)
    if not results.measurements:
        why = "no sheet with enough clean edges was found in any scan: scan the printed bed sheet"
        return Results((not_measurable("processing.halo", why),))
    return results


def _profiles(placement: Placement, direction: Direction) -> list[_Profile]:
    if placement.piece is None or placement.to_px is None:
        return []
    found = []
    for edge in placement.piece.edges:
        place = edge_window(placement, edge) if edge.kind == "printed" else None
        if place is None or place.direction != direction:
            continue
        codes = placement.scan.window(place.window)
        light = luma(placement.light.light(codes))
        ends = ((codes == 2**placement.scan.bits - 1) | (codes == 0)).any(axis=-1)
        located = locate_edge(light, place.line, place.reach_px)
        if not isinstance(located, Unmeasured):
            patch, fit = located
            distance = fit.distance(patch.x, patch.t)[patch.use]
            found.append(_profile(distance, patch.light[patch.use], bool(ends.mean() > MOST_ENDS)))
        if len(found) == MOST_EDGES:
            break
    return found


def _profile(distance: Floats, light: Floats, clipped: bool) -> _Profile:
    reach = float(np.abs(distance).max())
    dark = float(np.median(light[distance < -FAR * reach]))
    bright = float(np.median(light[distance > FAR * reach]))
    bins = np.round(distance / BIN_PX).astype(int)
    places = np.unique(bins)
    means = np.array([light[bins == place].mean() for place in places])
    return _Profile(places * BIN_PX, (means - dark) / (bright - dark), clipped)


def _halo(placement: Placement, direction: Direction, profiles: list[_Profile]) -> Results:
    overshoots = np.array([profile.overshoot_percent for profile in profiles])
    value, error = float(np.median(overshoots)), float(median_error(overshoots))
    status: Status = "ok"
    reason = ""
    if value - 2 * error > HALO_SEEN:
        reason = (
            "edges are sharpened: SFR50 and the peak of the response speak of the software, "
            "SFR10 and effective dpi less so"
        )
        if any(profile.clipped for profile in profiles):
            status, reason = "lower-bound", f"{reason}; the halo is cut off at the end of the scale"
    measured = Measurement(
        "processing.halo",
        value,
        error,
        status,
        reason,
        scan=placement.scan.name,
        direction=direction,
    )
    typical = profiles[int(np.argmin(np.abs(overshoots - value)))]
    near = np.abs(typical.distance_px) <= 2 * HALO_PX
    figure = Evidence(
        "processing.halo",
        "curves",
        f"A typical edge, {direction}",
        scan=placement.scan.name,
        x_label="distance from the edge, px",
        y_label="light, 0 dark to 1 bright",
        curves=(Curve(direction, typical.distance_px[near], typical.light[near]),),
        note="Light above 1 or below 0 beside the edge is a halo, which no lens makes.",
    )
    return Results((measured,), evidence=(figure,))


# ------------------------------------------------------------------------------- levels


def _channels(placement: Placement) -> tuple[Channel, ...]:
    return ("luma",) if placement.scan.channels == 1 else ("red", "green", "blue")


def _levels(placement: Placement, histogram: NDArray[np.int_]) -> Iterator[Measurement]:
    name, scan = "processing.level_stretch", placement.scan
    if scan.bits != 8:
        yield not_measurable(name, "16-bit codes are too many to show gaps", scan=scan.name)
        return
    if scan.lossy:
        yield not_measurable(name, "lossy compression fills the gaps between codes", scan=scan.name)
        return
    for channel, counts in zip(_channels(placement), histogram, strict=True):
        stretch = level_stretch(counts)
        if stretch is None:
            why = "too few different codes occur to show gaps: scan a page with print and greys"
            yield not_measurable(name, why, scan=scan.name, channel=channel)
        else:
            reason = _level_words(stretch)
            yield Measurement(
                name,
                stretch.gain,
                stretch.gain_error,
                reason=reason,
                scan=scan.name,
                channel=channel,
            )


def _level_words(stretch: Stretch) -> str:
    seen = f"{stretch.empty} of {stretch.judged} codes are empty, {stretch.doubled} doubled"
    if abs(stretch.gain - 1) <= max(3 * stretch.gain_error, 0.05):
        return f"{seen}: no stretch of levels shows"
    return f"{seen}: levels were altered after digitising"


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


def _grain(placement: Placement) -> Iterator[Measurement]:
    name, scan = "processing.grain_kept", placement.scan
    if scan.lossy:
        yield not_measurable(name, "lossy compression has eaten the finest grain", scan=scan.name)
        return
    top = 2**scan.bits - 1
    cut = tiles(scan, placement.overview, LINE, LINE)
    flat = cut.flattest(FLAT_WINDOWS, darkest=0.2 * top, lightest=0.985 * top)
    if len(flat) < FEWEST_FLAT:
        why = "no plain area of middle lightness: scan white paper that is not clipped"
        yield not_measurable(name, why, scan=scan.name)
        return
    channel = scan.channels // 2  # green, or grey
    windows = [scan.window(window)[..., channel].astype(np.float64) for window in flat]
    for direction in DIRECTIONS:
        yield _grain_along(placement, direction, windows)


def _grain_along(placement: Placement, direction: Direction, windows: list[Floats]) -> Measurement:
    name = "processing.grain_kept"
    spectra = np.array([_spectrum(w if direction == "across" else w.T) for w in windows])
    frequency = np.fft.rfftfreq(LINE)
    bands = [(frequency >= low) & (frequency <= high) for low, high in (FINEST, COARSER)]
    finest, coarser = (spectra[:, band].mean(axis=1) for band in bands)
    where: dict[str, Any] = {"scan": placement.scan.name, "direction": direction}
    if max(finest.mean(), coarser.mean()) < ROUNDING + LEAST_GRAIN:
        why = "grain is below the rounding of the codes: very clean, or smoothed"
        return not_measurable(name, why, **where)
    value = float(finest.mean() / coarser.mean())
    spread = np.std(finest - value * coarser, ddof=1) / len(windows) ** 0.5  # of a ratio of means
    reason = "" if WHITE[0] <= value <= WHITE[1] else "grain is not white: smoothed or interpolated"
    return Measurement(name, value, float(spread / coarser.mean()), reason=reason, **where)


def _spectrum(lines: Floats) -> Floats:
    """Power of lines at each frequency, codes²; white noise has its variance everywhere."""
    taper = np.hanning(LINE)
    centred = lines - lines.mean(axis=1, keepdims=True)
    power = np.abs(np.fft.rfft(centred * taper, axis=1)) ** 2
    return np.asarray(power.mean(axis=0) / np.sum(taper**2))


# --------------------------------------------------------------------------------- JPEG


def _jpeg(placement: Placement) -> Measurement:
    name, scan = "processing.jpeg_quality", placement.scan
    side = min(JPEG_SIDE, scan.width_px, scan.height_px)
    chosen: list[Window] = tiles(scan, placement.overview, side, side).busiest(JPEG_WINDOWS)
    windows = []
    for window in chosen:
        codes = scan.window(window).astype(np.float64) / (2**scan.bits - 1) * 255
        windows.append(codes @ LUMA_OF_CODES if scan.channels == 3 else codes[..., 0])
    trace = find_jpeg(windows, [(window.row, window.col) for window in chosen])
    if trace is None:
        why = "too little print to show the steps of JPEG"
        return not_measurable(name, why, scan=scan.name)
    status: Status = "ok"
    quality, error = trace.quality, trace.quality_error
    if trace.steps:
        reason = f"{len(trace.steps)} frequencies keep to the steps of JPEG"
        if not scan.lossy:
            reason += ", though this file is lossless: it was compressed before"
        if trace.offset != (0, 0):
            reason += f"; its grid starts at {trace.offset[1]}, {trace.offset[0]} px: cropped since"
    elif scan.lossy:
        status, quality = "lower-bound", float(FINEST_QUALITY)
        reason = "finer than this leaves no steps to see"
    else:
        reason = "no trace: not compressed, or finer than quality 92, or altered since"
    return Measurement(name, quality, error, status, reason, scan=scan.name)


# --------------------------------------------------------------------------------- crop


def _crop(placements: Sequence[Placement]) -> Measurement:
    name = "processing.crop"
    whole = [p for p in placements if p.role in WHOLE_BED]
    if len(whole) < 2:
        return not_measurable(
            name, "one scan of the whole bed shows no difference: make two or more"
        )
    sizes = np.array([sorted(p.size_mm) for p in whole])
    value = float(np.ptp(sizes, axis=0).max())
    pixel = max(MM_PER_INCH / min(p.dpi) for p in whole)
    reason = ""
    if value > SAME_MM:
        reason = (
            "scans of the whole bed differ in size: cropped to the paper, or not all of the whole "
            "bed; distances from the edge of the bed mean nothing then"
        )
    return Measurement(name, value, pixel / 12**0.5, reason=reason)
