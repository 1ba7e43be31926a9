"""What counts as a difference: shown beyond chance over a whole family, and large enough to matter.

Intervals and what is said of them follow one level, at which all of them hold together
(`each_alone`). What matters to the work stands in the catalogue.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence

from scanqa.catalogue import CATALOGUE
from scanqa.model import Shared
from scanqa.records.trend import student_width

FAMILY_ERROR = 0.05
CARE = 0.1  # of what matters: less scatter than this is not watched any closer
COUNT_FLOOR = 1.0  # one speck more or less is everyday dust, not a change of the scanner


def each_alone(count: int, error: float = FAMILY_ERROR) -> float:
    """Confidence of each of so many intervals by itself, so that all hold together: 1 − α/m.

    Whatever hangs together among them: Bonferroni's inequality, as Dunn puts it for intervals
    (Journal of the American Statistical Association 56(293), 52–64, 1961).

    Parameters
    ----------
    count : int
        Of intervals; none count as one.
    error : float
        Chance that any one of them misses its truth.
    """
    return 1 - error / max(count, 1)


def matters(name: str, first: float, second: float) -> float:
    """The difference of a measure from which on it matters to the work."""
    return CATALOGUE[name].matters.between(first, second)


def interval(
    name: str, difference: float, error: float, degrees: float, confidence: float
) -> tuple[float, float]:
    """Student's interval of a difference of a measure, as far as it is possible."""
    half = student_width(confidence, degrees) * error
    return possible(name, difference, difference - half, difference + half)


def possible(name: str, difference: float, low: float, high: float) -> tuple[float, float]:
    """An interval of a difference, cut where the measure's nature ends; it keeps the difference.

    No share of light can fall by more than all of it. What is cut off can hold no truth, so the
    interval holds its own as often as before.
    """
    least, most = CATALOGUE[name].within
    reach = max(most - least, abs(difference))
    return max(low, -reach), min(high, reach)


def named(parts: Sequence[Shared]) -> set[tuple[str, str]]:
    """What the parts are shared with, where that has a name."""
    return {(part.kind, part.of) for part in parts if part.of}


def apart(one: Sequence[Shared], other: Sequence[Shared], *, one_unit: bool) -> float:
    """Standard uncertainty of a difference by the parts of doubt that only one side has.

    A part without a name (a print that nobody named) may be another one each time, and the curve
    that is assumed of two units is another one in each.
    """
    common = {(kind, of) for kind, of in named(one) & named(other) if one_unit or kind != "curve"}
    lone = [part.size for part in (*one, *other) if (part.kind, part.of) not in common]
    return math.hypot(*lone)


def improves(name: str, difference: float) -> bool | None:
    """Whether a difference is for the better; None where neither way is."""
    better = CATALOGUE[name].better
    if better not in ("higher", "lower"):
        return None
    return (difference > 0) == (better == "higher")


def scatter_floor(name: str, values: Sequence[float], stated: Sequence[float | None]) -> float:
    """The smallest scatter from check to check to be believed, or to be cared about.

    Half of what each check's own uncertainty says; the rounding of the printed digits; a tenth of
    what matters to the work. Without it, what is nearly always the same (0 for none found) would
    alarm at the first grain that is not.
    """
    known = [u for u in stated if u is not None]
    rounding = 10.0 ** -CATALOGUE[name].digits / math.sqrt(12)
    middle = statistics.median(values)
    return max(
        rounding,
        CARE * matters(name, middle, middle),
        0.5 * statistics.median(known) if known else 0.0,
        COUNT_FLOOR if name == "glass.marks" else 0.0,
    )
