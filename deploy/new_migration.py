"""Draft the migration that takes the newest tables to what ``api/store/tables.py`` says now.

    .venv/bin/python deploy/new_migration.py NUMBER "What changes"

Read the draft, correct it, run the linters, set ``HEAD`` in ``api/store/migrate.py``.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from alembic import command
from alembic.config import Config

from api.store.engine import engine_of
from api.store.migrate import SCRIPTS


def main(number: str, message: str) -> None:
    """Bring an empty database to the newest migration and write the next."""
    (SCRIPTS / "versions").mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        engine = engine_of(f"sqlite:///{Path(folder) / 'draft.sqlite3'}")
        with engine.connect().execution_options(writes=True) as connection, connection.begin():
            config = Config()
            config.set_main_option("script_location", str(SCRIPTS))
            config.set_main_option("path_separator", "os")
            config.attributes["connection"] = connection
            if any((SCRIPTS / "versions").glob("*.py")):
                command.upgrade(config, "head")
            script = command.revision(config, message=message, autogenerate=True, rev_id=number)
    path = Path(script.path)  # type: ignore[union-attr]
    text = path.read_text(encoding="utf-8").replace("sqlmodel.sql.sqltypes.AutoString()", "sa.String()")
    path.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main(*sys.argv[1:])
