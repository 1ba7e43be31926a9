"""Which unit it is, in words."""

from __future__ import annotations

from datetime import date

from scanqa.model import Identity


def unit_words(unit: Identity) -> str:
    """Make, model, serial, from whom, when it came and until when it can go back."""
    parts = [
        unit.made,
        f"serial {unit.serial}" if unit.serial else "",
        f"asset {unit.asset}" if unit.asset else "",
        _kinds(unit),
        unit.site,
        f"from {unit.seller}" if unit.seller else "",
        f"arrived {day_words(unit.acquired)}" if unit.acquired else "",
        f"return until {day_words(unit.return_until)}" if unit.return_until else "",
        f"retired {day_words(unit.retired)}" if unit.retired else "",
    ]
    return ", ".join(filter(None, parts))


def day_words(day: str) -> str:
    """``25 November 2026`` of an ISO date; the words as they are if it is none."""
    try:
        at = date.fromisoformat(day)
    except ValueError:
        return day
    return f"{at.day} {at:%B %Y}"


def _kinds(unit: Identity) -> str:
    # A file names what wrote it, which need not be what drove the scanner.
    software = f"software {unit.driver}" if unit.driver else ""
    return ", ".join(filter(None, (unit.sensor, unit.lamp, software)))
