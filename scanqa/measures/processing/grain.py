"""Whether the driver smoothed the grain: power at 0.42 … 0.5 cycles/px over that at 0.15 … 0.3.

Noise of a sensor is as strong at every frequency: 1. Smoothing and interpolation leave less. So
does the object's own texture, which a lens weakens towards fine detail, and which is on every
object: it must be out of the question before anything is said of the driver.

- In the difference of two scans of an object that lay still it cancels
  (`scanqa.measures.processing.repeats`).
- In a single scan in colour what the colours have in common is taken off. That is all of it on
  white paper, where light and fibres make texture, and no pigment does; not on a print, whose
  screens lie in a colour each, on film, on leaves. A grain that is bent is therefore called
  smoothed only on white paper, and where far more is bent than the colours shared.
- Else a value under 1 is a bound: texture may have made it so, and nothing but smoothing is left
  out of it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from scanqa.measures.processing.repeats import repeat_of
from scanqa.model import (
    DIRECTIONS,
    Direction,
    Floats,
    Measurement,
    Placement,
    Reason,
    Status,
    Window,
    not_measurable,
)
from scanqa.numeric.lightness import luma
from scanqa.reading.bed_light import bed_luma
from scanqa.reading.tiles import tiles

LINE = 64  # samples of a line for the spectrum of grain
FLAT_WINDOWS, FEWEST_FLAT = 40, 8
MOST_TILES = 1500  # to choose them from: a sheet at 600 dpi has ten times as many
FINEST, COARSER, BESIDE = (0.42, 0.5), (0.15, 0.3), 0.3  # cycles/px, the last the other way
OFF_AXIS = 3 / LINE  # nearer nought lie flicker and the pattern of the columns
ROUNDING = 1 / 12  # codes², of whole codes
UNSURE_ROUNDING = 0.4 * ROUNDING  # of so little noise it is not white, and differs by that
MOST_TOP = 0.001  # of the pixels: grain that is cut off is white no more
LEAST_GRAIN = 0.05  # codes² above rounding: less is lost in it
WHITE = (0.6, 1.4)  # needs no filter to explain: strong texture alone may leave 1 / 1.5
SIGMAS, SIGMAS_OF_TWO = 2.0, 3.0  # a value further from 1 is not white
NEUTRAL = 1.15  # lightest channel over darkest of white paper, in light
WHITE_LIGHT, OF_LIGHTEST = 0.35, 0.8  # of white paper: the least, and of the lightest of the scan
LIGHTEST = 99  # percentile
# Of the texture that is taken off, so much may be left: of what colours share, since they may lie
# apart differently over the bed; of what two scans share, since the carriage is not steady.
LEFT_OF_COLOURS, LEFT_OF_TWO = (0.5, 0.5), (1.0, 0.1)  # at the finest, and coarser
NEVER_PAPER = ("picture",)
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
    "the finest grain is weak, but smoothing looks like the object's own texture here: scan it "
    "twice without touching it, or white paper in colour, to tell",
)
TEXTURE_TAKES = Reason(
    "unclear",
    "the object's own texture may take from it: scan it twice without touching it to tell",
)
TEXTURE_LEFT = Reason(
    "unclear", "of the strong texture of the object some may be left where the carriage is unsteady"
)
NOT_WHITE = Reason("software", "grain is not white: smoothed or interpolated")
OF_TWO = Reason("method", "from two scans between which nothing moved: texture cancels")


@dataclass(frozen=True, slots=True, eq=False)
class _Spectrum:
    """Power of grain, codes², rows are frequencies along travel; and what was taken off.

    `free` is the number of windows that are free for it, `paper` whether texture is common to the
    colours, `two` whether it is of the difference of two scans.
    """

    power: Floats
    shared: Floats
    free: int
    paper: bool
    two: bool

    def along(self, direction: Direction) -> tuple[Floats, Floats]:
        """Power and what was taken off, with the frequencies of a direction along the rows."""
        frequency = np.abs(np.fft.fftfreq(LINE))
        beside = (frequency <= BESIDE) & (frequency >= (OFF_AXIS if self.two else 0))
        planes = (self.power, self.shared)
        ways = planes if direction == "travel" else tuple(plane.T for plane in planes)
        return ways[0][:, beside], ways[1][:, beside]


def smoothed(kept: float) -> bool:
    """Whether grain is bent by a filter."""
    return not WHITE[0] <= kept <= WHITE[1]


def tells_smoothing(kept: Measurement) -> bool:
    """Whether a measurement says that the driver smoothed: a bound says nothing of the kind."""
    return kept.status == "ok" and kept.value is not None and smoothed(kept.value)


def grain(placement: Placement, others: Sequence[Placement] = ()) -> Iterator[Measurement]:
    """Share of the finest grain that is left, both directions.

    Parameters
    ----------
    placement : Placement
        The scan.
    others : sequence of Placement
        More of the same scanner: one that shows the same object at the same place is sought among
        them.
    """
    name, scan = "processing.grain_kept", placement.scan
    if scan.lossy:
        yield not_measurable(name, GRAIN_EATEN, scan=scan.name)
        return
    windows = _flat_windows(placement)
    if isinstance(windows, Reason):
        yield not_measurable(name, windows, scan=scan.name)
        return
    codes = np.array([scan.window(window) for window in windows], np.float64)
    unlike = repeat_of(placement, others, windows, codes)
    power, shared, free = _grain_power(codes)
    two = unlike is not None
    paper = not two and _is_white_paper(placement, codes)
    if unlike is not None:
        alone = power + shared
        power, _, free = _grain_power(unlike)
        shared = np.maximum(alone - power, 0)
    spectrum = _Spectrum(power, shared, free, paper, two)
    for direction in DIRECTIONS:
        yield _grain_along(placement, direction, spectrum)


def _flat_windows(placement: Placement) -> list[Window] | Reason:
    scan = placement.scan
    top = 2**scan.bits - 1
    step = LINE * max(1, round((scan.width_px * scan.height_px / MOST_TILES) ** 0.5 / LINE))
    rows = range(0, scan.height_px - LINE + 1, step)
    cols = range(0, scan.width_px - LINE + 1, step)
    cut = tiles(scan, placement.overview, LINE, LINE, rows=rows, cols=cols)
    flat = cut.flattest(FLAT_WINDOWS, darkest=0.2 * top, lightest=0.985 * top)
    if len(flat) < FEWEST_FLAT:
        return NO_PLAIN_AREA
    top_code = placement.overview.top_code
    kept = [
        window
        for window in flat
        if np.mean(scan.window(window) >= top_code, axis=(0, 1)).max() <= MOST_TOP
    ]
    return kept if len(kept) >= FEWEST_FLAT else GRAIN_CUT_OFF


def _is_white_paper(placement: Placement, codes: Floats) -> bool:
    """Whether all windows are as neutral and as light as paper without ink on it, in colour."""
    if placement.scan.channels == 1 or placement.role in NEVER_PAPER:
        return False
    kind = np.uint8 if placement.scan.bits == 8 else np.uint16
    whole = np.rint(codes.mean(axis=(1, 2), keepdims=True)).astype(kind)
    light = placement.light.light(whole[:, 0]).astype(np.float64)
    preview = bed_luma(placement)
    least = max(WHITE_LIGHT, OF_LIGHTEST * float(np.percentile(preview, LIGHTEST)))
    neutral = light.max(axis=-1) <= NEUTRAL * light.min(axis=-1)
    return bool(np.all(neutral) and np.all(luma(light) >= least))


def _grain_power(windows: Floats) -> tuple[Floats, Floats, int]:
    """Power of the sensor's grain at each frequency, what is not, and the windows free for it.

    What two colours have in common at a frequency is paper, and is taken off: the part of green
    (power S) that red and blue (cross powers c, their matrix M) foretell is c* M⁻¹ c, whatever the
    blurs and shifts of the colours. White noise keeps its variance, times the free windows.

    Parameters
    ----------
    windows : (n, LINE, LINE, channels)
        Codes.

    Returns
    -------
    power, shared : (LINE, LINE)
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
        return np.asarray(power / n), np.zeros_like(power), n
    others = waves[..., [0, 2]]
    cross = np.einsum("nyxc,nyx->yxc", others.conj(), green)
    matrix = np.einsum("nyxc,nyxd->yxcd", others.conj(), others)
    matrix = matrix + 1e-9 * np.eye(2)  # colours that are equal foretell each other
    foretold = np.einsum(
        "yxc,yxc->yx", cross.conj(), np.linalg.solve(matrix, cross[..., None])[..., 0]
    )
    own = np.asarray(np.maximum(power - foretold.real, 0) / (n - 2))
    return own, np.maximum(power / n - own, 0), n - 2


