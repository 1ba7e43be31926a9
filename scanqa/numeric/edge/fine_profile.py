"""The shape of an edge beyond the Gaussian: a smooth correction with a measured prior.

The correction ``D(d)`` to the edge profile is a cubic B-spline. Its knots are even in

    u = w asinh(d / w),    w = 3 px-widths of the edge,

so they lie densely in the blur and sparsely in the tails. Before the data are seen D is a Gaussian
process with covariance ``A² g(u) g(u') R(|u - u'|)``: R is Matérn 5/2, the envelope g says how far
the edge reaches, and A how far its shape departs from the Gaussian. A, the envelope and the length
of R are not chosen: the result is the average over a grid of them, each weighted with its
*evidence*, the probability of the data given it (Rasmussen & Williams, Gaussian Processes for
Machine Learning, 2006, chapter 5). An edge that is Gaussian within the noise keeps the efficiency
of the parametric fit; one that is not gets the freedom it needs and pays for it in variance.

Everything here depends on the pixels only through the normal equations, and everything that does
not depend on the pixels at all is computed once per width (`basis`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from scanqa.model import Floats

Complex: TypeAlias = NDArray[np.complex128]

FREQUENCIES = np.concatenate([np.arange(0, 0.1, 0.002), np.arange(0.1, 1.0025, 0.005)])  # cycles/px
_STEPS_PER_OCTAVE = 4  # of the ladder of widths for which a basis is kept
_AMPLITUDES = np.geomspace(1e-4, 0.4, 13)  # of the contrast; 0 is tried as well

_PLAIN_ODDS = 3.0  # of A = 0 against each other A: optics are often Gaussian within the noise


@dataclass(frozen=True, slots=True, eq=False)
class Basis:
    """Splines for edges of one width.

    Attributes
    ----------
    width, step, limit : float
        Scale w of u, distance of knots in u, and largest |u|.
    size : int
        Number of splines.
    roots : tuple of (size, rank)
        Square roots of the prior covariances, one per envelope and length, for A = 1.
    fourier : (frequencies, size) complex
        Transform of each spline at `FREQUENCIES`: ``∫ b(d) exp(-2πi f d) dd``.
    """

    width: float
    step: float
    limit: float
    size: int
    roots: tuple[Floats, ...]
    fourier: Complex

    def weights(self, d: Floats) -> tuple[NDArray[np.int64], Floats]:
        """First spline (shifted by 3) and the four spline values at each d, (n,) and (4, n).

        Splines that would reach over the limit are left out, so D is 0 at and beyond it; `d` must
        lie within.
        """
        place = (self.width * np.arcsinh(d / self.width) + self.limit) / self.step
        interval = np.clip(place.astype(np.int64), 0, self.size + 2)
        return interval, _cubic(place - interval)

    def sum(self, d: Floats, coefficients: Floats) -> Floats:
        """D at any d, (n,)."""
        padded = np.concatenate([np.zeros(3), coefficients, np.zeros(3)])
        out = np.zeros(d.shape)
        inside = np.abs(d) < self.reach
        first, weight = self.weights(d[inside])
        out[inside] = sum(weight[k] * padded[first + k] for k in range(4))
        return out

    @property
    def reach(self) -> float:
        """Largest |d|, px."""
        return float(self.width * np.sinh(self.limit / self.width)) * (1 - 1e-9)


def _cubic(x: Floats) -> Floats:
    """The four uniform cubic B-splines that overlap an interval, at x in 0..1."""
    y = 1 - x
    x2, y2 = x * x, y * y
    x3, y3 = x2 * x, y2 * y  # a power takes ten times as long
    return np.stack([y3, 4 - 6 * x2 + 3 * x3, 4 - 6 * y2 + 3 * y3, x3]) / 6


def basis(edge_width: float, reach: float) -> Basis:
    """Basis for an edge whose line profile has standard deviation `edge_width` px."""
    rung = round(_STEPS_PER_OCTAVE * np.log2(edge_width / 0.3))
    return _basis(max(rung, -_STEPS_PER_OCTAVE), int(reach))


@lru_cache(maxsize=64)
def _basis(rung: int, reach: int) -> Basis:
    edge_width = 0.3 * 2 ** (rung / _STEPS_PER_OCTAVE)
    width, step = 3 * edge_width, max(0.35 * edge_width, 0.15)
    intervals = max(int(np.ceil(2 * width * np.arcsinh(reach / width) / step)), 8)
    limit = width * np.arcsinh(reach / width)
    step = 2 * limit / intervals
    size = intervals - 3
    centres = -limit + step * (np.arange(size) + 2)
    gap = np.abs(centres[:, None] - centres)
    roots = tuple(
        _root(envelope[:, None] * envelope * _matern(gap / length))
        for envelope in _envelopes(width * np.sinh(centres / width), edge_width)
        for length in (0.7 * edge_width, 1.7 * edge_width)
    )
    return Basis(width, step, limit, size, roots, _fourier(width, step, limit, intervals))


def _envelopes(d: Floats, edge_width: float) -> tuple[Floats, Floats]:
    """How far a departure may reach: within the blur, or into long tails."""
    near = np.exp(-0.5 * (d / (2 * edge_width)) ** 2)
    far = 1 / (1 + (d / (2.5 * edge_width)) ** 2)
    return near, far


def _matern(x: Floats) -> Floats:
    scaled = np.sqrt(5) * x
    return np.asarray((1 + scaled + scaled**2 / 3) * np.exp(-scaled))


def _root(covariance: Floats) -> Floats:
    values, vectors = np.linalg.eigh(covariance)
    keep = values > 1e-10 * values[-1]
    return np.asarray(vectors[:, keep] * np.sqrt(values[keep]))


def _fourier(width: float, step: float, limit: float, intervals: int) -> Complex:
    """Transforms of the splines by Gauss-Legendre quadrature within each interval of knots."""
    nodes, weights = np.polynomial.legendre.leggauss(16)
    x = (nodes + 1) / 2
    u = -limit + step * (np.arange(intervals)[:, None] + x)
    d = width * np.sinh(u / width)
    measure = np.cosh(u / width) * weights / 2 * step
    turn = np.exp(-2j * np.pi * FREQUENCIES[:, None, None] * d) * measure
    out = np.zeros((FREQUENCIES.size, intervals + 3), np.complex128)
    for k, cubic in enumerate(_cubic(x)):
        out[:, k : k + intervals] += turn @ cubic
    return out[:, 3:-3]


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """What the pixels say about the splines' coefficients.

    Attributes
    ----------
    gain : (size, size)
        Coefficients = gain @ v, with v the right-hand side of the reduced normal equations.
    covariance : (size, size)
        Posterior covariance, averaged over the grid, the scatter between its members included.
    coefficients : (size,)
    """

    gain: Floats
    covariance: Floats
    coefficients: Floats


def average(shape: Basis, matrix: Floats, right: Floats, *, contrast: float) -> Posterior:
    """Average the coefficients over envelope, length and amplitude, weighted with the evidence.

    Parameters
    ----------
    matrix, right : (size, size), (size,)
        Normal equations of the coefficients after the other parameters were eliminated, weighted
        with the inverse variance of the pixels.
    contrast : float
        Of the edge: amplitudes are relative to it.
    """
    scale = (contrast * np.concatenate([[0.0], _AMPLITUDES])) ** 2
    evidence, filters, bases, shrunk = [], [], [], []
    for root in shape.roots:
        values, vectors = np.linalg.eigh(root.T @ matrix @ root)
        values = np.maximum(values, 0.0)
        turned = root @ vectors
        z = turned.T @ right
        share = scale[:, None] / (1 + scale[:, None] * values)
        evidence.append(0.5 * (share @ (z * z) - np.log1p(scale[:, None] * values).sum(axis=1)))
        evidence[-1][0] += np.log(_PLAIN_ODDS)
        filters.append(share)
        bases.append(turned)
        shrunk.append((share * z) @ turned.T)
    log_weight = np.array(evidence)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    means = np.array(shrunk)
    mean = np.tensordot(weight, means, axes=2)
    gain = np.zeros_like(matrix)
    for turned, share, part in zip(bases, filters, weight, strict=True):
        gain += (turned * (part @ share)) @ turned.T
    off = (means - mean).reshape(-1, mean.size)
    scatter = (off * weight.reshape(-1, 1)).T @ off
    return Posterior(gain, gain + scatter, mean)
