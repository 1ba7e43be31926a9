"""Affine maps between the frames of paper, glass and image, as (2, 3) arrays."""

from __future__ import annotations

import math

import numpy as np

from scanqa.model import Floats, Point


def affine(
    turn_deg: float,
    *,
    scale: Floats | tuple[float, float] = (1.0, 1.0),
    about: Floats | Point = (0.0, 0.0),
    shift: Floats | Point = (0.0, 0.0),
) -> Floats:
    """Scale, then turn clockwise (y down) about a scaled point, which then moves to `shift`."""
    angle = math.radians(turn_deg)
    rotate = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    linear = rotate @ np.diag(scale)
    return np.column_stack([linear, np.asarray(shift) - rotate @ np.asarray(about)])


def inverse(onto: Floats) -> Floats:
    """The affine map back."""
    linear = np.linalg.inv(onto[:, :2])
    return np.column_stack([linear, -linear @ onto[:, 2]])


def chained(first: Floats, then: Floats) -> Floats:
    """One affine map for two."""
    return np.column_stack([then[:, :2] @ first[:, :2], then[:, :2] @ first[:, 2] + then[:, 2]])


def rectangle(left: float, top: float, right: float, bottom: float) -> Floats:
    """Corners of an upright rectangle, (4, 2)."""
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom]], float)
