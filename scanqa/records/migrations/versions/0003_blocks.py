"""The numbers of each record in one piece, and its decision whole, for pages of a whole fleet."""

from itertools import groupby

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"

AT_ONCE = 500  # records, so that memory stays small whatever the database holds


def upgrade() -> None:
    """Create the tables, and fill them from what is on record."""
    op.create_table(
        "layout",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("digest", sa.String(64), nullable=False, unique=True),
        sa.Column("places", sa.Text, nullable=False),
    )
    op.create_table(
        "block",
        sa.Column(
            "record_id",
            sa.Integer,
            sa.ForeignKey("record.id", ondelete="CASCADE"),
            primary_key=True,
        ),
        sa.Column("layout_id", sa.Integer, sa.ForeignKey("layout.id"), nullable=False),
        sa.Column("numbers", sa.LargeBinary, nullable=False),
    )
    with op.batch_alter_table("record") as batch:
        batch.add_column(sa.Column("decided", sa.JSON, nullable=False, server_default="{}"))
    _fill()


def _fill() -> None:
    from scanqa.records.packed import put_block
    from scanqa.records.schema import record, value

    connection = op.get_bind()
    numbers = list(connection.scalars(sa.select(record.c.id).order_by(record.c.id)))
    for start in range(0, len(numbers), AT_ONCE):
        some = numbers[start : start + AT_ONCE]
        query = sa.select(value).where(value.c.record_id.in_(some)).order_by(value.c.record_id)
        rows = connection.execute(query).mappings().all()
        for record_id, mine in groupby(rows, key=lambda row: row["record_id"]):
            put_block(connection, record_id, [dict(row) for row in mine])
        decided = record.c.document["decision"]
        for record_id, decision in connection.execute(
            sa.select(record.c.id, decided).where(record.c.id.in_(some))
        ).all():
            if isinstance(decision, dict):
                row = sa.update(record).where(record.c.id == record_id)
                connection.execute(row.values(decided=decision))


def downgrade() -> None:
    """Drop them."""
    op.drop_column("record", "decided")  # in place: a new table would take its values along
    for table in ("block", "layout"):
        op.drop_table(table)
