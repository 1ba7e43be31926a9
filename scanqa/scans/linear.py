"""Codes to relative linear light: a stated curve, else the ICC profile's, else sRGB.

Sources: IEC 61966-2-1 (sRGB); ICC.1:2022 (profile header 7.2, tag table 7.3, `curv` 10.6,
`para` 10.18); CGATS text as in ISO 12641. Only matrix and grey profiles state a curve for each
channel; a profile of look-up tables does not, and sRGB is assumed with a remark.
"""

from __future__ import annotations

import math
import struct
from pathlib import Path

import numpy as np

from scanqa.errors import BadOption
from scanqa.model import Floats, Linear, Scan

STATED, PROFILE, ASSUMED = "stated curve", "ICC profile", "sRGB assumed"


class NoCurve(Exception):
    """An ICC profile that states no usable tone curve; the message says why."""


def linear(scan: Scan, *, curve: str | None = None) -> Linear:
    """Light for each code of a scan.

    Parameters
    ----------
    scan : Scan
        Its bits, channels and profile are used.
    curve : str or None
        The scanner's tone curve when it is known: ``srgb``, ``linear``, a gamma (``2.2``), or the
        name of a text file with a column of codes and one of relative light (blanks, tabs,
        commas; CGATS keywords and ``#`` comments are skipped).

    Returns
    -------
    Linear
        Curves that never fall, scaled so that the highest code is 1.

    Raises
    ------
    BadOption
        If `curve` is none of these.
    """
    codes = np.linspace(0.0, 1.0, 2**scan.bits)
    if curve is not None:
        curves, source = [_stated(curve, codes)] * scan.channels, STATED
    elif scan.icc is None:
        curves, source = [srgb(codes)] * scan.channels, ASSUMED
    else:
        try:
            curves, source = _profile(scan.icc, codes, scan.channels), PROFILE
        except NoCurve as reason:
            curves, source = [srgb(codes)] * scan.channels, f"{ASSUMED} ({reason})"
    return Linear(np.asarray([c / c[-1] for c in curves], np.float32), source)


def srgb(code: Floats) -> Floats:
    """Relative light of sRGB codes 0 … 1: IEC 61966-2-1."""
    high = ((np.maximum(code, 0.04045) + 0.055) / 1.055) ** 2.4
    return np.where(code <= 0.04045, code / 12.92, high)


# ------------------------------------------------------------------------- stated curve


def _stated(curve: str, codes: Floats) -> Floats:
    if curve.lower() == "srgb":
        return srgb(codes)
    if curve.lower() == "linear":
        return codes
    try:
        gamma = float(curve)
    except ValueError:
        return _table(Path(curve), codes)
    if not 0.2 <= gamma <= 5:
        raise BadOption(f"tone curve {curve}: a gamma lies between 0.2 and 5")
    return np.asarray(codes**gamma)


def _table(path: Path, codes: Floats) -> Floats:
    """Curve through the rows of a two-column file, straight between them."""
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise BadOption(
            f"tone curve {path}: neither srgb, linear, a gamma, nor a text file that can be read"
        ) from error
    rows = [row for line in text.splitlines() if (row := _pair_of_numbers(line)) is not None]
    if len(rows) < 2:
        raise BadOption(f"tone curve {path}: needs two or more rows of code and light")
    code, light = np.array(sorted(rows)).T
    if np.any(np.diff(code) <= 0) or np.any(np.diff(light) <= 0) or code[0] < 0 or light[0] < 0:
        raise BadOption(f"tone curve {path}: light must rise with the code, both from 0 up")
    scale = _code_scale(path, code[-1])
    # Outside the table the curve runs to black at code 0 and straight on to the highest code.
    if code[0] > 0:
        code, light = np.insert(code, 0, 0.0), np.insert(light, 0, 0.0)
    if code[-1] < scale:
        slope = (light[-1] - light[-2]) / (code[-1] - code[-2])
        light = np.append(light, light[-1] + slope * (scale - code[-1]))
        code = np.append(code, scale)
    return np.asarray(np.interp(codes * scale, code, light))


def _code_scale(path: Path, highest: float) -> float:
    for scale in (1.0, 100.0, 255.0, 65535.0):
        if highest <= scale:
            return scale
    raise BadOption(f"tone curve {path}: codes run to 1, 100, 255 or 65535, not {highest:g}")


