"""Records, their values and streaks, and events."""

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects.postgresql import JSONB

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Create the tables."""
    _records()
    _numbers()
    _events()


def _records() -> None:
    op.create_table(
        "record",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("scanner", sa.String(100), nullable=False),
        sa.Column("taken", sa.String(32), nullable=False),
        sa.Column("created", sa.String(32), nullable=False),
        sa.Column("tool_version", sa.String(32), nullable=False),
        sa.Column("scans_key", sa.String(64), nullable=False),
        sa.Column("options", sa.JSON, nullable=False),
        sa.Column("document", sa.JSON().with_variant(JSONB(), "postgresql"), nullable=False),
        sa.UniqueConstraint("scanner", "scans_key", name="uq_record_scans"),
    )
    op.create_index("ix_record_scanner_taken", "record", ["scanner", "taken"])


def _numbers() -> None:
    op.create_table(
        "value",
        sa.Column(
            "record_id",
            sa.Integer,
            sa.ForeignKey("record.id", ondelete="CASCADE"),
            primary_key=True,
        ),
        sa.Column("name", sa.String(80), primary_key=True),
        sa.Column("direction", sa.String(8), primary_key=True),
        sa.Column("channel", sa.String(8), primary_key=True),
        sa.Column("edge_kind", sa.String(8), primary_key=True),
        sa.Column("dpi", sa.Integer, primary_key=True),
        sa.Column("method_version", sa.Integer, nullable=False),
        sa.Column("value", sa.Float(53), nullable=False),
        sa.Column("random", sa.Float(53)),
        sa.Column("shared", sa.JSON, nullable=False),
        sa.Column("status", sa.String(16), nullable=False),
        sa.Column("low", sa.Float(53)),
        sa.Column("high", sa.Float(53)),
        sa.Column("unit", sa.String(16), nullable=False),
        sa.Column("count", sa.Integer, nullable=False),
    )
    op.create_index("ix_value_name", "value", ["name"])
    op.create_table(
        "streak",
        sa.Column(
            "record_id",
            sa.Integer,
            sa.ForeignKey("record.id", ondelete="CASCADE"),
            primary_key=True,
        ),
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("axis", sa.String(8), nullable=False),
        sa.Column("polarity", sa.String(8), nullable=False),
        sa.Column("at_mm", sa.Float(53), nullable=False),
        sa.Column("width_um", sa.Float(53), nullable=False),
        sa.Column("contrast_percent", sa.Float(53), nullable=False),
        sa.Column("significance", sa.Float(53), nullable=False),
        sa.Column("visible", sa.Boolean, nullable=False),
    )


def _events() -> None:
    op.create_table(
        "event",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("scanner", sa.String(100), nullable=False),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("words", sa.String(500), nullable=False),
        sa.UniqueConstraint("scanner", "at", "words", name="uq_event"),
    )


def downgrade() -> None:
    """Drop the tables."""
    for table in ("event", "streak", "value", "record"):
        op.drop_table(table)