def _grain_along(placement: Placement, direction: Direction, spectrum: _Spectrum) -> Measurement:
    name = "processing.grain_kept"
    frequency = np.abs(np.fft.fftfreq(LINE))
    plane, shared = spectrum.along(direction)
    bands = [(frequency >= low) & (frequency <= high) for low, high in (FINEST, COARSER)]
    finest, coarser = (float(plane[band].mean()) - ROUNDING for band in bands)
    taken = [float(shared[band].mean()) for band in bands]
    where: dict[str, Any] = {"scan": placement.scan.name, "direction": direction}
    if max(finest, coarser) < LEAST_GRAIN:
        return not_measurable(name, NO_GRAIN, **where)
    value = max(finest, 0.0) / max(coarser, LEAST_GRAIN)
    # Power at a frequency has a relative variance of 1 over the free windows; the taper makes 1.5²
    # neighbours one, and the two halves of the plane are one.
    counts = [band.sum() * plane.shape[1] / (2 * 1.5**2) for band in bands]
    parts = [
        (level + ROUNDING) / np.sqrt(spectrum.free * n)
        for level, n in zip((finest, coarser), counts, strict=True)
    ]
    error = float(np.hypot(parts[0], value * parts[1]) / max(coarser, LEAST_GRAIN))
    if (
        value < 1
        and smoothed(value)
        and not smoothed(value + UNSURE_ROUNDING / max(coarser, LEAST_GRAIN))
    ):
        return not_measurable(name, NEAR_ROUNDING, **where)
    limit = WHITE[value > 1] if smoothed(value) else 1.0
    band = int(value < 1)  # the one that texture would have to be in
    left = (LEFT_OF_TWO if spectrum.two else LEFT_OF_COLOURS)[band] * taken[band]
    beyond = _unexplained(value, limit, (finest, coarser)) > left
    status, why = _doubt(value, error, spectrum, beyond=beyond)
    if status == "not-measurable":
        return not_measurable(name, why or LIKE_TEXTURE, **where)
    words, kind = (why.words, why.kind) if why else ("", None)
    return Measurement(name, value, error, status, words, reason_kind=kind, **where)


def _doubt(
    value: float, error: float, spectrum: _Spectrum, *, beyond: bool
) -> tuple[Status, Reason | None]:
    """What a value is worth; `beyond` if more is bent than texture that is left could bend."""
    if smoothed(value):
        known = beyond and (spectrum.two or spectrum.paper)
        return ("ok", NOT_WHITE) if known else ("not-measurable", LIKE_TEXTURE)
    if spectrum.two:
        if beyond or abs(value - 1) <= SIGMAS_OF_TWO * error:
            return "ok", OF_TWO
        return ("at-least", TEXTURE_TAKES) if value < 1 else ("at-most", TEXTURE_LEFT)
    return ("at-least", TEXTURE_TAKES) if value < 1 - SIGMAS * error else ("ok", None)


def _unexplained(value: float, limit: float, bands: tuple[float, float]) -> float:
    """Power that must be texture, if the grain itself keeps to a limit: coarse, or the finest."""
    finest, coarser = bands
    return coarser - finest / limit if value < 1 else finest - coarser * limit