def _pair_of_numbers(line: str) -> tuple[float, float] | None:
    fields = line.split("#")[0].replace(",", " ").replace(";", " ").split()
    try:
        numbers = [float(field) for field in fields]
    except ValueError:
        return None  # a heading or a CGATS keyword
    if len(numbers) != 2 or not all(math.isfinite(number) for number in numbers):
        return None
    return numbers[0], numbers[1]


# -------------------------------------------------------------------------- ICC profile


def _profile(icc: bytes, codes: Floats, channels: int) -> list[Floats]:
    tags = _tags(icc)
    names = ("kTRC",) if channels == 1 else ("rTRC", "gTRC", "bTRC")
    if channels == 1 and "kTRC" not in tags:
        names = ("gTRC",)  # a grey image with the profile of an RGB device
    if any(name not in tags for name in names):
        raise NoCurve("the profile has look-up tables only")
    curves = [_tone_curve(tags[name], codes) for name in names]
    if any(curve[-1] <= curve[0] for curve in curves):
        raise NoCurve("the profile's curve does not rise")
    return [np.maximum.accumulate(curve) for curve in curves]  # damaged samples may dip


def _tags(icc: bytes) -> dict[str, bytes]:
    """Tags of a profile, ICC.1 7.2 and 7.3."""
    if len(icc) < 132 or icc[36:40] != b"acsp":
        raise NoCurve("the profile is damaged")
    count = int.from_bytes(icc[128:132], "big")
    if count > 200 or 132 + 12 * count > len(icc):
        raise NoCurve("the profile is damaged")
    tags = {}
    for signature, offset, size in struct.iter_unpack(">4sII", icc[132 : 132 + 12 * count]):
        tags[signature.decode("latin-1")] = icc[offset : offset + size]
    return tags


def _tone_curve(tag: bytes, codes: Floats) -> Floats:
    kind = tag[:4]
    if kind == b"curv" and len(tag) >= 12:
        return _sampled(tag, codes)
    if kind == b"para" and len(tag) >= 12:
        return _parametric(tag, codes)
    raise NoCurve("the profile's curve is of an unknown kind")


def _sampled(tag: bytes, codes: Floats) -> Floats:
    """`curv`, ICC.1 10.6: nothing, a gamma in u8Fixed8, or samples in uint16."""
    count = int.from_bytes(tag[8:12], "big")
    if len(tag) < 12 + 2 * count:
        raise NoCurve("the profile is damaged")
    values = np.frombuffer(tag, ">u2", count, 12).astype(np.float64)
    if count == 0:
        return codes
    if count == 1:
        return np.asarray(codes ** _gamma(values[0] / 256))
    return np.interp(codes, np.linspace(0, 1, count), values / 65535)


def _parametric(tag: bytes, codes: Floats) -> Floats:
    """`para`, ICC.1 10.18 table 68: functions 0 to 4, parameters in s15Fixed16."""
    function = int.from_bytes(tag[8:10], "big")
    wanted = {0: 1, 1: 3, 2: 4, 3: 5, 4: 7}.get(function)
    if wanted is None or len(tag) < 12 + 4 * wanted:
        raise NoCurve("the profile's curve is of an unknown kind")
    p = [value / 65536 for value in struct.unpack(f">{wanted}i", tag[12 : 12 + 4 * wanted])]
    g, a, b, c, d, e, f = p[0], 1.0, 0.0, 0.0, 0.0, 0.0, 0.0
    if function in (1, 2):  # Y = (aX + b)^g (+ c) above -b/a, else 0 (+ c)
        if p[1] == 0:
            raise NoCurve("the profile's curve does not rise")
        a, b = p[1], p[2]
        d, e = -b / a, p[3] if function == 2 else 0.0
        f = e
    elif function in (3, 4):  # Y = (aX + b)^g (+ e) above d, else cX (+ f)
        a, b, c, d = p[1:5]
        e, f = p[5:7] if function == 4 else (0.0, 0.0)
    base = np.clip(a * codes + b, 0.0, 1.0)
    return np.clip(np.where(codes >= d, base ** _gamma(g) + e, c * codes + f), 0.0, 1.0)


def _gamma(value: float) -> float:
    if not 0.1 <= value <= 10:
        raise NoCurve(f"the profile states a gamma of {value:g}")
    return value
