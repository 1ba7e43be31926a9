"""Edges on paper in which light spreads, by a model of the tests' own (no photon is walked here).

Light that came in leaves at some distance, by the paper's line spread. Under ideal *ink* nothing
comes in: at a distance x beside it the share C(x) of the spread is left (the Yule–Nielsen effect in
one dimension, Arney & Yamaguchi 1999, from memory). At a *cut* light that reaches the face is lost:
by the method of images for an absorbing border 2 C(x) - 1 is left. Three spreads of one kp (one
over the frequency at which their transform is one half): exponential, Gaussian, Lorentz; real
papers lie among them (22 papers of unlike shape: Coppel, Neuman, Edström, Opt. Express 19, 25181).

A printer's smooth blur is a convolution before the paper, the optics' one after it.
"""

from dataclasses import dataclass

import numpy as np
from scipy import ndimage
from scipy.optimize import brentq
from scipy.special import erf

from scanqa.model import MM_PER_INCH

SHAPES = ("exponential", "gaussian", "lorentz")
FINE_MM = 0.002
HALF_MM = 6.0


@dataclass(frozen=True)
class Paper:
    """How far and in what shape light spreads."""

    kp_mm: float
    shape: str = "exponential"


def share_left(x_mm, paper):
    """C(x) of the line spread."""
    if paper.kp_mm == 0:
        return np.ones_like(x_mm)
    if paper.shape == "exponential":  # transform 1 / (1 + (2πfa)²)
        return 1 - 0.5 * np.exp(-x_mm * 2 * np.pi / paper.kp_mm)
    if paper.shape == "gaussian":
        sigma = np.sqrt(2 * np.log(2)) * paper.kp_mm / (2 * np.pi)
        return 0.5 + 0.5 * erf(x_mm / sigma / np.sqrt(2))
    width = np.log(2) * paper.kp_mm / (2 * np.pi)  # transform exp(-2πfb)
    return 0.5 + np.arctan(x_mm / width) / np.pi


def profile(paper, edge, *, optics_mm, print_mm=0.0):
    """Distance from the edge (paper beyond 0) and light, 0 to 1, before the pixel."""
    x = (np.arange(round(2 * HALF_MM / FINE_MM)) + 0.5) * FINE_MM - HALF_MM
    beside = np.maximum(x, 0)
    left = share_left(beside, paper)
    light = np.where(x > 0, left if edge == "ink" else 2 * left - 1, 0.0)
    sigma = np.hypot(optics_mm, print_mm)
    return x, ndimage.gaussian_filter1d(light, sigma / FINE_MM, mode="nearest", truncate=6)


def scanner_crossing(level, *, optics_mm, dpi, slant_deg):
    """Frequency in cy/mm at which Gaussian optics and the pixel fall to a level."""
    px = MM_PER_INCH / dpi
    cos, sin = np.cos(np.radians(slant_deg)), np.sin(np.radians(slant_deg))

    def excess(f):
        gauss = np.exp(-2 * (np.pi * optics_mm * f) ** 2)
        return gauss * np.sinc(f * px * cos) * np.sinc(f * px * sin) - level

    return brentq(excess, 0.01, 0.999 / px)


def card(paper, *, dpi, optics_mm, slant_deg=5.0, size_mm=(46.0, 38.0), noise=0.004, seed=1):
    """Linear light of a cut card turned on black, (rows, columns)."""
    rng = np.random.default_rng(seed)
    x, light = profile(paper, "cut", optics_mm=optics_mm)
    inside = _distance_inside(size_mm, dpi, slant_deg)
    plane = np.interp(inside, x, light)
    plane = plane.reshape(plane.shape[0] // SUB, SUB, -1, SUB).mean(axis=(1, 3))
    made = 0.03 + 0.8 * plane
    return made + rng.normal(0, noise * 0.8, made.shape)


SUB = 4  # samples of a pixel both ways


def _distance_inside(size_mm, dpi, slant_deg):
    """Millimetres from the nearest side of a rectangle, negative outside, SUB² for each pixel."""
    bed_mm = tuple(1.9 * side for side in size_mm)
    counts = [round(side / MM_PER_INCH * dpi) * SUB for side in bed_mm]
    fine = MM_PER_INCH / dpi / SUB
    y, x = np.mgrid[: counts[1], : counts[0]].astype(np.float32) * fine
    x, y = x - bed_mm[0] / 2, y - bed_mm[1] / 2
    cos, sin = np.cos(np.radians(slant_deg)), np.sin(np.radians(slant_deg))
    along, aside = x * cos + y * sin, y * cos - x * sin
    return np.minimum(size_mm[0] / 2 - np.abs(along), size_mm[1] / 2 - np.abs(aside))


@dataclass(frozen=True)
class Scene:
    """Linear light of an edge that runs down, and its line in px."""

    pixels: np.ndarray
    line: tuple[tuple[float, float], tuple[float, float]]


def printed(paper, *, dpi, optics_mm, print_mm, slant_deg=5.15, noise=0.004, seed=1):
    """A printed edge of 13 mm: ink to the left."""
    rng = np.random.default_rng(seed)
    x, light = profile(paper, "ink", optics_mm=optics_mm, print_mm=print_mm)
    px = MM_PER_INCH / dpi
    slope = float(np.tan(np.radians(slant_deg)))
    rows, columns = round(13.0 / px), round((2 * 1.8 + 13.0 * slope + 0.4) / px)
    sub = (np.arange(SUB) + 0.5) / SUB - 0.5
    y, across = np.arange(rows)[:, None, None, None], np.arange(columns)[None, :, None, None]
    at = (columns - 1) / 2 + slope * (y + sub[None, None, :, None] - (rows - 1) / 2)
    distance = (across + sub[None, None, None, :] - at) * px * np.cos(np.arctan(slope))
    plane = np.interp(distance, x, light).mean(axis=(2, 3))
    made = 0.05 + 0.78 * plane
    made = made + rng.normal(0, noise * 0.78, made.shape)
    ends = [((columns - 1) / 2 + slope * (y - (rows - 1) / 2), y) for y in (0.0, rows - 1.0)]
    return Scene(made, (ends[0], ends[1]))
