"""Factor and kernel of an interpolation: was a line of samples computed from fewer ones.

Samples interpolated at `f` = 1/factor original samples per sample are weighted sums
``y[n] = Σ_m x[m] k(n f + phase - m)``: *n* of them live in a space of about *n f* dimensions that
the kernel and the phase span (Popescu & Farid 2005 use the same linear dependence of
neighbours, Gallagher 2005 its period). So in a short piece of a line

* the residual outside that space is nothing but rounding when f, kernel and phase are right;
* the best phase of a piece that starts at sample *s* goes as ``s f``: pieces all over the image
  must agree. In an image that was never interpolated each piece prefers a phase of its own, but
  for pieces that lie beside each other: a line of text has one top and one foot for all of them.

The agreement, its *coherence*, is measured by `scanqa.measures.claim.agreement`.

Lines of text at one even pitch agree too. But what the true space leaves is rounding, if no JPEG
came after; and even then the wrong phases leave far more. Where an agreement is that of a multiple
or a mirror of f, the smallest space that holds the lines is the true one.

JPEG's 8 × 8 blocks agree everywhere at multiples of f = 1/8. There the residual decides: they take
away little of it, while the true space takes away most.

Kernels: nearest, linear, Keys cubic with a = -0.5, -0.75 and -1 (Keys 1981), cubic B-spline
(whose space is that of spline interpolation), Lanczos of 3 and 4 lobes.

Not found: a factor outside 1.16 … 8.3, an ideal (sinc) interpolation, which leaves no period, and
an enlargement followed by strong smoothing or by another change of size. Repeats whose ties are
broken irregularly (a factor of exactly 1.5 with rounding errors) are found with a wrong kernel and
perhaps twice the factor. JPEG hides a factor of 8/k from a soft scan.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from scanqa.measures.claim.agreement import APART, FREQUENCIES, coherence, peaks, printed
from scanqa.measures.claim.kernels import DIAGONAL, FINE, KERNELS, outside_fine, packed
from scanqa.model import Floats

FEWEST_STARTS = 18
_SEARCHED = ("linear", "cubic -0.5")  # repeats agree in these spaces too
_SMOOTH = tuple(name for name in KERNELS if name != "nearest")
_COHERENT = 16.0  # by chance once in 1e7, and some 600 frequencies are tried
_COHERENT_SHARE = 0.25  # of the starts, lest hundreds of them make a trace significant
# Share of the residual that the right phase takes away at the least; what agrees with itself for
# other reasons takes away little, and most in small spaces.
_DEPTH, _DEPTH_SMALL, _SMALL = 0.1, 0.25, 0.35
_OUTSIDE = 0.05  # of the variance of print, the most that a space may leave out and be its own
# What the right space leaves is rounding, 1/12 codes², unless JPEG came after. Regular print (lines
# of text at one pitch) agrees as well, but leaves far more and loses little of it by the phase.
# Where no more is left, no print explains it, and the agreement need not be as high as `_COHERENT`.
_ROUNDING, _DEPTH_ROUNDING = 0.2, 0.25  # codes²
_MUCH, _DEPTH_MUCH = 2.0, 0.4  # codes²; JPEG 90 that leaves this much has at least this depth
_DEPTH_REGULAR = 0.6  # where the print repeats at any peak: multiples of its pitch lie everywhere
# At f = k/8, where JPEG agrees too. What JPEG alone reached on native images, qualities 75 to 95,
# lenses of 0.4 to 3 px (tests/benchmarks/claims.py): 0.11 for k to 3; 0.37, 0.50 and 0.69 for 4
# to 6, and then k = 6 always had the most.
_JPEG_NEAR = 0.003
_JPEG_DEPTH = 0.2
_JPEG_DEPTH_45 = 0.6
_JPEG_DEPTH_6 = 0.72
_JPEG_LEAD = 1.5  # of k = 4 and 5 over k = 6
_JPEG_HIDES = 0.5  # of the depth of what was found, in a smaller space at another k
_AS_DEEP = 0.6  # fits this deep, against the deepest, hold the image: the smallest space is its own
_TIED, _TIED_JPEG = 1.01, 1.03  # kernels whose residuals cannot be told apart; JPEG blurs them
_REPEATED = 0.06  # of the usual residual, the most that repeats leave (JPEG)
# Of pairs JPEG 60 over a soft lens leaves 0.12; native pages at quality 40 and up have 0.74.
_REPEATED_TWICE = 0.2


@dataclass(frozen=True, slots=True)
class _Trial:
    """A frequency to look at: does it agree for certain, does the print repeat there."""

    f: float
    coherence: float
    certain: bool
    printed: bool
    alias: bool = False

    @property
    def clear(self) -> bool:
        return self.certain and not self.printed


@dataclass(frozen=True, slots=True)
class Interpolation:
    """An interpolation that was found.

    Attributes
    ----------
    factor, factor_error : float
        Samples delivered for each original one, and its standard uncertainty.
    families : tuple of str
        Kernel family, or the families that fit equally well.
    """

    factor: float
    factor_error: float
    families: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Search:
    """What a search found, and the agreement for each factor tried (for a figure).

    Attributes
    ----------
    bare : bool
        Whether nothing but a period of two samples was found: neighbours depend on each other in
        turn, yet no space holds the lines. Resampled, then altered; the factor is not certain.
    """

    found: Interpolation | None
    bare: bool
    factors: Floats
    coherence: Floats


def find_interpolation(covariances: Floats, means: Floats, starts: NDArray[np.int_]) -> Search:
    """Search pieces of lines for one interpolation that explains them all.

    Parameters
    ----------
    covariances : (pieces, PIECE, PIECE)
        As of `piece_covariance`, in codes².
    means : (pieces, PIECE)
        Mean of the lines of each piece, in codes.
    starts : (pieces,)
        Sample at which each piece starts, as of `draw_starts`. At least `FEWEST_STARTS` different
        ones, or chance may look like agreement.

    Returns
    -------
    Search
    """
    flat = packed(covariances)
    tried = [coherence(flat, starts, name) for name in _SEARCHED]
    highest = peaks(sorted((pair for found in tried for pair in found.tolist()), reverse=True))
    least = max(_COHERENT, _COHERENT_SHARE * len(np.unique(starts)))
    trials = [
        _Trial(f, agreement, agreement >= least, printed(means, starts, f))
        for agreement, f in highest
    ]
    trials += [
        replace(alias, printed=alias.printed or printed(means, starts, alias.f))
        for alias in _aliases(flat, starts, trials)
    ]
    best = _best_fit(flat, starts, trials)
    bare = best is None and _bare(flat, starts, trials)
    return Search(best, bare, 1 / FREQUENCIES, np.max([found[:, 0] for found in tried], axis=0))


def _bare(flat: Floats, starts: NDArray[np.int_], trials: list[_Trial]) -> bool:
    """Whether a period of two samples stands alone: JPEG and regular print bring others."""
    certain = [trial for trial in trials if trial.certain and not trial.alias]
    if len(certain) != 1 or certain[0].printed or abs(certain[0].f - 0.5) > _JPEG_NEAR:
        return False
    return max(depth for _, depth, _ in _fits(flat, starts, certain[0].f)) >= _DEPTH_SMALL


def _aliases(flat: Floats, starts: NDArray[np.int_], trials: list[_Trial]) -> Iterator[_Trial]:
    """Frequencies of which the highest trials may be multiples or mirrors, if they fit at all."""
    known = [trial.f for trial in trials]
    for peak in trials[:3]:
        for f in (
            (whole + sign * peak.f) / n
            for n in (1, 2, 3)
            for whole in range(n + 1)
            for sign in (1, -1)
        ):
            inside = FREQUENCIES[0] <= f <= FREQUENCIES[-1]
            if not inside or any(abs(f - other) < APART / 2 for other in known):
                continue
            known.append(f)
            if _fits(flat, starts, f, ("cubic -0.5",))[0][0] < _MUCH:
                yield replace(peak, f=f, alias=True)


def _best_fit(flat: Floats, starts: NDArray[np.int_], trials: list[_Trial]) -> Interpolation | None:
    """The smallest of the spaces that hold the lines."""
    doubled = _nearest(flat, [trial for trial in trials if trial.clear and not trial.alias])
    if doubled is not None:
        f, agreement = doubled
        return _found(f, agreement, ("nearest",), starts)
    variance = float(flat[:, DIAGONAL].mean())
    regular = any(trial.printed and trial.coherence >= _COHERENT for trial in trials)
    fits, passed_over = [], []
    for trial in trials:
        kernels = _fits(flat, starts, trial.f)
        residual, depth, _ = kernels[0]
        outside = residual * (1 - trial.f) / variance  # 1 - f of the dimensions lie outside
        if residual < _ROUNDING and depth >= _DEPTH_ROUNDING:
            fits.append((trial, kernels))
        elif trial.clear and outside < _OUTSIDE:
            least = _least_depth(flat, starts, trial.f)
            if trial.alias or residual >= _MUCH:
                least = max(least, _DEPTH_MUCH)
            if regular:
                least = max(least, _DEPTH_REGULAR)
            if depth >= least:
                fits.append((trial, kernels))
            elif _of_jpeg(trial.f):
                passed_over.append((trial.f, depth))
    if not fits:
        return None
    deepest = max(kernels[0][1] for _, kernels in fits)
    deep = [fit for fit in fits if fit[1][0][1] >= _AS_DEEP * deepest]
    trial, kernels = min(deep, key=lambda fit: fit[0].f)
    f, depth = trial.f, kernels[0][1]
    if _of_jpeg(f) and any(at < f and had > _JPEG_HIDES * depth for at, had in passed_over):
        return None  # JPEG hides which of the two it is
    return _found(f, trial.coherence, _families(f, kernels), starts)


def _found(
    f: float, agreement: float, families: tuple[str, ...], starts: NDArray[np.int_]
) -> Interpolation:
    error = 1 / (2 * np.pi * np.std(starts) * np.sqrt(2 * agreement))
    return Interpolation(1 / f, float(error / f**2), families)


def _of_jpeg(f: float) -> bool:
    return abs(f - round(8 * f) / 8) <= _JPEG_NEAR


def _least_depth(flat: Floats, starts: NDArray[np.int_], f: float) -> float:
    k = round(8 * f)
    if not _of_jpeg(f):
        return _DEPTH if f > _SMALL else _DEPTH_SMALL
    if k in (4, 5):
        lead = _JPEG_LEAD * _fits(flat, starts, 6 / 8)[0][1]
        return min(max(_JPEG_DEPTH, lead), _JPEG_DEPTH_45)
    return _JPEG_DEPTH if k < 4 else _JPEG_DEPTH_6


def _fits(
    flat: Floats, starts: NDArray[np.int_], f: float, names: tuple[str, ...] = _SMOOTH
) -> list[tuple[float, float, str]]:
    """Each smooth kernel's residual in codes² per dimension, depth and name, the best first."""
    turn = np.round(starts * f * FINE).astype(int)
    phases = (np.arange(FINE)[:, np.newaxis] + turn) % FINE  # (phases, pieces)
    pieces = np.arange(len(flat))
    fits = []
    for name in names:
        outside, dimensions = outside_fine(round(f, 6), name)
        residual = flat @ outside.T
        total = residual[pieces, phases].sum(axis=1) / dimensions[phases].sum(axis=1)
        least = max(float(total.min()), 0.0)
        fits.append((least, 1 - least / max(float(np.median(total)), 1e-9), name))
    return sorted(fits)


