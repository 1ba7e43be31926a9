"""Which backing to use for pages that are printed on both sides, from the back-print scans.

Words are data (``backing.toml``). Show-through is judged as a step in lightness between a printed
and an open place of the back: ``(L* + 16) (1 - (1 - share)^⅓)``, from CIE 15 above its toe.
"""

from __future__ import annotations

import math
import tomllib
from functools import cache
from importlib import resources
from typing import Any

from scanqa.model import Finding, Results, Severity

SEEN_L = 1.0  # a step between places side by side: common practice, no source
OTHER_BACKING_L = 0.5  # paper that is lighter by less lies on the same backing
HELPS = 0.5  # of the show-through on the lighter backing, at most, must be left
SHOW, PAPER = "backing.show_through", "backing.paper"


@cache
def _rows() -> dict[str, Any]:
    text = (resources.files("scanqa.findings") / "backing.toml").read_text("utf-8")
    return tomllib.loads(text)


def advise(results: Results) -> tuple[Finding, ...]:
    """One finding on the backing, or none without a back-print scan."""
    paper = {m.scan: m.value for m in results.named(PAPER) if m.value is not None}
    show = {m.scan: m.value for m in results.named(SHOW) if m.value is not None}
    scans = sorted(paper.keys() & show.keys(), key=lambda scan: paper[scan])
    if not scans:
        return ()
    dark, light = scans[0], scans[-1]
    darker = paper[light] - paper[dark]
    lid, card = max(show[light], 0.0), max(show[dark], 0.0)
    seen, left = _step_L(paper[light], lid), _step_L(paper[dark], card)
    reason = f"{lid:.1f} % of the light, a step of {seen:.1f} L*"
    if darker > OTHER_BACKING_L:
        reason += f", on the lighter backing; {card:.1f} %, {left:.1f} L*, on the darker one"
    name: str
    if seen < SEEN_L:
        name = "lid-will-do" if darker > OTHER_BACKING_L else "this-will-do"
    elif darker <= OTHER_BACKING_L:
        name = "one-backing"
    else:
        name = "card-helps" if card <= HELPS * lid else "card-helps-little"
    severity: Severity = "good" if seen < SEEN_L else "warning"
    row = _rows()[name]
    return (
        Finding(
            "diagnosis",
            row["title"],
            severity,
            reason=reason,
            rests_on=(SHOW, PAPER),
            action=row["action"].format(
                lid=f"{lid:.1f}",
                card=f"{card:.1f}",
                darker=f"{darker:.1f}",
                remains="which is not seen" if left < SEEN_L else f"still {left:.1f} L*",
            ),
            source="Kubelka and Munk; CIE 15; limits are common practice, no source",
        ),
    )


def _step_L(paper_L: float, show_percent: float) -> float:
    """How much darker (L*) paper becomes when it loses a share of its light."""
    return (paper_L + 16) * (1 - math.cbrt(1 - min(show_percent, 100.0) / 100))
