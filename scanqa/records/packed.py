"""The numbers of a check as one small block, for pages that read a whole fleet at once.

The table `value` has a row for each number, which a history of one scanner reads. A fleet of
hundreds has millions of them; so each record keeps its numbers a second time as one block of bytes,
whose meaning (which number is which) stands once in `layout`, as checks of one kind share it.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Sequence
from typing import Any, NamedTuple

import msgspec
import numpy as np
import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.engine import Connection

from scanqa.model import Floats, Key, Shared, Status
from scanqa.records.schema import block, layout

STATUSES: tuple[Status, ...] = ("ok", "at-least", "at-most", "between")
_DTYPE = np.dtype([("value", "<f8"), ("doubt", "<f8"), ("status", "u1")])
_DECODER = msgspec.json.Decoder(tuple[tuple[str, str, str, str, int, int], ...])


class Place(NamedTuple):
    """What a number of a block is: its key, and the version of the method that measured it."""

    key: Key
    version: int


class Numbers(NamedTuple):
    """The numbers of blocks, in the order of their layout.

    `doubt` is the part of the uncertainty that belongs to this check alone, NaN if unknown;
    `at_most` is true where the value is only an upper bound.
    """

    value: Floats
    doubt: Floats
    at_most: Any


def own_doubt(random: float | None, shared: Sequence[Shared]) -> float | None:
    """Uncertainty of a value but for the parts that have a name: those other checks may share."""
    lone = [part.size for part in shared if not part.of]
    return None if random is None and not lone else math.hypot(random or 0.0, *lone)


def put_block(connection: Connection, record_id: int, rows: Sequence[dict[str, Any]]) -> None:
    """Keep the numbers of a record as a block; `rows` as they stand in `value`."""
    rows = sorted(rows, key=_place)  # checks of one kind share one layout
    packed = np.zeros(len(rows), _DTYPE)
    for at, row in enumerate(rows):
        doubt = own_doubt(row["random"], msgspec.convert(row["shared"], list[Shared]))
        packed[at] = (
            row["value"], math.nan if doubt is None else doubt, STATUSES.index(row["status"]),
        )  # fmt: skip
    values = {
        "record_id": record_id,
        "layout_id": _layout_id(connection, msgspec.json.encode([_place(row) for row in rows])),
        "numbers": packed.tobytes(),
    }
    connection.execute(sa.delete(block).where(block.c.record_id == record_id))
    connection.execute(sa.insert(block).values(**values))


def _place(row: dict[str, Any]) -> tuple[str, str, str, str, int, int]:
    names = ("name", "direction", "channel", "edge_kind", "dpi", "method_version")
    return tuple(row[name] for name in names)


def _layout_id(connection: Connection, places: bytes) -> int:
    """The number of a layout, which is noted if it is new."""
    digest = hashlib.sha256(places).hexdigest()
    known = sa.select(layout.c.id).where(layout.c.digest == digest)
    found = connection.scalar(known)
    if found is None:
        dialect = sqlite if connection.dialect.name == "sqlite" else postgresql
        row = {"digest": digest, "places": places.decode("utf-8")}
        connection.execute(dialect.insert(layout).values(**row).on_conflict_do_nothing())
        found = connection.scalar(known)
    return int(found or 0)


def read_layouts(connection: Connection) -> dict[int, tuple[Place, ...]]:
    """Every layout by its number; one that cannot be read is left out."""
    found = {}
    for number, text in connection.execute(sa.select(layout.c.id, layout.c.places)):
        try:
            rows = _DECODER.decode(text)
        except msgspec.DecodeError:
            continue
        found[int(number)] = tuple(Place(Key(*row[:5]), row[5]) for row in rows)
    return found


def unpacked(blocks: Sequence[bytes], count: int) -> tuple[Numbers, Any]:
    """The numbers of blocks of one layout: a row for each that is whole, and which those are.

    Parameters
    ----------
    blocks : sequence of bytes
    count : int
        Places of the layout.

    Returns
    -------
    numbers : Numbers of (rows, count)
    whole : (blocks,) bool
        The others are cut off, or hold what is no number.
    """
    size = count * _DTYPE.itemsize
    whole = np.array([len(each) == size for each in blocks], bool)
    joined = b"".join(each for each in blocks if len(each) == size)
    rows = np.frombuffer(joined, _DTYPE).reshape(-1, count)
    sound = np.isfinite(rows["value"]).all(axis=1)
    whole[whole] = sound
    rows = rows[sound]
    at_most = rows["status"] == STATUSES.index("at-most")
    return Numbers(rows["value"], rows["doubt"], at_most), whole
