"""What counts as a difference: shown beyond chance over a whole family, and large enough to matter.

The family-wise error is held by Holm's step-down procedure (Holm, Scandinavian Journal of
Statistics 6(2), 1979); what matters to the work stands in ``matters.toml``.
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from functools import cache
from importlib import resources

from scanqa.catalogue import CATALOGUE

FAMILY_ERROR = 0.05


def holm(p_values: Sequence[float], error: float = FAMILY_ERROR) -> list[bool]:
    """Which hypotheses fall: the smallest p against α/m, the next against α/(m − 1), and so on.

    Parameters
    ----------
    p_values : sequence of float
        In any order.
    error : float
        Chance of a single false claim among all.
    """
    falls = [False] * len(p_values)
    for rank, at in enumerate(sorted(range(len(p_values)), key=p_values.__getitem__)):
        if p_values[at] > error / (len(p_values) - rank):
            break
        falls[at] = True
    return falls


@cache
def _limits() -> dict[str, dict[str, float]]:
    return tomllib.loads((resources.files("scanqa.records") / "matters.toml").read_text("utf-8"))


def matters(name: str, first: float, second: float) -> float:
    """The difference of a measure from which on it matters to the work; 0 if none is set."""
    best = max((known for known in _limits() if name.startswith(known)), key=len, default=None)
    if best is None:
        return 0.0
    limit = _limits()[best]
    if "share" in limit:
        return limit["share"] * max(abs(first), abs(second))
    return limit["size"]


def improves(name: str, difference: float) -> bool | None:
    """Whether a difference is for the better; None where neither way is."""
    better = CATALOGUE[name].better
    if better not in ("higher", "lower"):
        return None
    return (difference > 0) == (better == "higher")
