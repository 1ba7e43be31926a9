"""Fit, limited or unfit, for each kind of work, with the measures that decide.

Limits are data (``uses.toml``); the worst condition decides. Where a required measure is missing
the use is *not judged*; where an optional one is, the word stands and the gap is named.
"""

from __future__ import annotations

import tomllib
from importlib import resources
from typing import Any

from scanqa.catalogue import CATALOGUE
from scanqa.findings.criteria import OPERATORS
from scanqa.findings.statistic import summarise
from scanqa.model import Fitness, Results, UseVerdict

_RANK: dict[Fitness, int] = {"fit": 0, "limited": 1, "unfit": 2}


def judge_uses(results: Results) -> tuple[UseVerdict, ...]:
    """One word per use of ``uses.toml``."""
    text = (resources.files("scanqa.findings") / "uses.toml").read_text("utf-8")
    return tuple(_judge(use, results) for use in tomllib.loads(text)["use"])


def _judge(use: dict[str, Any], results: Results) -> UseVerdict:
    words: list[tuple[Fitness, str, str]] = []
    missing: list[str] = []
    for condition in use["condition"]:
        found = summarise(results, condition["measure"], condition["statistic"])
        if found is None:
            if condition.get("required"):
                reason = f"{condition['words']} was not measured"
                return UseVerdict(use["name"], "not judged", f"{use['sentence']}: {reason}.")
            missing.append(condition["words"])
            continue
        holds = OPERATORS[condition["operator"]]
        if holds(found.value, condition["fit"]):
            fitness: Fitness = "fit"
        elif holds(found.value, condition["limited"]) or found.at_least:
            fitness = "limited"
        else:
            fitness = "unfit"
        said = f"{condition['words']} {_number(found.value, condition['measure'])}"
        words.append((fitness, said.strip(), condition["measure"]))
    worst = max((w[0] for w in words), key=_RANK.__getitem__)
    deciding = [w for w in words if w[0] == worst]
    reason = f"{use['sentence']}: {', '.join(w[1] for w in deciding)}"
    if missing:
        reason += f" (not measured: {', '.join(missing)})"
    return UseVerdict(use["name"], worst, reason + ".", tuple(w[2] for w in deciding))


def _number(value: float, measure: str) -> str:
    rows = [d for name, d in CATALOGUE.items() if name == measure or name.startswith(measure + "_")]
    return f"{value:.{rows[0].digits}f} {rows[0].unit}".strip()
