"""Values know their dpi. They are made anew from the documents, which hold everything."""

import sqlalchemy as sa
from alembic import op

from scanqa.records.series import values
from scanqa.records.tables import record, value

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
    connection = op.get_bind()
    for number in connection.scalars(sa.select(record.c.id)).all():
        query = sa.select(record.c.document).where(record.c.id == number)
        document = connection.execute(query).scalar_one()
        made = values(document["measures"], document["scans"])
        rows = [
            {"record_id": number, **{name: getattr(v, name) for name in v.__dataclass_fields__}}
            for v in made
        ]
        if rows:
            connection.execute(sa.insert(value), rows)


def downgrade() -> None:
    """Values of several dpi cannot go back into one."""
    raise NotImplementedError("remove the records file, or restore a copy")
