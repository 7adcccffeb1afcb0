"""What alembic runs: the migrations, on the connection that :mod:`api.store.migrate` hands it."""

from __future__ import annotations

from alembic import context

from api.store.tables import METADATA

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=METADATA,
    render_as_batch=True,  # SQLite changes tables by copying them
    transaction_per_migration=False,
)
context.run_migrations()
