"""Where the top of the scale begins: what is cut off gathers on a plateau, not on one code."""

from __future__ import annotations

STEPS = 256


def first_code_of_plateau(bits: int, *, lossy: bool) -> int:
    """Lowest code that counts as the top of the scale.

    Converters of 16 bits clip at a spread of codes (a real flatbed: 65532 to 65535, and a rim of
    lower ones about each white that is cut off), those of fewer bits fill the rest with zeros
    (65520 is the highest of 12 bits, 65280 of 8). So it is what 8 bits would call their highest
    code: the last 1/256 of the scale. After lossy compression one step below counts as well, for
    the conversion of colours rounds a white that is cut off to either.

    Parameters
    ----------
    bits : int
        Of a sample, 8 or 16.
    lossy : bool
        Whether the file was compressed with loss.
    """
    return (1 << bits) * (STEPS - 1 - int(lossy)) // STEPS
