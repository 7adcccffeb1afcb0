"""Editions."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Go one step up."""
    op.create_table(
        "edition",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("files", sa.Text(), nullable=False),
        sa.Column("content_hash", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=True),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_edition")),
    )
    with op.batch_alter_table("standing", schema=None) as batch_op:
        batch_op.add_column(sa.Column("edition", sa.Integer(), nullable=False, server_default="0"))
    # The default was for the row that is there; every later write says the number.
    with op.batch_alter_table("standing", schema=None) as batch_op:
        batch_op.alter_column("edition", server_default=None)


def downgrade() -> None:
    """Go one step down."""
    with op.batch_alter_table("standing", schema=None) as batch_op:
        batch_op.drop_column("edition")
    op.drop_table("edition")
