"""What to do with a unit, and what that rests on beside the scans."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

Decided = Literal["", "keep", "clean", "repair", "ask-seller", "return", "open", "too-little"]
# What can be done about a cause; `findings/decision.toml` says what each means.
Act = Literal["clean", "setting", "mend", "wear", "flaw", "claim", "design", "original"]


@dataclass(frozen=True, slots=True)
class Standing:
    """What is known of a unit beside its scans.

    Attributes
    ----------
    needed : tuple of str
        Names of the uses that count; empty: all.
    before : tuple of str
        Causes that were confirmed at the check before.
    done : tuple of Act
        What was done to it since, as noted.
    days_left : int or None
        Until it can no longer be returned, negative once that is over; None if not known.
    """

    needed: tuple[str, ...] = ()
    before: tuple[str, ...] = ()
    done: tuple[Act, ...] = ()
    days_left: int | None = None


@dataclass(frozen=True, slots=True)
class Decision:
    """What to do with the unit.

    Attributes
    ----------
    decision, rule : str
        Ids: what, and the rule of the table that says so; empty where nothing was decided.
    causes : tuple of str
        Of the findings that decide, the weightiest first.
    uses : tuple of str
        Names of uses that count: those that are unfit if that decides, else those without a word.
    unfit : tuple of str
        Uses that count and are unfit, whatever decides.
    noted : tuple of str
        Causes of other findings about the unit or its kind, which do not decide; last those that
        one look shows.
    scan, minutes : str, int or None
        The scan that would settle most, as in `Outcome.next_scan`, and what it takes.
    days_left : int or None
        As it was known.
    title, sentence : str
        In words: what to do; why.
    """

    decision: Decided = ""
    rule: str = ""
    causes: tuple[str, ...] = ()
    uses: tuple[str, ...] = ()
    unfit: tuple[str, ...] = ()
    noted: tuple[str, ...] = ()
    scan: str = ""
    minutes: int | None = None
    days_left: int | None = None
    title: str = ""
    sentence: str = ""


@dataclass(frozen=True, slots=True)
class Identity:
    """Which unit it is, as far as its owner or its files say; empty where nobody does.

    Attributes
    ----------
    acquired, return_until, retired : str
        Dates, ISO 8601.
    sensor, lamp : str
        Kinds, in the owner's words.
    """

    scanner: str
    make: str = ""
    model: str = ""
    serial: str = ""
    asset: str = ""
    site: str = ""
    sensor: str = ""
    lamp: str = ""
    driver: str = ""
    acquired: str = ""
    seller: str = ""
    return_until: str = ""
    retired: str = ""

    @property
    def made(self) -> str:
        """Make and model, as far as they are known."""
        return f"{self.make} {self.model}".strip()

    def days_left(self, today: date) -> int | None:
        """Days until it can no longer be returned, negative then; None if nobody says."""
        try:
            return (date.fromisoformat(self.return_until) - today).days
        except ValueError:
            return None
