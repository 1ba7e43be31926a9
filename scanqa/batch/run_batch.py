"""A batch from its list to its last check: every piece handed out once, then each scanner decided.

Nothing is kept of how far a batch came but the records themselves. The same batch again finds what
is on record by the hashes of the files, and goes on with the rest; two of one batch at once do the
same work twice, and write it once.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from scanqa.batch.engine import Engine, SetAside, run
from scanqa.batch.manifest import Piece
from scanqa.batch.tasks import Done, LookBack, Measure, Task, perform

Told = Callable[[Piece, Done | BaseException], None]


@dataclass(frozen=True, slots=True)
class Order:
    """How a batch is to be done.

    Attributes
    ----------
    records : str
        The database, without its password.
    again : bool
        Measure anew what is on record by an older method.
    out : str
        Folder for what jobs show.
    needed, uses : mapping from scanner
        Uses that count, and the user's own kinds of work; ``""`` for scanners that are not named.
    """

    records: str
    again: bool = False
    out: str = "reports"
    needed: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    uses: Mapping[str, Path] = field(default_factory=dict)


def work(engine: Engine, pieces: Sequence[Piece], order: Order, tell: Told) -> Counter[str]:
    """Measure all pieces and decide the new checks.

    Parameters
    ----------
    tell : callable
        Told of each piece what became of it, as it comes.

    Returns
    -------
    Counter
        How many came to which end: `Done.how`, ``set aside``, ``broke`` (a fault of scanqa's own)
        and ``left``, what a database or store that does not answer has left undone.

    Raises
    ------
    EngineGone
        If the workers cannot be had any more; what was measured is on record.
    """
    queue: deque[Task] = deque(
        Measure(piece, order.records, order.again, order.out) for piece in pieces
    )
    left = Counter(piece.scanner for piece in pieces)
    mine: dict[str, set[int]] = {}
    ends: Counter[str] = Counter()

    def finished(task: Task, result: Done | BaseException) -> bool:
        if isinstance(task, LookBack):
            if isinstance(result, Done) and result.how == "known":
                return True
            of = Piece(f"decisions of {task.scanner}", task.scanner, ())
            tell(of, result)
            ends[end_of(result)] += 1
            return end_of(result) != "gone"
        piece, end = task.piece, end_of(result)
        tell(piece, result)
        ends[end] += 1
        left[piece.scanner] -= 1
        if isinstance(result, Done) and result.record_id is not None:
            mine.setdefault(piece.scanner, set()).add(result.record_id)
        if end == "gone":
            return False
        if not left[piece.scanner] and piece.scanner in mine:
            queue.appendleft(_look_back(piece.scanner, mine.pop(piece.scanner), order))
        return True

    run(engine, perform, queue, finished)
    ends["left"] = sum(isinstance(task, Measure) for task in queue)
    return +ends


def _look_back(scanner: str, mine: set[int], order: Order) -> LookBack:
    return LookBack(
        scanner,
        frozenset(mine),
        order.records,
        order.needed.get(scanner, order.needed.get("", ())),
        order.uses.get(scanner, order.uses.get("")),
    )


def end_of(result: Done | BaseException) -> str:
    """What became of a task, as `work` counts it."""
    if isinstance(result, Done):
        return result.how
    return "set aside" if isinstance(result, SetAside) else "broke"