def _families(f: float, fits: list[tuple[float, float, str]]) -> tuple[str, ...]:
    residuals = {name: residual for residual, _, name in fits}
    least = fits[0][0]
    within = _TIED if least < _ROUNDING else _TIED_JPEG
    tied = [KERNELS[name].family for residual, _, name in fits if residual <= within * least]
    # At a quarter from the pixel centres Keys' weights with a = -0.5 are those of linear
    # interpolation, filtered alike for both phases: at twice the size the spaces are the same.
    same_space = abs(residuals["linear"] / max(residuals["cubic -0.5"], 1e-9) - 1) < 0.1
    if abs(f - 0.5) < 0.001 and {"linear", "cubic"} & set(tied) and same_space:
        tied = ["linear", "cubic"]
    return tuple(dict.fromkeys(tied))


def _nearest(flat: Floats, trials: list[_Trial]) -> tuple[float, float] | None:
    """Frequency and coherence if samples are repeated.

    Repeats agree as well at multiples and aliases of their frequency, and spaces of higher
    frequencies hold them too: the lowest frequency that fits is theirs. Ties are rounded either
    way, differently along a line: each piece may choose its phase.
    """
    aliases = {
        round(candidate, 5): peak.coherence
        for peak in reversed(trials)
        for multiple in range(1, 5)
        for whole in range(multiple + 1)
        for candidate in ((whole + peak.f) / multiple, (whole - peak.f) / multiple)
        if FREQUENCIES[0] <= candidate <= FREQUENCIES[-1]
    }
    for f, agreement in sorted(aliases.items()):
        outside, dimensions = outside_fine(f, "nearest")
        residual = (flat @ outside.T) / dimensions
        least, usual = float(residual.min(axis=1).sum()), float(residual.mean(axis=1).sum())
        twice = abs(f - 0.5) <= _JPEG_NEAR
        if least < (_REPEATED_TWICE if twice else _REPEATED) * usual:
            return f, agreement
    return None
