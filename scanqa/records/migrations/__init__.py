"""Schema changes, applied in order by Alembic; a file in ``versions/`` for each.

Revision names are ordered as text, so that a newer schema is recognised as such.
"""

from __future__ import annotations

from pathlib import Path

from sqlalchemy.engine import Engine

HEAD = "0003"
LOCK = 5_190_902  # any number, the same for all who upgrade


def upgrade(engine: Engine, revision: str = "head") -> None:
    """Bring a database to a revision, in one transaction where the database allows it."""
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent))
    # Two processes may meet a new database: the second waits, then finds nothing to do.
    with engine.execution_options(alone=True).begin() as connection:
        if connection.dialect.name == "postgresql":
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({LOCK})")
        config.attributes["connection"] = connection
        command.upgrade(config, revision)
