"""What a tone curve that nobody stated leaves open: light is only known to a power.

Codes are light to some power (the encoding gamma). Where neither file nor user says which, sRGB is
assumed, some 1/2.3 in the light tones; devices give 1.8 to 2.8 (common practice, no source). True
light is then the light found to a power of 1 ± `EXPONENT_SD`, and everything told from light is off
by what that makes of it. The part is one for all scans of a unit.
"""

from __future__ import annotations

import math

from scanqa.model import Measurement, Shared, with_doubt
from scanqa.numeric.lightness import light_of

HALF_RANGE = 0.22  # of the exponent: evenly spread over 2.3 ± 22 %
EXPONENT_SD = HALF_RANGE / math.sqrt(3)


def of_contrast(contrast: float) -> float:
    """Of a small contrast, or a scatter, in % or in steps of L*: it grows with the exponent."""
    return EXPONENT_SD * abs(contrast)


def of_share(percent: float) -> float:
    """Of light in % of other light."""
    share = max(percent, 0.0) / 100
    return 100 * EXPONENT_SD * share * abs(math.log(share)) if share else 0.0


def of_lightness(lightness: float) -> float:
    """Of an L* by itself."""
    return EXPONENT_SD * abs(_slope(lightness))


def of_darkening(lightness: float, delta: float) -> float:
    """Of how much darker something is than an L*."""
    return EXPONENT_SD * abs(_slope(lightness) - _slope(lightness - delta))


def _slope(lightness: float) -> float:
    """Change of L* with the logarithm of the exponent: (L* + 16)/3 · ln Y, Y being the light."""
    light = float(light_of(lightness))
    return (max(lightness, 0.0) + 16) / 3 * math.log(light) if light > 0 else 0.0


def doubted(m: Measurement, source: str, size: float) -> Measurement:
    """A value with this much more doubt, shared by all that rests on one curve.

    Parameters
    ----------
    m : Measurement
        With a value.
    source : str
        Where the curve is from.
    size : float
        Standard uncertainty that it adds, in the value's unit.
    """
    return with_doubt(m, Shared("curve", source, size))
