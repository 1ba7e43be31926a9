"""How a number reads: digits from the catalogue, unit, uncertainty, status, place."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

from scanqa.catalogue import CATALOGUE
from scanqa.model import Measurement, Point, Status

_THIN = "\u202f"  # narrow space that does not break, between number and unit
_FIXED = "\u00a0"
MINUS = "\u2212"
MOST_DIGITS = 4  # of a number that a person reads; the JSON document has them all
MOST_DECIMALS = 6
_UNITS = "mm|µm|px|dpi|ppi|dB|bit|cy/mm|%|L\\*|star"


def number(value: float, digits: int) -> str:
    """A number with a true minus sign and no negative zero."""
    text = f"{value:.{digits}f}"
    if float(text) == 0:
        text = text.removeprefix("-")
    return text.replace("-", MINUS)


def signed(value: float, digits: int) -> str:
    """A number with its sign, but for what reads as nothing."""
    text = number(value, digits)
    return text if value <= 0 or float(f"{value:.{digits}f}") == 0 else f"+{text}"


def with_unit(text: str, unit: str) -> str:
    """Number and unit that stay together on a line; degrees touch their number."""
    if not unit:
        return text
    return text + unit if unit == "°" else text + _THIN + unit.replace(" ", _FIXED)


def people(value: float, uncertainty: float | None, digits: int) -> tuple[str, str]:
    """A number and its doubt for people: two digits of the doubt, four digits in all at most.

    Parameters
    ----------
    digits : int
        Decimals where there is no doubt to go by; one more at most where there is.

    Returns
    -------
    str, str
        The number; its doubt, empty where there is none (what is exact has one of 0).
    """
    wanted = digits
    if uncertainty:
        wanted = min(1 - math.floor(math.log10(uncertainty)), digits + 1)
    bound = MOST_DIGITS - 1 - math.floor(math.log10(abs(value))) if value else max(digits, wanted)
    decimals = max(0, min(wanted, bound, MOST_DECIMALS))
    text = number(round(value, bound) if bound < 0 else value, decimals)
    if not uncertainty:
        return text, ""
    least = 10.0**-decimals
    if uncertainty < 0.5 * least:
        return text, f"<{_THIN}{number(least, decimals)}"
    return text, number(uncertainty, decimals)


def printed(value: float, uncertainty: float | None, name: str) -> str:
    """Value ± uncertainty and unit of a measure, as `people` read it."""
    row = CATALOGUE[name]
    text, doubt = people(value, uncertainty, row.digits)
    return with_unit(f"{text}{_FIXED}±{_FIXED}{doubt}" if doubt else text, row.unit)


def value_text(m: Measurement) -> str:
    """A measurement as the page prints it."""
    if m.value is None:
        return "not measurable"
    text = printed(m.value, m.uncertainty, m.name)
    return bound_text(m.status, text, (m.low, m.high), m.name)


def bound_text(
    status: Status, text: str, ends: tuple[float | None, float | None], name: str
) -> str:
    """A value's text with what its status says of it; `ends` for ``between``."""
    low, high = ends
    if status == "between" and low is not None and high is not None:
        row = CATALOGUE[name]
        both = (people(end, None, row.digits)[0] for end in (low, high))
        return with_unit(" to ".join(both), row.unit)
    return {"at-least": f"at least {text}", "at-most": f"at most {text}"}.get(status, text)


def place(at_mm: Point | None) -> str:
    """A place on the bed, or nothing."""
    if at_mm is None:
        return ""
    x, y = (number(v, 0) for v in at_mm)
    return f"x{_FIXED}{x}, y{_FIXED}{y}{_THIN}mm"


def label(name: str) -> str:
    """A readable name of a measure, its numbers held to their units."""
    return re.sub(r"(?<=\d) (?=mm\b)", _THIN, CATALOGUE[name].label)


def glued(words: str) -> str:
    """Words in which no number parts from its unit at the end of a line."""
    return re.sub(rf"(?<=\d) (?=(?:{_UNITS})(?!\w))|(?<=±) (?=\d)", _FIXED, words)


def capital(words: str) -> str:
    """Words with a capital first letter, whatever they begin with."""
    return words[:1].upper() + words[1:]


def sentence_case(words: str) -> str:
    """Words as they begin a sentence; abbreviations and symbols keep their letters."""
    plain_word = words[1:2].islower() or words.startswith("a ")
    return capital(words) if plain_word else words


def significant(value: float, digits: int = 3) -> str:
    """A number for a sentence or an axis, to so many significant digits, without exponent."""
    if value == 0:
        return "0"
    decimals = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:.{min(decimals, 6)}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return ("0" if text in ("-0", "") else text).replace("-", MINUS)


def joined(words: Sequence[str]) -> str:
    """A list in words: a, b and c."""
    if len(words) < 2:
        return "".join(words)
    return ", ".join(words[:-1]) + " and " + words[-1]


def inside(words: str) -> str:
    """Words as they stand inside a sentence: abbreviations keep their capitals."""
    return words[:1].lower() + words[1:] if words[1:2].islower() else words


def plain(words: str) -> str:
    """Words without control characters, which no picture or page can hold."""
    return re.sub(r"[\x00-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]", " ", words)
