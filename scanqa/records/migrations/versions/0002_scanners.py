"""Which unit a name means, and what was decided by each record."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

WORDS = (
    ("make", 100),
    ("model", 100),
    ("serial", 100),
    ("asset", 100),
    ("site", 100),
    ("sensor", 100),
    ("lamp", 100),
    ("driver", 100),
    ("acquired", 10),
    ("seller", 200),
    ("return_until", 10),
    ("retired", 10),
)


def upgrade() -> None:
    """Create the table of units; records gain a column."""
    op.create_table(
        "scanner",
        sa.Column("scanner", sa.String(100), primary_key=True),
        *(sa.Column(name, sa.String(length), nullable=False) for name, length in WORDS),
    )
    with op.batch_alter_table("record") as batch:
        batch.add_column(sa.Column("decision", sa.String(16), nullable=False, server_default=""))


def downgrade() -> None:
    """Drop both."""
    with op.batch_alter_table("record") as batch:
        batch.drop_column("decision")
    op.drop_table("scanner")
