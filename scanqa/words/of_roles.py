"""What the scans of a set were taken for, in one line."""

from __future__ import annotations

from collections.abc import Sequence

from scanqa.model import ScanFacts
from scanqa.words.glossary import ROLE_WORDS
from scanqa.words.numbers import joined


def taken_for(scans: Sequence[ScanFacts]) -> str:
    """``Taken for: plain white paper (a.tif, b.tif); open book (c.tif)``."""
    groups: dict[str, list[str]] = {}
    for facts in scans:
        groups.setdefault(ROLE_WORDS.get(facts.role, facts.role), []).append(facts.file)
    said = [f"{words} ({joined(names)})" for words, names in groups.items()]
    return f"Taken for: {'; '.join(said)}" if said else ""
