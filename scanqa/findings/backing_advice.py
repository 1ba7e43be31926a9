"""Which backing to use for pages that are printed on both sides, from the back-print scans.

Words are data (``backing.toml``). Show-through is judged as a step in lightness between a printed
and an open place of the back: ``(L* + 16) (1 - (1 - share)^⅓)``, from CIE 15 above its toe.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources

from scanqa.catalogue.sizes import SAME_BACKING_L
from scanqa.findings.statistic import known, members
from scanqa.model import Diagnosis, Seen, Severity
from scanqa.summary import Summary, value_of

SEEN_L = 1.0  # a step between places side by side: common practice, no source
HELPS = 0.5  # of the show-through on the lighter backing, at most, must be left
SHOW, PAPER = "backing.show_through", "backing.paper"
SIGN = "show-through"


@dataclass(frozen=True, slots=True)
class Advice:
    """What is said of one case, in words: `action` takes the numbers of the sign."""

    title: str
    action: str


@cache
def advices() -> dict[str, Advice]:
    """Every case by its id."""
    text = (resources.files("scanqa.findings") / "backing.toml").read_text("utf-8")
    return {name: Advice(**row) for name, row in tomllib.loads(text).items()}


def advise(measured: Sequence[Summary]) -> tuple[Diagnosis, ...]:
    """One diagnosis on the backing, or none without a back-print scan; its cause is the case."""
    paper = {m.scan: value_of(m) for m in members(known(measured, PAPER))}
    show = {m.scan: value_of(m) for m in members(known(measured, SHOW))}
    scans = sorted(paper.keys() & show.keys(), key=lambda scan: paper[scan])
    if not scans:
        return ()
    dark, light = scans[0], scans[-1]
    darker = paper[light] - paper[dark]
    lid, card = max(show[light], 0.0), max(show[dark], 0.0)
    seen, left = _step_L(paper[light], lid), _step_L(paper[dark], card)
    two = darker > SAME_BACKING_L
    if seen < SEEN_L:
        case = "lid-will-do" if two else "this-will-do"
    elif not two:
        case = "one-backing"
    else:
        case = "card-helps" if card <= HELPS * lid else "card-helps-little"
    numbers = {"lid": lid, "step": seen, "card": card, "left": left, "darker": darker}
    severity: Severity = "good" if seen < SEEN_L else "warning"
    sign = Seen(
        SIGN,
        severity,
        numbers,
        {"backings": "two" if two else "one", "remains": "unseen" if left < SEEN_L else "seen"},
        (SHOW, PAPER),
    )
    return (Diagnosis(cause=case, severity=severity, signs=(sign,), rests_on=(SHOW, PAPER)),)


def _step_L(paper_L: float, show_percent: float) -> float:
    """How much darker (L*) paper becomes when it loses a share of its light."""
    return (paper_L + 16) * (1 - math.cbrt(1 - min(show_percent, 100.0) / 100))
