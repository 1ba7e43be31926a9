"""Values know their dpi, and streaks have a table. Both are made from the documents."""

import sqlalchemy as sa
from alembic import op

from scanqa.records.store import write_numbers
from scanqa.records.tables import record

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Rebuild the table of values."""
    op.drop_table("value")
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
        sa.Column("uncertainty", sa.Float(53)),
        sa.Column("unit", sa.String(16), nullable=False),
        sa.Column("count", sa.Integer, nullable=False),
        sa.Column("at_least", sa.Boolean, nullable=False),
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
    connection = op.get_bind()
    for number in connection.scalars(sa.select(record.c.id)).all():
        query = sa.select(record.c.document).where(record.c.id == number)
        write_numbers(connection, number, connection.execute(query).scalar_one())


def downgrade() -> None:
    """Values of several dpi cannot go back into one."""
    raise NotImplementedError("remove the records file, or restore a copy")
