"""Slanted edges with known response, computed exactly; shares no code with scanqa.

An ideal straight step is blurred by a profile along the normal and integrated over square pixels
of full fill. A square pixel turned by the slant is, along the normal, a box of width cos(slant)
convolved with a box of width sin(slant); its transform is the product of two sincs. The response
that an exact measurement must give is therefore

    SFR(f) = |profile(f)| · |sinc(f cos)| · |sinc(f sin)|,  f in cycles per pixel along the normal,

with sinc x = sin(πx)/(πx) (Goodman, Introduction to Fourier Optics; Boreman, Modulation Transfer
Function). Gaussian profiles are integrated in closed form, the defocus disc by quadrature.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.special import j1, ndtr


@dataclass(frozen=True)
class Gaussians:
    """A line profile that is a sum of Gaussians: (weight, centre, sigma) in px."""

    parts: tuple[tuple[float, float, float], ...]

    def pixel_edge(self, d, cos, sin):
        """Edge response of a pixel at normal distance d, exact."""
        return sum(
            weight
            * (
                _twice(d - centre + (cos + sin) / 2, sigma)
                - _twice(d - centre + (cos - sin) / 2, sigma)
                - _twice(d - centre - (cos - sin) / 2, sigma)
                + _twice(d - centre - (cos + sin) / 2, sigma)
            )
            / (cos * sin)
            for weight, centre, sigma in self.parts
        )

    def transform(self, f):
        return sum(
            weight * np.exp(-2 * (np.pi * sigma * f) ** 2 - 2j * np.pi * f * centre)
            for weight, centre, sigma in self.parts
        )


@dataclass(frozen=True)
class Disc:
    """Defocus: a uniform disc of this diameter in px."""

    diameter: float

    def pixel_edge(self, d, cos, sin):
        nodes, weights = np.polynomial.legendre.leggauss(24)
        few, few_weights = np.polynomial.legendre.leggauss(6)
        offset = (nodes[:, None] * cos / 2 + few * sin / 2).ravel()
        weight = (weights[:, None] * few_weights).ravel() / 4
        radius = self.diameter / 2
        total = np.zeros_like(d)
        for o, w in zip(offset, weight, strict=True):
            u = np.clip((d + o) / radius, -1, 1)
            total += w * (0.5 + (u * np.sqrt(1 - u * u) + np.arcsin(u)) / np.pi)
        return total

    def transform(self, f):
        x = np.pi * self.diameter * np.maximum(f, 1e-9)
        return 2 * j1(x) / x


def _twice(x, sigma):
    """Gaussian edge integrated twice more: its second derivative is the normal CDF of x/sigma."""
    z = x / sigma
    density = np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi)
    return 0.5 * ((x * x + sigma * sigma) * ndtr(z) + x * sigma * density)


def gaussian(sigma):
    return Gaussians(((1.0, 0.0, sigma),))


SHAPES = {
    "double Gaussian": Gaussians(((0.85, 0.0, 0.6), (0.15, 0.0, 2.5))),
    "one-sided tail": Gaussians(((0.8, 0.0, 0.5), (0.2, 1.0, 1.2))),
    "defocus disc 2 px": Disc(2.0),
    "defocus disc 4 px": Disc(4.0),
    "sharpened": Gaussians(((1.6, 0.0, 0.6), (-0.6, 0.0, 1.5))),
    "strongly sharpened": Gaussians(((2.2, 0.0, 0.7), (-1.2, 0.0, 1.4))),
}


@dataclass(frozen=True)
class Scene:
    """Pixels and the truth they were made from; the line is ((x, y), (x, y)), dark to its right."""

    pixels: np.ndarray
    line: tuple[tuple[float, float], tuple[float, float]]
    cos: float
    sin: float
    profile: Gaussians | Disc

    def sfr(self, f):
        aperture = np.sinc(np.asarray(f) * self.cos) * np.sinc(np.asarray(f) * self.sin)
        return np.abs(self.profile.transform(np.asarray(f)) * aperture)

    def crossing(self, level):
        """First frequency at which the response falls through the level, cycles per px."""
        grid = np.linspace(0.005, 2.0, 4000)
        below = np.flatnonzero(self.sfr(grid) < level)[0]
        return brentq(lambda f: self.sfr(f) - level, grid[below - 1], grid[below])


def scene(
    profile,
    *,
    slant_deg=5.15,
    rows=265,
    half_width=42,
    phase_px=0.3,
    black=0.12,
    white=0.8,
    noise=0.0,
    seed=1,
    bow_px=0.0,
    shift_px=None,
    shade=(0.0, 0.0),
    bits=None,
):
    """A near-vertical edge, dark on the left, in linear light.

    `noise` is relative to the contrast; `bow_px` the sagitta of a curved edge; `shift_px` moves
    single rows (roughness); `shade` the relative change of light per px along x and y; `bits`
    rounds to codes of a linear scale.
    """
    slope = np.tan(np.radians(slant_deg))
    cos, sin = np.cos(np.radians(slant_deg)), np.sin(np.radians(slant_deg))
    drift = int(np.ceil(rows * abs(slope)))
    x, y = np.meshgrid(np.arange(2 * half_width + drift + 1.0), np.arange(float(rows)))
    middle = (rows - 1) / 2
    at = half_width + drift / 2 + phase_px + slope * (y - middle)
    at = at + bow_px * (1 - ((y - middle) / middle) ** 2)
    if shift_px is not None:
        at = at + np.asarray(shift_px)[:, None]
    edge = profile.pixel_edge((x - at) * cos, cos, abs(sin))
    light = (black + (white - black) * edge) * (
        1 + shade[0] * (x - x.mean()) + shade[1] * (y - middle)
    )
    if noise:
        light = light + np.random.default_rng(seed).normal(0, noise * (white - black), light.shape)
    if bits:
        top = 2**bits - 1
        light = np.clip(np.round(light * top), 0, top) / top
    start = half_width + drift / 2 + phase_px + slope * (0 - middle)
    end = half_width + drift / 2 + phase_px + slope * (rows - 1 - middle)
    # dark lies to the right of a walk from the last row up to the first... in the y-down frame
    # the right of a walk in direction (0, +1) is x decreasing, so walk downwards.
    return Scene(light, ((start, 0.0), (end, rows - 1.0)), cos, abs(sin), profile)
