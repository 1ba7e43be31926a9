"""What becomes of a batch, in words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

ENDS = {  # in the order of telling
    "new": "measured",
    "measured anew": "measured anew",
    "corrected": "measured with other options",
    "watched": "watched",
    "known": "on record already",
    "older": "on record by an older method (--again measures anew)",
    "failed": "failed",
    "set aside": "set aside",
    "broke": "broken off",
    "gone": "not done, for database or store do not answer",
    "left": "not begun",
}


def tally_words(ends: Mapping[str, int]) -> str:
    """How many came to which end: ``12 sets: 10 measured, 2 failed``."""
    count = sum(ends.values())
    parts = [f"{ends[end]} {words}" for end, words in ENDS.items() if ends.get(end)]
    return f"{'1 set' if count == 1 else f'{count} sets'}: {', '.join(parts) or 'nothing to do'}"


def goes_on(ends: Mapping[str, int]) -> str:
    """What to do about what was not done; empty if nothing."""
    if ends.get("gone") or ends.get("left"):
        return "what was measured is on record; the same command goes on with the rest"
    if ends.get("failed") or ends.get("set aside") or ends.get("broke"):
        return "the same command tries these again, and nothing else"
    return ""


def faults(name: str, scanner: str, end: str, why: Sequence[str], broke: str) -> Iterator[str]:
    """A line for each thing that was wrong with a set.

    Parameters
    ----------
    why : sequence of str
        What its task says.
    broke : str
        The error that scanqa itself made.
    """
    of = f"{scanner}, {name}"
    if end == "set aside":
        yield (
            f"{of}: set aside: its worker ended, or had too little memory, each time it was tried; "
            "measure it alone, give workers more memory (--memory), or look at its files"
        )
    elif end == "broke":
        yield f"{of}: broken off by a fault of scanqa ({broke}); scanqa qualify shows where"
    for line in why:
        yield f"{of}: {line}"
