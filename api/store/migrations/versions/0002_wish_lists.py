"""Wish lists."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Go one step up."""
    op.create_table(
        "wish_list",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("client", sa.String(), nullable=False),
        sa.Column("key_class", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("terms", sa.Text(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("said", sa.String(), nullable=True),
        sa.Column("rows", sa.Integer(), nullable=False),
        sa.Column("done", sa.Integer(), nullable=False),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("summary", sa.Text(), nullable=True),
        sa.Column("judged_by", sa.Text(), nullable=True),
        sa.Column("begun", sa.Integer(), nullable=False),
        sa.Column("worker", sa.String(), nullable=True),
        sa.Column("beat_at", sa.String(), nullable=True),
        sa.Column("created_at", sa.String(), nullable=False),
        sa.Column("expires_at", sa.String(), nullable=False),
        sa.CheckConstraint("state IN ('waiting', 'running', 'done', 'failed')", name=op.f("ck_wish_list_state_known")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_wish_list")),
        sa.UniqueConstraint("number", name=op.f("uq_wish_list_number")),
    )
    with op.batch_alter_table("wish_list", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_wish_list_client"), ["client"], unique=False)
        batch_op.create_index(batch_op.f("ix_wish_list_expires_at"), ["expires_at"], unique=False)
        batch_op.create_index(batch_op.f("ix_wish_list_state"), ["state"], unique=False)

    op.create_table(
        "wish_list_answers",
        sa.Column("wish_list", sa.String(), nullable=False),
        sa.Column("first", sa.Integer(), nullable=False),
        sa.Column("rows", sa.Integer(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["wish_list"], ["wish_list.id"], name=op.f("fk_wish_list_answers_wish_list_wish_list")),
        sa.PrimaryKeyConstraint("wish_list", "first", name=op.f("pk_wish_list_answers")),
    )
    op.create_table(
        "wish_list_part",
        sa.Column("wish_list", sa.String(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["wish_list"], ["wish_list.id"], name=op.f("fk_wish_list_part_wish_list_wish_list")),
        sa.PrimaryKeyConstraint("wish_list", "place", name=op.f("pk_wish_list_part")),
    )


def downgrade() -> None:
    """Go one step down."""
    op.drop_table("wish_list_part")
    op.drop_table("wish_list_answers")
    with op.batch_alter_table("wish_list", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_wish_list_state"))
        batch_op.drop_index(batch_op.f("ix_wish_list_expires_at"))
        batch_op.drop_index(batch_op.f("ix_wish_list_client"))

    op.drop_table("wish_list")
