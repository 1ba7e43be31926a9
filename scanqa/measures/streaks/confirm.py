"""Whether a candidate is a line: not a step, a shadow or a spot, and borne by most of its bands.

A line must stand out from *both* its sides and, if wide, explain the profile better than a step
does. It must be borne by most of the bands in which it is said to run: a spot is not.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from scanqa.model import Floats
from scanqa.numeric.line_fit import (
    amplitudes_at,
    measure_at,
    profile_of_line,
    reach_of,
    shape,
)

SIDE_SHARE = 0.4  # of its amplitude by which a line must stand out from each side …
WIDE, WIDE_SHARE = 4, 0.2  # … and from this many samples on, where the bed bends within them
# By how many times a line, and by what share, the light must change for its bend to pass for one.
STEEP, SHADOW = 3.0, 0.1
BEND_DEGREE = 7  # of a curve that leaves a quarter of a line at least
WIDER = (1.0, 1.4, 2.0)  # times the width that was searched, that a band may have
LEAST_BANDS = 3  # a shorter line cannot be told from a spot
CUT = 8.0  # log likelihood that an end of a line must gain to be cut off


@dataclass(frozen=True, slots=True)
class Candidate:
    """A place, width and run of bands whose amplitude is over its threshold.

    Attributes
    ----------
    excess : float
        Amplitude over its threshold.
    at, width : int
        Samples.
    amplitude, sigma : float
        Signed, in units of the stack, with its standard uncertainty in the search.
    signal : int
        The signal in which it was found.
    bands : (first, end)
        Half-open range of the bands that were searched together.
    """

    excess: float
    at: int
    width: int
    amplitude: float
    sigma: float
    signal: int
    bands: tuple[int, int]

    @property
    def reach(self) -> int:
        """Samples on each side that the amplitude rests on."""
        return reach_of(self.width)


@dataclass(frozen=True, slots=True)
class Line:
    """A line in the stack.

    Attributes
    ----------
    at, width : float
        Sample of its middle and full width at half height, in samples.
    amplitude : float
        Signed height at its middle, in units of the stack.
    significance : float
        Height over standard uncertainty in the search, whose kernel suits the noise best.
    signal : int
        The signal in which it stands out most.
    bands : (first, end)
        Half-open range of the bands through which it runs.
    """

    at: float
    width: float
    amplitude: float
    significance: float
    signal: int
    bands: tuple[int, int]


def confirm(work: Floats, weights: Floats, candidate: Candidate, *, block: int) -> Line | None:
    """The line behind a candidate, or None if it is a step, a slope or a spot.

    Parameters
    ----------
    work : (signals, bands, samples)
        Profiles.
    weights : (bands,)
        Weight of each band.
    candidate : Candidate
        What the search found.
    block : int
        Samples over which noise is taken to be even.
    """
    signal = work[candidate.signal]
    width = candidate.width
    sign = math.copysign(1.0, candidate.amplitude)
    at = _recentred(_mean_of(signal, weights, candidate.bands), candidate.at, width)
    of_bands = amplitudes_at(signal, at, width)
    amplitude = float(_mean_of(of_bands, weights, candidate.bands))
    if amplitude * sign <= 0:
        return None
    bands = extent(of_bands, amplitude)
    amplitude = float(_mean_of(of_bands, weights, bands))
    if bands[1] - bands[0] < min(LEAST_BANDS, len(of_bands)):
        return None
    if np.median(sign * of_bands[slice(*bands)]) < 0.5 * sign * amplitude:
        return None
    profile = _mean_of(signal, weights, bands)
    if not _stands_out(profile, at, width, amplitude) or _is_bend(profile, at, width, amplitude):
        return None
    middle, full_width = shape(profile, at, width, sign)
    heights, _ = measure_at(
        signal[None], weights, round(middle), max(round(full_width), 1), bands, block=block
    )
    height = float(heights[0])
    if height * sign <= 0 or _is_bend(profile, round(middle), max(round(full_width), 1), height):
        return None
    return Line(
        at=middle,
        width=full_width,
        amplitude=height,
        significance=abs(candidate.amplitude) / candidate.sigma,
        signal=candidate.signal,
        bands=bands,
    )


def _mean_of(values: Floats, weights: Floats, bands: tuple[int, int]) -> Floats:
    """Weighted mean over a run of bands, (bands, …) to (…)."""
    part = slice(*bands)
    return np.asarray(weights[part] @ values[part] / weights[part].sum())


def _recentred(profile: Floats, at: int, width: int) -> int:
    """The sample with the largest amplitude near a place known to the size of a bin only."""
    reach = max(width // 2, 1)
    places = range(max(at - reach, 0), min(at + reach + 1, profile.size))
    values = [abs(float(amplitudes_at(profile, place, width))) for place in places]
    return places[int(np.argmax(values))]


def extent(of_bands: Floats, amplitude: float) -> tuple[int, int]:
    """Half-open run of bands that bears a line; shorter than all only if that is clearly better.

    The run is the one with the largest sum of (share of the amplitude less one half): a band
    with the whole line counts +1/2, one without it −1/2 (Kadane's maximum sub-array). An end is
    cut off only where the likelihood of the bands beyond it says so beyond doubt.

    Parameters
    ----------
    of_bands : (bands,)
        Amplitude in each band.
    amplitude : float
        Amplitude of the line, signed.
    """
    bands = len(of_bands)
    noise = max(float(np.std(np.diff(of_bands))) / math.sqrt(2), 0.05 * abs(amplitude))
    score = np.clip(of_bands / amplitude - 0.5, -1.5, 1.5)
    best, run = -math.inf, (0, bands)
    total, start = 0.0, 0
    for index, value in enumerate(score):
        if total <= 0:
            total, start = 0.0, index
        total += float(value)
        if total > best:
            best, run = total, (start, index + 1)
    gain = (amplitude / noise) ** 2
    first = run[0] if -gain * score[: run[0]].sum() > CUT else 0
    end = run[1] if -gain * score[run[1] :].sum() > CUT else bands
    return first, end


def _stands_out(profile: Floats, at: int, width: int, amplitude: float) -> bool:
    """Whether a line stands out from both sides, and is no step where it is wide.

    The comparison with steps is kept from narrow lines: smooth grain looks more like a step. Only
    so near an end that the slope of its shadow is not seen on both sides are they compared too.
    """
    if width < WIDE and not _seen_afar(profile, at, width):
        return _is_no_border(profile, at, width)
    least = (SIDE_SHARE if width < WIDE else WIDE_SHARE) * abs(amplitude)
    if min(_sides(profile, at, width) * math.copysign(1.0, amplitude)) < least:
        return False
    return width < WIDE or _is_no_border(profile, at, width)


def _is_no_border(profile: Floats, at: int, width: int) -> bool:
    """Whether a line explains the profile better than any step near it would.

    Each is fitted together with the cubic background: the one that leaves less counts.
    """
    reach = reach_of(width)
    low, high = max(at - reach, 0), min(at + reach + 1, profile.size)
    x = np.arange(low, high, dtype=np.float64) - at
    background = np.linalg.qr(np.vander(x / reach, 4))[0]

    def explained(shapes: Floats) -> float:
        """Most of the sum of squares that any of the (n, samples) shapes takes up."""
        clean = shapes - (shapes @ background) @ background.T
        sizes = np.square(clean).sum(axis=1)
        taken = np.square(clean @ profile[low:high]) / np.maximum(sizes, 1e-9)
        return float(taken.max())

    offsets = np.arange(-2 * width - 1, 2 * width + 2, max(width // 6, 1)) + 0.5
    steps = np.where(x > offsets[:, None], 1.0, 0.0)
    # The search's width may be half of that of a band with a flat top.
    soft = [profile_of_line(share * width, x) for share in WIDER]
    flat = [np.where(np.abs(x) <= share * width / 2, 1.0, 0.0) for share in WIDER]
    return explained(np.array([*soft, *flat])) > explained(steps)


def _is_bend(profile: Floats, at: int, width: int, amplitude: float) -> bool:
    """Whether a curve without any line explains the profile better: the bend of a shadow.

    Looked at only where the light changes by far more than the line, and as only a shadow does:
    there, or from there to an end that is near.
    """
    reach = reach_of(width)
    low, high = max(at - reach, 0), min(at + reach + 1, profile.size)
    x, part = np.arange(low, high, dtype=np.float64) - at, profile[low:high]
    first = 0 if at <= _far(width) else low
    end = profile.size if profile.size - 1 - at <= _far(width) else high
    if np.ptp(part) < STEEP * abs(amplitude) or np.ptp(profile[first:end]) < SHADOW:
        return False
    cubic = np.vander(x / reach, 4)
    line = np.column_stack([profile_of_line(width, x), cubic])
    curve = np.polynomial.legendre.legvander(x / reach, BEND_DEGREE)
    left = [
        float(np.square(part - design @ np.linalg.lstsq(design, part, rcond=None)[0]).sum())
        for design in (line, curve)
    ]
    return left[1] < left[0]


def _far(width: int) -> int:
    """Samples from a line to what the wide slope is taken from."""
    return 6 * width + 20


def _seen_afar(profile: Floats, at: int, width: int) -> bool:
    """Whether the profile goes on far enough on both sides of a line to see the wide slope."""
    beyond = _far(width) + width + 4
    return at - beyond >= 0 and at + beyond < profile.size


def _sides(profile: Floats, at: int, width: int) -> Floats:
    """By how much the middle stands above its left and right flank, the wide slope taken off."""
    half = width // 2
    gap, length = width + 1, width + 4
    middle = profile[at - half : at + half + 1].mean()
    left = profile[max(at - gap - length, 0) : max(at - gap, 1)].mean()
    right = profile[at + gap + 1 : at + gap + 1 + length].mean()
    far = _far(width)
    slope = 0.0
    if _seen_afar(profile, at, width):
        before = np.median(profile[at - far - length : at - far])
        after = np.median(profile[at + far + 1 : at + far + 1 + length])
        slope = float(after - before) / (2 * far + length)
    shift = slope * (gap + length / 2)
    return np.array([middle - left - shift, middle - right + shift])
