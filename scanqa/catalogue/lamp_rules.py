"""Which signs of a lamp mean what, as data (``lamp.toml``): the first rule that fits counts."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib import resources

SIGNS = ("light", "settle", "colour", "haze")


@dataclass(frozen=True, slots=True)
class LampRule:
    """One rule.

    Attributes
    ----------
    states : mapping from sign to tuple of states
        What each sign must be; a sign that is not named may be anything.
    verdict, sentence, action, caution : str
        In words: a few, what it rests on, what to do, what to beware of.
    """

    id: str
    verdict: str
    sentence: str
    action: str = ""
    caution: str = ""
    states: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


@cache
def lamp_rules() -> dict[str, LampRule]:
    """Every rule by its id, in the order in which they are tried."""
    text = (resources.files("scanqa.catalogue") / "lamp.toml").read_text("utf-8")
    rules = [
        LampRule(
            states={sign: tuple(row.pop(sign)) for sign in SIGNS if sign in row},
            **row,
        )
        for row in tomllib.loads(text)["rule"]
    ]
    return {rule.id: rule for rule in rules}
