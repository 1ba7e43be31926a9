"""A scene that has been laid on the glass: what the scanner is given.

A scene is *laid* on a plate of a given size and then is a list of painted shapes in glass
millimetres (origin at the plate's top-left corner, beyond the dead margins too), a paper texture
that goes with the paper, and for a book the height of the page over the glass.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from scanqa.model import Floats, Side
from scanqa.simulate.coverage import Shape
from scanqa.simulate.laser import Ink
from scanqa.simulate.ugly_paper import Feature


@dataclass(frozen=True, slots=True)
class Paper:
    """Plain paper.

    Attributes
    ----------
    reflectance : float
        Diffuse, 0 … 1.
    tint : (r, g, b)
        Factors on the reflectance.
    texture : float
        Share (rms) of variation, half of its variance in the grain and half in the cloudy
        formation that is seen against a window.
    grain_mm, cloud_mm : float
        Sigma of the Gaussians that smooth white noise into the two.
    seed : int
        The same seed is the same sheet of paper.
    features : tuple of Feature
        What else is in it (`scanqa.simulate.ugly_paper`).
    """

    reflectance: float = 0.84
    tint: tuple[float, float, float] = (1.0, 0.995, 0.985)
    texture: float = 0.004
    grain_mm: float = 0.1
    cloud_mm: float = 0.9
    seed: int = 1
    features: tuple[Feature, ...] = ()


PLAIN = Paper()
YELLOWED = Paper(0.76, (1.0, 0.97, 0.9), texture=0.006)


@dataclass(frozen=True, slots=True)
class Lift:
    """Height of a page over the glass, by the distance from the plate's side at which it hangs."""

    side: Side
    height_mm: Callable[[Floats], Floats]


@dataclass(frozen=True, slots=True)
class Laid:
    """A scene laid on a plate.

    Attributes
    ----------
    base : float
        Reflectance where nothing is painted.
    shapes : tuple of Shape
        In glass mm, later ones over earlier ones.
    inks : tuple of Ink
        Toner on them.
    over : tuple of Shape
        What lies over the toner.
    paper : Paper
        Whose texture and tint the whole picture has.
    to_paper : (2, 3) array
        Glass mm to paper mm: moves the texture.
    maps : mapping of piece name to (2, 3) array
        Sheet mm to glass mm.
    turn_deg : float
        How the sheet is turned on the plate.
    """

    base: float
    paper: Paper
    shapes: tuple[Shape, ...] = ()
    inks: tuple[Ink, ...] = ()
    over: tuple[Shape, ...] = ()
    to_paper: Floats = field(default_factory=lambda: np.eye(2, 3))
    lift: Lift | None = None
    maps: Mapping[str, Floats] = field(default_factory=dict)
    turn_deg: float = 0.0


class Scene(Protocol):
    """Anything that can be laid on the glass."""

    def lay(self, glass_mm: tuple[float, float]) -> Laid:
        """Place it on a plate of that width and height."""
