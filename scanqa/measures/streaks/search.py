"""Narrow lines in a stack of profiles: least-squares amplitude of a line on a cubic background.

The input is a stack (signals, bands, samples): each band is the profile of one part of a page,
each signal one channel; a line runs through several bands at the same sample. For each of a
range of widths the amplitude of a raised-cosine line is estimated at every sample by least
squares together with a cubic background, so that level, slope and bend of the shading around it
drop out (a matched filter; the widths are visited in octaves of a binned pyramid). The noise of
an amplitude is the robust scatter of the amplitudes of all other places, so that whatever does
not average like white noise is counted at its true size: paper texture, sensor pattern, shading.

What is over its threshold is a candidate; `scanqa.measures.streaks.confirm` says what is a line.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from scanqa.measures.streaks.confirm import LEAST_BANDS, Candidate, Line, confirm
from scanqa.model import Floats
from scanqa.numeric.line_fit import MIN_REACH, amplitudes, best_amplitudes, reach_of
from scanqa.numeric.spread import CUT_EFFICIENCY, local_sigma

PASSES = 6  # strong lines hide weak ones: each pass finds what the last uncovered
HIGHER = 1.25  # a step is as high at all widths; the flank of a band is lower than its middle
MOST_GROUPS = 16  # bands are joined to this many when parts of the page are searched
POWER = 1.645  # standard uncertainties above its threshold: a line there is found 95 times in 100
_TINY = float(np.finfo(np.float64).tiny)

Run = tuple[int, int]  # first and end of a half-open range of bands


@dataclass(frozen=True, slots=True)
class Sought:
    """What is looked for.

    Attributes
    ----------
    max_width : float
        Widest line, in samples.
    false_alarms : float
        Probability that a stack of pure noise gives any line at all.
    floor : float
        Smallest noise of an amplitude to believe in (quantisation without dither).
    bend : float
        Standard uncertainty that the bends of the background add to an amplitude, per sample of
        line width.
    block : int
        Samples over which noise is taken to be even.
    dilution : float
        By how much the narrowest line is thinned where samples are means of several columns.
    """

    max_width: float
    false_alarms: float
    floor: float = 0.0
    bend: float = 0.0
    block: int = 600
    dilution: float = 1.0


def find_lines(stack: Floats, weights: Floats, sought: Sought) -> list[Line]:
    """All significant lines of a stack, the most significant first, each once.

    Parameters
    ----------
    stack : (signals, bands, samples) float64
        Profiles, for contrasts the natural logarithm of light. Not changed.
    weights : (bands,) float64
        Weight of each band (its height).
    sought : Sought
        Widths, and what counts as significant.

    Returns
    -------
    list of Line
    """
    work = stack.copy()
    found: list[Line] = []
    if stack.shape[-1] < 2 * MIN_REACH + 8:
        return found
    for _ in range(PASSES):
        confirmed = _confirmed(work, weights, _candidates(work, weights, sought), sought.block)
        for candidate, line in confirmed:
            found.append(line)
            _paint_over(work, candidate)
        if not confirmed:
            break
    return sorted(found, key=lambda line: -line.significance)


def least_found(stack: Floats, weights: Floats, sought: Sought) -> float:
    """Amplitude from which on a line through the whole page is found, whatever its width.

    Parameters
    ----------
    stack, weights, sought :
        As for `find_lines`; of the signals the first counts.

    Returns
    -------
    float
        The highest threshold of all widths, at a place like most, and `POWER` standard
        uncertainties of an amplitude beside it: a line at the threshold itself is missed as often
        as it is found. Infinite for a profile too short to be searched.
    """
    profiles, _ = _profiles_to_search(stack, weights)
    signals, samples = len(stack), stack.shape[-1]
    scales = _scales_within(sought.max_width, samples)
    tests = np.array([float(len(scales) * signals)])
    least = [math.inf] if not scales else []
    for factor, width in scales:
        _, sigma, limits = _tested(profiles[:1], factor, width, tests, sought)
        least.append(float(np.median(limits + POWER * sigma)))
    return max(sought.dilution * least[0], *least)


# ------------------------------------------------------------------------- widths and runs


def _scales(max_width: float) -> Iterator[tuple[int, int]]:
    """(bin, width in bins) from 1 sample to `max_width` samples, about half an octave apart."""
    yield 1, 1
    factor = 1
    while True:
        for width in (2, 3):
            if factor * width > max(max_width, 1):
                return
            yield factor, width
        factor *= 2


def _scales_within(max_width: float, samples: int) -> list[tuple[int, int]]:
    """Those that a profile of so many samples is long enough for."""
    return [
        (factor, width)
        for factor, width in _scales(max_width)
        if samples // factor > 2 * reach_of(width) + 8
    ]


def _runs(bands: int) -> list[Run]:
    """Overlapping halves, quarters and eighths of at least three bands."""
    out = []
    for parts in (2, 4, 8):
        length = bands // parts
        if length < LEAST_BANDS:
            break
        starts = np.unique(np.linspace(0, bands - length, 2 * parts - 1).round().astype(int))
        out += [(int(start), int(start) + length) for start in starts]
    return out


def _groups(bands: int) -> list[Run]:
    """Neighbouring bands joined to at most `MOST_GROUPS`, for the search only."""
    ends = np.linspace(0, bands, min(bands, MOST_GROUPS) + 1).round().astype(int)
    return [(int(first), int(end)) for first, end in itertools.pairwise(ends)]


def _profiles_to_search(work: Floats, weights: Floats) -> tuple[Floats, list[tuple[int, Run]]]:
    """Mean of all bands in every signal, then of parts of them in the first; and which these are.

    Returns
    -------
    profiles : (signals + parts, samples)
    where : list of (signal, bands)
    """
    signals, bands, _ = work.shape
    groups = _groups(bands)
    starts = [first for first, _ in groups]
    sums = np.add.reduceat(weights, starts)
    grouped = np.add.reduceat(work * weights[:, None], starts, axis=1) / sums[:, None]
    whole_page = np.einsum("b,sbn->sn", weights / weights.sum(), work)
    runs = _runs(len(groups))
    in_all = np.zeros((len(runs), len(groups)))
    for shares, (first, end) in zip(in_all, runs, strict=True):
        shares[first:end] = sums[first:end] / sums[first:end].sum()
    where = [(signal, (0, bands)) for signal in range(signals)]
    where += [(0, (groups[first][0], groups[end - 1][1])) for first, end in runs]
    return np.concatenate([whole_page, in_all @ grouped[0]]), where


# ------------------------------------------------------------------------------ candidates


def _candidates(work: Floats, weights: Floats, sought: Sought) -> Iterator[Candidate]:
    """Local maxima over their threshold: all bands in every signal, parts in the first one."""
    profiles, where = _profiles_to_search(work, weights)
    signals, samples = len(work), work.shape[-1]
    scales = _scales_within(sought.max_width, samples)
    tests = len(scales) * np.repeat(
        [float(signals), float(len(where) - signals)], [signals, len(where) - signals]
    )
    for factor, width in scales:
        reach = reach_of(width)
        values, sigma, limits = _tested(profiles, factor, width, tests, sought)
        excess = np.abs(values) / np.maximum(limits, _TINY)
        for row, index in _peaks(excess, width):
            signal, run = where[row]
            yield Candidate(
                excess=float(excess[row, index]),
                at=round((index + reach + 0.5) * factor - 0.5),
                width=width * factor,
                amplitude=float(values[row, index]),
                sigma=max(float(sigma[row, index]), _TINY),
                signal=signal,
                bands=run,
            )


def _tested(
    profiles: Floats, factor: int, width: int, tests: Floats, sought: Sought
) -> tuple[Floats, Floats, Floats]:
    """Amplitudes of lines `width` bins of `factor` samples wide, their sigmas and thresholds.

    `tests` is how often each profile is tested at every place; all arrays are (profiles, places).
    """
    whole, reach = profiles.shape[-1] // factor, reach_of(width)
    binned = profiles[:, : whole * factor].reshape(-1, whole, factor).mean(axis=-1)
    # Grain is correlated over a few samples only, and a coarse profile is too short to tell.
    estimate = best_amplitudes if factor == 1 else amplitudes
    values = estimate(binned, width)[:, reach : whole - reach]
    places = values.shape[1]
    noise = np.maximum(local_sigma(values, max(sought.block // factor, 16 * width)), sought.floor)
    bends = sought.bend * width * factor
    half, freedom = sought.false_alarms / 2, places / (1.5 * width)
    limits = np.hypot(
        noise * [[_threshold(half, count * places, freedom)] for count in tests],
        bends * _threshold(half, float(tests.max()) * places, math.inf),
    )
    return values, np.hypot(noise, bends), limits


def _threshold(false_alarms: float, tests: float, independent: float) -> float:
    """Multiple of a *estimated* sigma that noise passes with the stated family-wise probability.

    Student's t, because sigma was itself estimated from a
    number of independent values that is small for wide lines. Bonferroni over `tests`, two-sided.
    """
    from scipy.special import stdtrit

    freedom = max(CUT_EFFICIENCY * independent, 3.0)
    return float(-stdtrit(freedom, false_alarms / (2 * tests)))


def _peaks(excess: Floats, width: int) -> Iterator[tuple[int, int]]:
    from scipy.ndimage import maximum_filter1d

    if excess.max() <= 1:
        return
    tops = (excess > 1) & (excess == maximum_filter1d(excess, 2 * width + 1, axis=-1))
    for row, index in zip(*np.nonzero(tops), strict=True):
        yield int(row), int(index)


def _confirmed(
    work: Floats, weights: Floats, candidates: Iterable[Candidate], block: int
) -> list[tuple[Candidate, Line]]:
    """Lines, the strongest first, that no stronger candidate could have caused by itself.

    A line answers at all widths and places that its kernel reaches. A step or a shadow that was
    taken for a line answers at its own width and above; a narrow line beside it is still seen,
    and so is a band whose hard flanks were taken for lines.
    """
    kept: list[tuple[Candidate, Line]] = []
    refused: list[Candidate] = []
    for one in sorted(candidates, key=lambda c: -c.excess):
        if any(abs(one.at - other.at) <= other.reach + one.reach for other, _ in kept):
            continue
        if any(_is_echo(one, other) for other in refused):
            continue
        line = confirm(work, weights, one, block=block)
        if line is None:
            refused.append(one)
        else:
            kept.append((one, line))
    return kept


def _is_echo(one: Candidate, refused: Candidate) -> bool:
    """Whether a candidate is what a refused one answers at other widths: no higher than that."""
    near = abs(one.at - refused.at) <= refused.reach and one.width >= refused.width / 3
    return near and abs(one.amplitude) < HIGHER * abs(refused.amplitude)


def _paint_over(work: Floats, candidate: Candidate) -> None:
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
