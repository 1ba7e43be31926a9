"""How a number reads: digits from the catalogue, unit, uncertainty, status, place."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

from scanqa.catalogue import CATALOGUE
from scanqa.model import Bounds, Measurement, Point, Status

_THIN = "\u202f"  # narrow space that does not break, between number and unit
_FIXED = "\u00a0"
MINUS = "\u2212"
MOST_DIGITS = 4  # of a number that a person reads; the JSON document has them all
BOUND_DIGITS = 2  # of a bound: it is no value, and what it leaves open is wider than its rounding
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


def interval(low: float, high: float, digits: int) -> tuple[str, int]:
    """Both ends of an interval, ``−0.4 to +3.1``, and the decimals that it took.

    As many as it takes to tell the ends apart, and each that is not nought from it: two more than
    `digits` at most.
    """
    decimals = digits
    while decimals < digits + 2 and (
        0 < high - low < 4 * 10.0**-decimals
        or any(end and abs(end) < 0.5 * 10.0**-decimals for end in (low, high))
    ):
        decimals += 1
    return f"{signed(low, decimals)} to {signed(high, decimals)}", decimals


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


def outward(value: float, *, upper: bool, beside: Sequence[float] = (), width: float = 0) -> str:
    """A bound to two significant digits, an upper one rounded up, a lower one down: it stays true.

    Parameters
    ----------
    beside : sequence of float
        Limits that it is held against: it gets as many digits more, four in all at most, as it
        takes to stay on their side.
    width : float
        Of the range that it is an end of, where it is one: two digits of that are shown, too.
    """
    exact = Decimal(f"{value:.12g}")  # what sums leave behind is no part of a bound
    if not exact:
        return "0"
    way = ROUND_CEILING if upper else ROUND_FLOOR
    finest = math.floor(math.log10(width)) + 1 - BOUND_DIGITS if width > 0 else math.inf
    rounded, step = exact, 0
    for digits in range(BOUND_DIGITS, MOST_DIGITS + 1):
        step = max(exact.adjusted() + 1 - digits, -MOST_DECIMALS)
        rounded = exact.quantize(Decimal(1).scaleb(step), way)
        step += rounded.adjusted() > exact.adjusted() and step > -MOST_DECIMALS  # 0.996: 1.0
        shown = float(rounded)
        if step <= finest and all(
            (value < limit, value > limit) == (shown < limit, shown > limit) for limit in beside
        ):
            break
    return number(float(rounded), max(0, -step))


def bounded(
    status: Status,
    value: float,
    ends: tuple[float | None, float | None],
    beside: Sequence[float] = (),
) -> str:
    """A bound in words, ``at least 5.1`` or ``5.1 to 6``; empty for a sound value.

    Parameters
    ----------
    ends : (low, high)
        Of what is known to lie ``between`` them.
    beside : sequence of float
        As for `outward`.
    """
    low, high = ends
    if status == "between" and low is not None and high is not None:
        width = high - low
        parts = (
            outward(end, upper=at > 0, beside=beside, width=width)
            for at, end in enumerate((low, high))
        )
        return " to ".join(parts)
    if status in ("at-least", "at-most"):
        words = outward(value, upper=status == "at-most", beside=beside)
        return f"{status.replace('-', ' ')} {words}"
    return ""


def told(
    status: Status,
    value: float,
    uncertainty: float | None,
    ends: tuple[float | None, float | None],
    digits: int,
    beside: Sequence[float] = (),
) -> str:
    """A value as its status lets it read, without its unit: ``5.12 ± 0.03``, ``at least 5.1``.

    The doubt of a bound is told where the digits of the bound show it. Parameters as for `people`
    and `bounded`.
    """
    text = bounded(status, value, ends, beside)
    if status == "between" and text:
        return text
    if text:
        doubt = number(uncertainty or 0.0, len(text.partition(".")[2]))
        return f"{text}{_FIXED}±{_FIXED}{doubt}" if float(doubt) else text
    text, doubt = people(value, uncertainty, digits)
    return f"{text}{_FIXED}±{_FIXED}{doubt}" if doubt else text


def plain_value(value: float, of: Bounds, digits: int) -> str:
    """A value without its doubt, to so many decimals, or its bound."""
    return bounded(of.status, value, (of.low, of.high)) or number(value, digits)


def value_text(m: Measurement) -> str:
    """A measurement as the page prints it."""
    if m.value is None:
        return "not measurable"
    row = CATALOGUE[m.name]
    return with_unit(told(m.status, m.value, m.uncertainty, (m.low, m.high), row.digits), row.unit)


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
