"""What accuracy is achieved, measured afresh: ``python -m tests.accuracy [NAME…]``.

Each module here has ``rows() -> Iterable[Row]``; the table in DEVELOPERS.md is written by
``python -m tests.accuracy --write``. Not part of the test suite: it takes minutes.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table.

    Attributes
    ----------
    what : str
        The measure and the circumstances, in words.
    bound : str
        What is asked, as printed (``≤ 0.3 %``).
    measured : str
        What was measured, as printed.
    passed : bool
        Whether the bound holds.
    seed : int or None
        Seed of the random generator, None where there is no chance.
    path : str
        How the scans were made: ``closed form``, ``PDF → poppler``, ``arrays``, ``simulator``.
    """

    what: str
    bound: str
    measured: str
    passed: bool
    seed: int | None
    path: str
