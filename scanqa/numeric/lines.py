"""Narrow lines in a stack of profiles: least-squares amplitude of a line on a cubic background.

The input is a stack (signals, bands, samples): each band is the profile of one part of a page,
each signal one channel; a line runs through several bands at the same sample. For each of a
range of widths the amplitude of a raised-cosine line is estimated at every sample by least
squares together with a cubic background, so that level, slope and bend of the shading around it
drop out (a matched filter; the widths are visited in octaves of a binned pyramid). The noise of
an amplitude is the robust scatter of the amplitudes of all other places, so that whatever does
not average like white noise is counted at its true size: paper texture, sensor pattern, shading.

A line must stand out from *both* its sides and, if wide, explain the profile better than a step
does. It must be borne by most of the bands in which it is said to run: a spot is not.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scanqa.numeric.line_fit import (
    MIN_REACH,
    amplitudes,
    amplitudes_at,
    best_amplitudes,
    measure_at,
    profile_of_line,
    reach_of,
    shape,
)
from scanqa.numeric.spread import CUT_EFFICIENCY, local_sigma

Floats = NDArray[np.float64]

SIDE_SHARE = 0.4  # of its amplitude by which a line must stand out from each side …
WIDE, WIDE_SHARE = 4, 0.2  # … and from this many samples on, where the bed bends within them
LEAST_BANDS = 3  # a shorter line cannot be told from a spot
PASSES = 6  # strong lines hide weak ones: each pass finds what the last uncovered
MOST_GROUPS = 16  # bands are joined to this many when parts of the page are searched
CUT = 8.0  # log likelihood that an end of a line must gain to be cut off
_TINY = float(np.finfo(np.float64).tiny)


@dataclass(frozen=True, slots=True)
class Line:
    """A line in the stack.

    Attributes
    ----------
    at, width : float
        Sample of its middle and full width at half height, in samples.
    amplitude, sigma : float
        Signed height at its middle and the standard uncertainty of it, in units of the stack.
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
    sigma: float
    significance: float
    signal: int
    bands: tuple[int, int]


@dataclass(frozen=True, slots=True)
class _Candidate:
    excess: float  # amplitude over its threshold
    at: int
    width: int
    amplitude: float
    sigma: float
    signal: int
    bands: tuple[int, int]

    @property
    def reach(self) -> int:
        return reach_of(self.width)


def scales(max_width: float) -> Iterator[tuple[int, int]]:
    """(bin, width in bins) from 1 sample to `max_width` samples, about half an octave apart."""
    yield 1, 1
    factor = 1
    while True:
        for width in (2, 3):
            if factor * width > max(max_width, 1):
                return
            yield factor, width
        factor *= 2


def spans(bands: int) -> list[tuple[int, int]]:
    """All bands, then overlapping halves, quarters and eighths of at least three bands."""
    out = [(0, bands)]
    for parts in (2, 4, 8):
        length = bands // parts
        if length < LEAST_BANDS:
            break
        starts = np.unique(np.linspace(0, bands - length, 2 * parts - 1).round().astype(int))
        out += [(int(start), int(start) + length) for start in starts]
    return out


def threshold(false_alarms: float, tests: float, independent: float) -> float:
    """Multiple of a *estimated* sigma that noise passes with the stated family-wise probability.

    Student's t, because sigma was itself estimated from a
    number of independent values that is small for wide lines. Bonferroni over `tests`, two-sided.
    """
    from scipy.special import stdtrit

    freedom = max(CUT_EFFICIENCY * independent, 3.0)
    return float(-stdtrit(freedom, false_alarms / (2 * tests)))


def find_lines(
    stack: Floats,
    weights: Floats,
    *,
    max_width: float,
    false_alarms: float,
    floor: float = 0.0,
    bend: float = 0.0,
    block: int = 600,
) -> list[Line]:
    """All significant lines of a stack, the most significant first, each once.

    Parameters
    ----------
    stack : (signals, bands, samples) float64
        Profiles, for contrasts the natural logarithm of light. Not changed.
    weights : (bands,) float64
        Weight of each band (its height).
    max_width : float
        Widest line searched for, in samples.
    false_alarms : float
        Probability that a stack of pure noise gives any line at all.
    floor : float
        Smallest noise of an amplitude to believe in (quantisation without dither).
    bend : float
        Standard uncertainty that the bends of the background add to an amplitude, per sample of
        line width.
    block : int
        Samples over which noise is taken to be even.

    Returns
    -------
    list of Line
    """
    samples = stack.shape[-1]
    work = stack.copy()
    found: list[Line] = []
    if samples < 2 * MIN_REACH + 8:
        return found
    for _ in range(PASSES):
        candidates = _candidates(work, weights, max_width, false_alarms, floor, bend, block)
        confirmed = _confirmed(work, weights, candidates, floor, block)
        for candidate, line in confirmed:
            found.append(line)
            _paint_over(work, candidate)
        if not confirmed:
            break
    return sorted(found, key=lambda line: -line.significance)


