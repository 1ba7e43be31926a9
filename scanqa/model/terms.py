"""The few words that all types share: directions, channels, units of place and light."""

from __future__ import annotations

from typing import Any, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

Array: TypeAlias = NDArray[Any]  # of whatever depth its docstring says
Floats: TypeAlias = NDArray[np.float64]
Pixels: TypeAlias = NDArray[Any]  # uint8 or uint16, (rows, columns, channels)
Point: TypeAlias = tuple[float, float]

Direction = Literal["across", "travel"]
Channel = Literal["luma", "red", "green", "blue"]
EdgeKind = Literal["printed", "cut", "card", "found"]
Polarity = Literal["dark", "bright"]

DIRECTIONS: tuple[Direction, ...] = ("across", "travel")
COLOURS: tuple[Channel, ...] = ("red", "green", "blue")
MM_PER_INCH = 25.4
LIKE_DPI = 0.98  # of another: scans whose dpi was measured, not stated, differ by less
LUMA_WEIGHTS = (0.2126, 0.7152, 0.0722)  # of linear R, G, B: IEC 61966-2-1 / ITU-R BT.709
