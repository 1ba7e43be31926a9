"""The database schema, once, for SQLite and PostgreSQL. Changes go through ``migrations/``.

`document` is the whole record as `scanqa.codec` writes it; all of `value` and `streak` can be
made again from it. `value` holds one number for each `scanqa.summary.Summary`, so that a history is
one query; `block` the same numbers of a record in one piece (`scanqa.records.packed`), so that a
page of hundreds of scanners is one query too.
"""

from __future__ import annotations

from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)
from sqlalchemy.dialects.postgresql import JSONB

metadata = MetaData()

record = Table(
    "record",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("scanner", String(100), nullable=False),
    Column("taken", String(32), nullable=False),  # ISO 8601, UTC: when the scans were made
    Column("created", String(32), nullable=False),  # ISO 8601, UTC: when they were measured
    Column("tool_version", String(32), nullable=False),
    Column("scans_key", String(64), nullable=False),  # hash over the hashes of the scans
    Column("options", JSON, nullable=False),  # what the user told of them, by option
    Column("decision", String(16), nullable=False, server_default=""),  # its id
    Column("decided", JSON, nullable=False, server_default="{}"),  # the decision, whole
    Column("document", JSON().with_variant(JSONB(), "postgresql"), nullable=False),
    UniqueConstraint("scanner", "scans_key", name="uq_record_scans"),
    Index("ix_record_scanner_taken", "scanner", "taken"),
)

value = Table(
    "value",
    metadata,
    Column("record_id", Integer, ForeignKey("record.id", ondelete="CASCADE"), primary_key=True),
    Column("name", String(80), primary_key=True),
    Column("direction", String(8), primary_key=True),  # '' where it has none
    Column("channel", String(8), primary_key=True),
    Column("edge_kind", String(8), primary_key=True),
    Column("dpi", Integer, primary_key=True),  # 0 where it does not matter
    Column("method_version", Integer, nullable=False),
    Column("value", Float(53), nullable=False),
    Column("random", Float(53)),  # part of the standard uncertainty that is its own
    Column("shared", JSON, nullable=False),  # parts that others share: kind, of, size
    Column("status", String(16), nullable=False),
    Column("low", Float(53)),  # ends of what is possible, for status "between"
    Column("high", Float(53)),
    Column("unit", String(16), nullable=False),
    Column("count", Integer, nullable=False),
    Index("ix_value_name", "name"),
)

layout = Table(
    "layout",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("digest", String(64), nullable=False, unique=True),  # SHA-256 of the places
    Column("places", Text, nullable=False),  # JSON: what each number of a block is
)

block = Table(
    "block",
    metadata,
    Column("record_id", Integer, ForeignKey("record.id", ondelete="CASCADE"), primary_key=True),
    Column("layout_id", Integer, ForeignKey("layout.id"), nullable=False),
    Column("numbers", LargeBinary, nullable=False),  # value, doubt, status: 17 bytes each
)

streak = Table(
    "streak",
    metadata,
    Column("record_id", Integer, ForeignKey("record.id", ondelete="CASCADE"), primary_key=True),
    Column("number", Integer, primary_key=True),  # 0 for the first of a record
    Column("axis", String(8), nullable=False),
    Column("polarity", String(8), nullable=False),
    Column("at_mm", Float(53), nullable=False),
    Column("width_um", Float(53), nullable=False),
    Column("contrast_percent", Float(53), nullable=False),
    Column("significance", Float(53), nullable=False),
    Column("visible", Boolean, nullable=False),
)

scanner = Table(
    "scanner",
    metadata,
    Column("scanner", String(100), primary_key=True),
    Column("make", String(100), nullable=False),
    Column("model", String(100), nullable=False),
    Column("serial", String(100), nullable=False),
    Column("asset", String(100), nullable=False),
    Column("site", String(100), nullable=False),
    Column("sensor", String(100), nullable=False),
    Column("lamp", String(100), nullable=False),
    Column("driver", String(100), nullable=False),
    Column("acquired", String(10), nullable=False),  # ISO 8601, as the dates below
    Column("seller", String(200), nullable=False),
    Column("return_until", String(10), nullable=False),
    Column("retired", String(10), nullable=False),
)

event = Table(
    "event",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("scanner", String(100), nullable=False),
    Column("at", String(32), nullable=False),  # ISO 8601, UTC
    Column("words", String(500), nullable=False),
    UniqueConstraint("scanner", "at", "words", name="uq_event"),
)
