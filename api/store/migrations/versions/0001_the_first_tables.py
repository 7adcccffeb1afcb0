"""The first tables."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Go one step up."""
    op.create_table(
        "answered",
        sa.Column("client", sa.String(), nullable=False),
        sa.Column("operation", sa.String(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("fingerprint", sa.String(), nullable=False),
        sa.Column("status", sa.Integer(), nullable=False),
        sa.Column("headers", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("record", sa.String(), nullable=True),
        sa.Column("at", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("client", "operation", "key", name=op.f("pk_answered")),
    )
    with op.batch_alter_table("answered", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_answered_at"), ["at"], unique=False)
        batch_op.create_index(batch_op.f("ix_answered_record"), ["record"], unique=False)

    op.create_table(
        "api_key",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("class", sa.Text(), nullable=False),
        sa.Column("client", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("secret_hash", sa.String(), nullable=False),
        sa.Column("public", sa.String(), nullable=True),
        sa.Column("origins", sa.Text(), nullable=False),
        sa.Column("created_at", sa.String(), nullable=False),
        sa.Column("created_by", sa.String(), nullable=False),
        sa.Column("expires_at", sa.String(), nullable=True),
        sa.Column("revoked_at", sa.String(), nullable=True),
        sa.CheckConstraint(
            "class IN ('page', 'server', 'staff', 'owner', 'sheet')", name=op.f("ck_api_key_class_known")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_api_key")),
        sa.UniqueConstraint("secret_hash", name=op.f("uq_api_key_secret_hash")),
    )
    with op.batch_alter_table("api_key", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_api_key_client"), ["client"], unique=False)

    op.create_table(
        "check_log",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("pattern", sa.String(), nullable=False),
        sa.Column("outcome", sa.String(), nullable=False),
        sa.Column("rules", sa.Text(), nullable=False),
        sa.Column("currency", sa.String(), nullable=False),
        sa.Column("total_minor", sa.BigInteger(), nullable=True),
        sa.Column("spec", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_check_log")),
    )
    with op.batch_alter_table("check_log", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_check_log_at"), ["at"], unique=False)

    op.create_table(
        "entry",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("noun", sa.String(), nullable=False),
        sa.Column("record", sa.String(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_entry")),
        sa.UniqueConstraint("noun", "record", "number", name=op.f("uq_entry_noun_record_number")),
    )
    op.create_table(
        "item",
        sa.Column("record", sa.String(), nullable=False),
        sa.Column("item", sa.Integer(), nullable=False),
        sa.Column("spec", sa.Text(), nullable=False),
        sa.Column("answer", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("record", "item", name=op.f("pk_item")),
    )
    op.create_table(
        "lot",
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("leather", sa.String(), nullable=False),
        sa.Column("form", sa.String(), nullable=False),
        sa.Column("mill_stamp", sa.String(), nullable=True),
        sa.Column("stamp_unit", sa.String(), nullable=True),
        sa.Column("left_um2", sa.BigInteger(), nullable=False),
        sa.Column("reserved_um2", sa.BigInteger(), nullable=False),
        sa.Column("thickness_min_um", sa.Integer(), nullable=False),
        sa.Column("thickness_max_um", sa.Integer(), nullable=False),
        sa.Column("rectangles", sa.Text(), nullable=False),
        sa.Column("drift_milli", sa.Integer(), nullable=False),
        sa.Column("stamp_legible", sa.Boolean(), nullable=False),
        sa.Column("grade", sa.String(), nullable=False),
        sa.Column("parent", sa.String(), nullable=True),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("counted_on", sa.String(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("state IN ('open', 'scrap')", name=op.f("ck_lot_state_known")),
        sa.CheckConstraint("left_um2 >= 0", name=op.f("ck_lot_left_not_negative")),
        sa.CheckConstraint("reserved_um2 >= 0 AND reserved_um2 <= left_um2", name=op.f("ck_lot_reserved_within_left")),
        sa.ForeignKeyConstraint(["parent"], ["lot.code"], name=op.f("fk_lot_parent_lot")),
        sa.PrimaryKeyConstraint("code", name=op.f("pk_lot")),
    )
    with op.batch_alter_table("lot", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_lot_leather"), ["leather"], unique=False)

    op.create_table(
        "quote",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("client", sa.String(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("reference", sa.String(), nullable=True),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("created_at", sa.String(), nullable=False),
        sa.Column("currency", sa.String(), nullable=False),
        sa.Column("total_minor", sa.BigInteger(), nullable=False),
        sa.Column("valid_until", sa.String(), nullable=False),
        sa.Column("renewed", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "state IN ('held', 'awaiting_sign_off', 'short', 'ordered', 'lapsed', 'withdrawn')",
            name=op.f("ck_quote_state_known"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_quote")),
        sa.UniqueConstraint("number", name=op.f("uq_quote_number")),
    )
    with op.batch_alter_table("quote", schema=None) as batch_op:
        batch_op.create_index("ix_quote_client_reference", ["client", "reference"], unique=False)

    op.create_table(
        "standing",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("stock", sa.Integer(), nullable=False),
        sa.Column("backlog", sa.Integer(), nullable=False),
        sa.Column("keys", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("seeded_from", sa.String(), nullable=False),
        sa.CheckConstraint("id = 1", name=op.f("ck_standing_one_row")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_standing")),
    )
    op.create_table(
        "supply",
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("noun", sa.String(), nullable=False),
        sa.Column("left_base", sa.BigInteger(), nullable=True),
        sa.Column("sorts", sa.Text(), nullable=True),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "noun IN ('thread', 'edge', 'foil', 'hardware', 'sorts')", name=op.f("ck_supply_noun_known")
        ),
        sa.CheckConstraint("state IN ('active', 'out')", name=op.f("ck_supply_state_known")),
        sa.CheckConstraint("left_base IS NULL OR left_base >= 0", name=op.f("ck_supply_left_not_negative")),
        sa.PrimaryKeyConstraint("code", name=op.f("pk_supply")),
    )
    op.create_table(
        "hold",
        sa.Column("quote", sa.String(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("until", sa.String(), nullable=True),
        sa.Column("needs", sa.Text(), nullable=False),
        sa.CheckConstraint("kind IN ('cart', 'quote', 'order')", name=op.f("ck_hold_kind_known")),
        sa.CheckConstraint(
            "state IN ('live', 'short', 'lapsed', 'released', 'used')", name=op.f("ck_hold_state_known")
        ),
        sa.ForeignKeyConstraint(["quote"], ["quote.id"], name=op.f("fk_hold_quote_quote")),
        sa.PrimaryKeyConstraint("quote", name=op.f("pk_hold")),
    )
    with op.batch_alter_table("hold", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_hold_state"), ["state"], unique=False)

    op.create_table(
        "order_record",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("quote", sa.String(), nullable=False),
        sa.Column("client", sa.String(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("reference", sa.String(), nullable=True),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("created_at", sa.String(), nullable=False),
        sa.Column("currency", sa.String(), nullable=False),
        sa.Column("total_minor", sa.BigInteger(), nullable=False),
        sa.Column("ready_on", sa.String(), nullable=True),
        sa.Column("payment", sa.Text(), nullable=False),
        sa.Column("as_built", sa.Text(), nullable=False),
        sa.Column("minutes", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "state IN ('open', 'cut', 'shipped', 'cancelled')", name=op.f("ck_order_record_state_known")
        ),
        sa.ForeignKeyConstraint(["quote"], ["quote.id"], name=op.f("fk_order_record_quote_quote")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_order_record")),
        sa.UniqueConstraint("number", name=op.f("uq_order_record_number")),
        sa.UniqueConstraint("quote", name=op.f("uq_order_record_quote")),
    )
    with op.batch_alter_table("order_record", schema=None) as batch_op:
        batch_op.create_index("ix_order_record_client_reference", ["client", "reference"], unique=False)
        batch_op.create_index(batch_op.f("ix_order_record_state"), ["state"], unique=False)

    op.create_table(
        "sign_off",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("quote", sa.String(), nullable=False),
        sa.Column("item", sa.Integer(), nullable=False),
        sa.Column("finding", sa.String(), nullable=False),
        sa.Column("rule", sa.String(), nullable=False),
        sa.Column("signature", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("scope", sa.String(), nullable=True),
        sa.Column("until", sa.String(), nullable=True),
        sa.Column("lots", sa.Text(), nullable=False),
        sa.Column("note", sa.String(), nullable=True),
        sa.Column("created_at", sa.String(), nullable=False),
        sa.Column("at", sa.String(), nullable=True),
        sa.Column("by", sa.String(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("state IN ('asked', 'given', 'refused', 'void')", name=op.f("ck_sign_off_state_known")),
        sa.ForeignKeyConstraint(["quote"], ["quote.id"], name=op.f("fk_sign_off_quote_quote")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sign_off")),
        sa.UniqueConstraint("number", name=op.f("uq_sign_off_number")),
        sa.UniqueConstraint("quote", "item", "finding", "number", name=op.f("uq_sign_off_quote_item_finding_number")),
    )
    with op.batch_alter_table("sign_off", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_sign_off_quote"), ["quote"], unique=False)
        batch_op.create_index(batch_op.f("ix_sign_off_signature"), ["signature"], unique=False)
        batch_op.create_index(batch_op.f("ix_sign_off_state"), ["state"], unique=False)

    # The row that every writer locks; the stock is filled in when the service first starts.
    op.execute("INSERT INTO standing (id, stock, backlog, keys, number, seeded_from) VALUES (1, 0, 0, 0, 0, '')")


def downgrade() -> None:
    """Go one step down."""
    with op.batch_alter_table("sign_off", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_sign_off_state"))
        batch_op.drop_index(batch_op.f("ix_sign_off_signature"))
        batch_op.drop_index(batch_op.f("ix_sign_off_quote"))

    op.drop_table("sign_off")
    with op.batch_alter_table("order_record", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_order_record_state"))
        batch_op.drop_index("ix_order_record_client_reference")

    op.drop_table("order_record")
    with op.batch_alter_table("hold", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_hold_state"))

    op.drop_table("hold")
    op.drop_table("supply")
    op.drop_table("standing")
    with op.batch_alter_table("quote", schema=None) as batch_op:
        batch_op.drop_index("ix_quote_client_reference")

    op.drop_table("quote")
    with op.batch_alter_table("lot", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_lot_leather"))

    op.drop_table("lot")
    op.drop_table("item")
    op.drop_table("entry")
    with op.batch_alter_table("check_log", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_check_log_at"))

    op.drop_table("check_log")
    with op.batch_alter_table("api_key", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_api_key_client"))

    op.drop_table("api_key")
    with op.batch_alter_table("answered", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_answered_record"))
        batch_op.drop_index(batch_op.f("ix_answered_at"))

    op.drop_table("answered")