def _candidates(
    work: Floats,
    weights: Floats,
    max_width: float,
    false_alarms: float,
    floor: float,
    bend: float,
    block: int,
) -> Iterator[_Candidate]:
    """Local maxima over their threshold: all bands in every signal, parts in the first one."""
    signals, bands, samples = work.shape
    groups = _groups(bands)
    starts = [first for first, _ in groups]
    sums = np.add.reduceat(weights, starts)
    grouped = np.add.reduceat(work * weights[:, None], starts, axis=1) / sums[:, None]
    whole_page = np.einsum("b,sbn->sn", weights / weights.sum(), work)
    parts = spans(len(groups))[1:]
    in_all = np.zeros((len(parts), len(groups)))
    for shares, (first, end) in zip(in_all, parts, strict=True):
        shares[first:end] = sums[first:end] / sums[first:end].sum()
    searched = np.concatenate([whole_page, in_all @ grouped[0]])
    where = [(signal, (0, bands)) for signal in range(signals)]
    where += [(0, (groups[first][0], groups[end - 1][1])) for first, end in parts]

    used = [
        (factor, width)
        for factor, width in scales(max_width)
        if samples // factor > 2 * reach_of(width) + 8
    ]
    for factor, width in used:
        whole = samples // factor
        reach = reach_of(width)
        binned = searched[:, : whole * factor].reshape(-1, whole, factor).mean(axis=-1)
        # Grain is correlated over a few samples only, and a coarse profile is too short to tell.
        estimate = best_amplitudes if factor == 1 else amplitudes
        values = estimate(binned, width)[:, reach : whole - reach]
        spread = local_sigma(values, max(block // factor, 16 * width))
        noise = np.maximum(spread, floor)
        bends = bend * width * factor
        freedom = values.shape[1] / (1.5 * width)
        tests = len(used) * values.shape[1] * np.full(len(where), float(signals))
        tests[signals:] = len(used) * values.shape[1] * len(parts)
        limits = np.hypot(
            noise * [[threshold(false_alarms / 2, count, freedom)] for count in tests],
            bends * threshold(false_alarms / 2, float(tests.max()), math.inf),
        )
        sigma = np.hypot(noise, bends)
        excess = np.abs(values) / np.maximum(limits, _TINY)
        for row, index in _peaks(excess, width):
            signal, run = where[row]
            yield _Candidate(
                excess=float(excess[row, index]),
                at=round((index + reach + 0.5) * factor - 0.5),
                width=width * factor,
                amplitude=float(values[row, index]),
                sigma=max(float(sigma[row, index]), _TINY),
                signal=signal,
                bands=run,
            )


def _groups(bands: int) -> list[tuple[int, int]]:
    """Neighbouring bands joined to at most `MOST_GROUPS`, for the search only."""
    ends = np.linspace(0, bands, min(bands, MOST_GROUPS) + 1).round().astype(int)
    return [(int(first), int(end)) for first, end in itertools.pairwise(ends)]


def _peaks(excess: Floats, width: int) -> Iterator[tuple[int, int]]:
    from scipy.ndimage import maximum_filter1d

    if excess.max() <= 1:
        return
    tops = (excess > 1) & (excess == maximum_filter1d(excess, 2 * width + 1, axis=-1))
    for row, index in zip(*np.nonzero(tops), strict=True):
        yield int(row), int(index)


def _confirmed(
    work: Floats,
    weights: Floats,
    candidates: Iterator[_Candidate],
    floor: float,
    block: int,
) -> list[tuple[_Candidate, Line]]:
    """Lines, the strongest first, that no stronger candidate could have caused by itself.

    A line answers at all widths and places that its kernel reaches. A step or a shadow that was
    taken for a line answers at its own width and above; a narrow line beside it is still seen.
    """
    kept: list[tuple[_Candidate, Line]] = []
    refused: list[_Candidate] = []
    for one in sorted(candidates, key=lambda c: -c.excess):
        if any(abs(one.at - other.at) <= other.reach + one.reach for other, _ in kept):
            continue
        if any(
            abs(one.at - other.at) <= other.reach and one.width >= other.width / 3
            for other in refused
        ):
            continue
        line = _confirm(work, weights, one, floor, block)
        if line is None:
            refused.append(one)
        else:
            kept.append((one, line))
    return kept


def _confirm(
    work: Floats, weights: Floats, candidate: _Candidate, floor: float, block: int
) -> Line | None:
    """The line behind a candidate, or None if it is a step, a slope or a spot."""
    signal = work[candidate.signal]
    at, width = candidate.at, candidate.width
    first, end = candidate.bands
    profile = weights[first:end] @ signal[first:end] / weights[first:end].sum()
    at = _recentre(profile, at, width)
    of_bands = amplitudes_at(signal, at, width)
    amplitude = float(weights[first:end] @ of_bands[first:end] / weights[first:end].sum())
    if amplitude * candidate.amplitude <= 0:
        return None
    bands = extent(of_bands, amplitude)
    part = slice(*bands)
    amplitude = float(weights[part] @ of_bands[part] / weights[part].sum())
    if bands[1] - bands[0] < min(LEAST_BANDS, len(of_bands)):
        return None
    sign = math.copysign(1.0, candidate.amplitude)
    if np.median(sign * of_bands[part]) < 0.5 * sign * amplitude:
        return None
    profile = weights[part] @ signal[part] / weights[part].sum()
    if not _stands_out(profile, at, width, amplitude):
        return None
    middle, full_width = shape(profile, at, width, sign)
    heights, sigmas = measure_at(
        signal[None], weights, round(middle), max(round(full_width), 1), bands, block=block
    )
    height, sigma = float(heights[0]), float(sigmas[0])
    if height * sign <= 0:
        return None
    return Line(
        at=middle,
        width=full_width,
        amplitude=height,
        sigma=max(sigma, floor),
        significance=abs(candidate.amplitude) / candidate.sigma,
        signal=candidate.signal,
        bands=bands,
    )


def _recentre(profile: Floats, at: int, width: int) -> int:
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

    The comparison with steps is kept from narrow lines: smooth grain looks more like a step.
    """
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
    return explained(profile_of_line(width, x)[None]) > explained(steps)


def _sides(profile: Floats, at: int, width: int) -> Floats:
    """By how much the middle stands above its left and right flank, the wide slope taken off."""
    half = width // 2
    gap, length = width + 1, width + 4
    middle = profile[at - half : at + half + 1].mean()
    left = profile[max(at - gap - length, 0) : max(at - gap, 1)].mean()
    right = profile[at + gap + 1 : at + gap + 1 + length].mean()
    far = 6 * width + 20
    slope = 0.0
    if at - far - length >= 0 and at + far + length < profile.size:
        before = np.median(profile[at - far - length : at - far])
        after = np.median(profile[at + far + 1 : at + far + 1 + length])
        slope = float(after - before) / (2 * far + length)
    shift = slope * (gap + length / 2)
    return np.array([middle - left - shift, middle - right + shift])


def _paint_over(work: Floats, candidate: _Candidate) -> None:
    """Replace a line by a straight bridge between its flanks, in every signal and band.

    The bridge fades into the flanks: a kink would look like a line in smooth grain.
    """
    at, flank = candidate.at, max(candidate.width, 6)
    inner = candidate.width + candidate.width // 2 + 1
    x = np.arange(max(at - inner - flank, 0), min(at + inner + flank + 1, work.shape[-1]))
    far = np.abs(x - at) > inner
    left, right = x[far & (x < at)], x[far & (x > at)]
    if not left.size or not right.size:
        return
    ends = work[..., left].mean(axis=-1), work[..., right].mean(axis=-1)
    share = (x - left.mean()) / (right.mean() - left.mean())
    bridge = ends[0][..., None] * (1 - share) + ends[1][..., None] * share
    fade = np.clip((inner + flank - np.abs(x - at)) / flank, 0.0, 1.0)
    smooth = fade * fade * (3 - 2 * fade)
    work[..., x] += smooth * (bridge - work[..., x])
