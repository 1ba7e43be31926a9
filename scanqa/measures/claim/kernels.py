"""Kernels of interpolation, and what pieces of lines that they computed cannot hold.

A piece of `PIECE` samples computed at f original samples per sample lives in a space of about
``PIECE f`` dimensions, which the kernel and the phase span.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np
from numpy.typing import NDArray

from scanqa.model import Floats

PIECE = 64  # samples in a piece: some ten times the widest kernel
COARSE, FINE = 6, 32  # phases of the search, of the fit
_UPPER = np.triu_indices(PIECE)  # of a symmetric matrix, packed: half of all products
_TWICE = np.where(_UPPER[0] == _UPPER[1], 1.0, 2.0)
DIAGONAL = np.flatnonzero(_UPPER[0] == _UPPER[1])
LEAST_POWER = 1e-6  # of the largest; originals out of reach, or all but so, add nothing


@dataclass(frozen=True, slots=True)
class Kernel:
    """An interpolation kernel: its family, half its support and its weights."""

    family: str
    reach: float
    weights: Callable[[Floats], Floats]


def _box(t: Floats) -> Floats:
    return ((t >= -0.5) & (t < 0.5)).astype(np.float64)


def _triangle(t: Floats) -> Floats:
    return np.asarray(np.maximum(1 - np.abs(t), 0))


def _keys(a: float) -> Callable[[Floats], Floats]:
    def weights(t: Floats) -> Floats:
        t = np.abs(t)
        near = ((a + 2) * t - (a + 3)) * t * t + 1
        far = a * (((t - 5) * t + 8) * t - 4)
        return np.where(t < 1, near, np.where(t < 2, far, 0.0))

    return weights


def _spline(t: Floats) -> Floats:
    t = np.abs(t)
    u = 2 - t
    return np.where(t < 1, 2 / 3 - t * t * (1 - t / 2), np.where(t < 2, u * u * u / 6, 0.0))


def _lanczos(lobes: int) -> Callable[[Floats], Floats]:
    def weights(t: Floats) -> Floats:
        return np.where(np.abs(t) < lobes, np.sinc(t) * np.sinc(t / lobes), 0.0)

    return weights


KERNELS = {
    "nearest": Kernel("nearest", 0.5, _box),
    "linear": Kernel("linear", 1, _triangle),
    "cubic -0.5": Kernel("cubic", 2, _keys(-0.5)),
    "cubic -0.75": Kernel("cubic", 2, _keys(-0.75)),
    "cubic -1": Kernel("cubic", 2, _keys(-1.0)),
    "cubic spline": Kernel("cubic", 2, _spline),
    "lanczos 3": Kernel("Lanczos", 3, _lanczos(3)),
    "lanczos 4": Kernel("Lanczos", 4, _lanczos(4)),
}


def packed(covariances: Floats) -> Floats:
    """Covariances (n, PIECE, PIECE) as (n, half of PIECE²).

    The product with a projector of this module is the trace of the product of both matrices.
    """
    return np.asarray(covariances[:, _UPPER[0], _UPPER[1]] * _TWICE)


@cache  # 15 MB for a kernel
def outside_coarse(frequencies: tuple[float, ...], name: str) -> NDArray[np.float32]:
    """Projectors of the search, packed, × (frequencies × COARSE): on what no space holds."""
    return np.concatenate([_outside(f, name, COARSE)[0] for f in frequencies], dtype=np.float32).T


@lru_cache(maxsize=32)  # one set of `FINE` phases is half a MB; a frequency is asked for twice
def outside_fine(f: float, name: str) -> tuple[Floats, NDArray[np.int_]]:
    """Projectors of the fit, (FINE, packed), and their ranks, (FINE,)."""
    return _outside(f, name, FINE)


def forget() -> None:
    """Let go of all projectors: 45 MB that nothing else needs."""
    outside_coarse.cache_clear()
    outside_fine.cache_clear()


def _outside(f: float, name: str, phases: int) -> tuple[Floats, NDArray[np.int_]]:
    """Projectors on what the kernel's space does not hold: (phases, packed), and their ranks."""
    kernel = KERNELS[name]
    at = np.arange(PIECE) * f + np.arange(phases)[:, np.newaxis] / phases
    originals = np.arange(np.floor(-kernel.reach), np.ceil(at.max() + kernel.reach) + 1)
    basis = kernel.weights(at[..., np.newaxis] - originals)
    basis /= basis.sum(axis=2, keepdims=True)
    # Eigenvectors of the Gram matrix cost half of a decomposition of the basis.
    power, turn = np.linalg.eigh(basis.transpose(0, 2, 1) @ basis)
    kept = power > LEAST_POWER * power[:, -1:]
    span = (basis @ turn) * np.where(kept, 1 / np.sqrt(np.where(kept, power, 1)), 0)[:, np.newaxis]
    projectors = np.eye(PIECE) - span @ span.transpose(0, 2, 1)
    return projectors[:, _UPPER[0], _UPPER[1]], PIECE - kept.sum(axis=1)
