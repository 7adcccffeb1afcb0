"""The tables. Rows are written by this package alone; they validate nothing, so they are never a request's body.

Figures are whole numbers with the unit in the name, moments are text in UTC (ISO 8601, microseconds,
so that they sort), and what is only kept and shown again is JSON text. Names of constraints follow one
convention, so that migrations can name them.
"""

from __future__ import annotations

from typing import Any, Final, cast

from sqlalchemy import BigInteger, CheckConstraint, Column, Index, LargeBinary, MetaData, Table, Text, UniqueConstraint
from sqlmodel import Field, SQLModel

#: The one metadata of the store, apart from any that another library may fill.
#: States of an order that is not over.
UNDER_WAY: Final = ("open", "cut")
METADATA: Final = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def _long(*, nullable: bool = False) -> Any:
    return Field(sa_column=Column(BigInteger, nullable=nullable))


def _json(*, nullable: bool = False) -> Any:
    return Field(sa_column=Column(Text, nullable=nullable))


class _Row(SQLModel):
    """What every table shares."""

    metadata = METADATA


class Standing(_Row, table=True):
    """One row: how often stock, backlog and keys changed, the last number given to a record, the edition in force.

    Whoever changes stock holds this row for the length of the transaction, so that changes come one
    after another on either database.
    """

    __tablename__ = "standing"
    __table_args__ = (CheckConstraint("id = 1", name="one_row"),)

    id: int = Field(primary_key=True)
    stock: int
    backlog: int
    keys: int
    number: int
    seeded_from: str
    edition: int = Field(description="Number of the edition in force; 0 before the first.")


class EditionRow(_Row, table=True):
    """The workshop's files as they were put in force: JSON, text by file name. Never changed, never deleted."""

    __tablename__ = "edition"

    number: int = Field(primary_key=True)
    at: str
    by: str
    files: str = _json()
    content_hash: str
    note: str | None


class LotRow(_Row, table=True):
    """A lot as its entries leave it. ``rectangles``: JSON list of [along_um, across_um]."""

    __tablename__ = "lot"
    __table_args__ = (
        CheckConstraint("left_um2 >= 0", name="left_not_negative"),
        CheckConstraint("reserved_um2 >= 0 AND reserved_um2 <= left_um2", name="reserved_within_left"),
        CheckConstraint("state IN ('open', 'scrap')", name="state_known"),
    )

    code: str = Field(primary_key=True)
    place: int = Field(description="Order in which lots came in; the catalog's own first.")
    leather: str = Field(index=True)
    form: str
    mill_stamp: str | None
    stamp_unit: str | None
    left_um2: int = _long()
    reserved_um2: int = _long()
    thickness_min_um: int
    thickness_max_um: int
    rectangles: str = _json()
    drift_milli: int
    stamp_legible: bool
    grade: str
    parent: str | None = Field(foreign_key="lot.code")
    state: str
    counted_on: str | None
    version: int


class SupplyRow(_Row, table=True):
    """What is left of a thread, edge, foil or fitting (um, ul, um, pieces), or a type case.

    ``left`` is null where nothing is used up and for type cases; ``sorts`` is JSON, sign to
    [good and worn, worn], for type cases only.
    """

    __tablename__ = "supply"
    __table_args__ = (
        CheckConstraint("noun IN ('thread', 'edge', 'foil', 'hardware', 'sorts')", name="noun_known"),
        CheckConstraint("left_base IS NULL OR left_base >= 0", name="left_not_negative"),
        CheckConstraint("state IN ('active', 'out')", name="state_known"),
    )

    code: str = Field(primary_key=True)
    noun: str
    left_base: int | None = _long(nullable=True)
    sorts: str | None = _json(nullable=True)
    state: str
    version: int


class EntryRow(_Row, table=True):
    """One line of a record's history; written once, never changed but for customer text that is forgotten.

    ``noun``: lot, supply, quote or order. ``number`` counts from 1 in each record.
    """

    __tablename__ = "entry"
    __table_args__ = (UniqueConstraint("noun", "record", "number"),)

    id: str = Field(primary_key=True)
    noun: str
    record: str
    number: int
    at: str
    by: str
    kind: str
    body: str = _json()


class QuoteRow(_Row, table=True):
    """A quote. ``client`` owns it: the holder of a key, whichever key it uses at the time."""

    __tablename__ = "quote"
    __table_args__ = (
        CheckConstraint(
            "state IN ('held', 'awaiting_sign_off', 'short', 'ordered', 'lapsed', 'withdrawn')", name="state_known"
        ),
        Index("ix_quote_client_reference", "client", "reference"),
    )

    id: str = Field(primary_key=True)
    number: int = Field(unique=True)
    client: str
    key: str
    reference: str | None
    state: str
    created_at: str
    currency: str
    total_minor: int = _long()
    valid_until: str
    renewed: int
    version: int


class ItemRow(_Row, table=True):
    """One item of a quote or an order: its spec, the whole check as the owner sees it, what it takes. All JSON."""

    __tablename__ = "item"

    record: str = Field(primary_key=True)
    item: int = Field(primary_key=True)
    spec: str = _json()
    answer: str = _json()


class HoldRow(_Row, table=True):
    """What is set aside for a quote, later its order: JSON list of needs, one an item.

    ``number`` is the order of granting: where stock is lost, the newest goes first. ``until`` null: until cut.
    """

    __tablename__ = "hold"
    __table_args__ = (
        CheckConstraint("state IN ('live', 'short', 'lapsed', 'released', 'used')", name="state_known"),
        CheckConstraint("kind IN ('cart', 'quote', 'order')", name="kind_known"),
    )

    quote: str = Field(primary_key=True, foreign_key="quote.id")
    number: int
    kind: str
    state: str = Field(index=True)
    until: str | None
    needs: str = _json()


class SignOffRow(_Row, table=True):
    """The maker's word on one finding of one item.

    ``signature`` is a hash of what was agreed to: rule and its wording, pattern, place, figures. A
    quote that has no such finding any more makes it void.
    """

    __tablename__ = "sign_off"
    __table_args__ = (
        CheckConstraint("state IN ('asked', 'given', 'refused', 'void')", name="state_known"),
        UniqueConstraint("quote", "item", "finding", "number"),
    )

    id: str = Field(primary_key=True)
    number: int = Field(unique=True)
    quote: str = Field(foreign_key="quote.id", index=True)
    item: int
    finding: str
    rule: str
    signature: str = Field(index=True)
    state: str = Field(index=True)
    scope: str | None
    until: str | None
    lots: str = _json()
    note: str | None
    created_at: str
    at: str | None
    by: str | None
    version: int


class OrderRow(_Row, table=True):
    """An order. ``minutes`` are those that it adds to the bench's backlog while it is open or cut."""

    __tablename__ = "order_record"
    __table_args__ = (
        CheckConstraint("state IN ('open', 'cut', 'shipped', 'cancelled')", name="state_known"),
        Index("ix_order_record_client_reference", "client", "reference"),
    )

    id: str = Field(primary_key=True)
    number: int = Field(unique=True)
    quote: str = Field(foreign_key="quote.id", unique=True)
    client: str
    key: str
    reference: str | None
    state: str = Field(index=True)
    created_at: str
    currency: str
    total_minor: int = _long()
    ready_on: str | None
    payment: str = _json()
    as_built: str = _json()
    minutes: int
    version: int


class AnsweredRow(_Row, table=True):
    """An answer kept for whoever sends the same request again, in the transaction of its effect."""

    __tablename__ = "answered"

    client: str = Field(primary_key=True)
    operation: str = Field(primary_key=True)
    key: str = Field(primary_key=True)
    fingerprint: str
    status: int
    headers: str = _json()
    body: str = _json()
    record: str | None = Field(index=True)
    at: str = Field(index=True)


class KeyRow(_Row, table=True):
    """A key: its public id and the hash of its secret. ``public`` keeps the text of a page key, which is no secret."""

    __tablename__ = "api_key"
    __table_args__ = (
        CheckConstraint("class IN ('page', 'server', 'staff', 'owner', 'sheet')", name="class_known"),
        UniqueConstraint("secret_hash"),
    )

    id: str = Field(primary_key=True)
    key_class: str = Field(sa_column=Column("class", Text, nullable=False))
    client: str = Field(index=True)
    name: str
    secret_hash: str
    public: str | None
    origins: str = _json()
    created_at: str
    created_by: str
    expires_at: str | None
    revoked_at: str | None


class CheckRow(_Row, table=True):
    """A check that was answered, without note, reference and the letters of a monogram."""

    __tablename__ = "check_log"

    id: int | None = Field(default=None, primary_key=True)
    at: str = Field(index=True)
    key: str
    pattern: str
    outcome: str
    rules: str = _json()
    currency: str
    total_minor: int | None = _long(nullable=True)
    spec: str = _json()


class WishListRow(_Row, table=True):
    """A long list and how far it has come.

    ``beat_at`` is the last sign of life of ``worker``, who is at it; ``begun`` says how often somebody was.

    ``judged_by`` is what it is judged by, JSON: revisions and the day; null until somebody has begun.
    """

    __tablename__ = "wish_list"
    __table_args__ = (CheckConstraint("state IN ('waiting', 'running', 'done', 'failed')", name="state_known"),)

    id: str = Field(primary_key=True)
    number: int = Field(unique=True)
    client: str = Field(index=True)
    key_class: str
    kind: str
    terms: str = _json()
    state: str = Field(index=True)
    said: str | None
    rows: int
    done: int
    notes: str = _json()
    summary: str | None = _json(nullable=True)
    judged_by: str | None = _json(nullable=True)
    begun: int
    worker: str | None
    beat_at: str | None
    created_at: str
    expires_at: str = Field(index=True)


class ListPartRow(_Row, table=True):
    """A part of a list as it was sent; all of them in order are the file."""

    __tablename__ = "wish_list_part"

    wish_list: str = Field(primary_key=True, foreign_key="wish_list.id")
    place: int = Field(primary_key=True)
    content: bytes = Field(sa_column=Column(LargeBinary, nullable=False))


class ListAnswersRow(_Row, table=True):
    """What is said of the rows from ``first`` on: JSON, a line a row, compressed (zlib)."""

    __tablename__ = "wish_list_answers"

    wish_list: str = Field(primary_key=True, foreign_key="wish_list.id")
    first: int = Field(primary_key=True)
    rows: int
    content: bytes = Field(sa_column=Column(LargeBinary, nullable=False))


def _table(row: type[SQLModel]) -> Table:
    return cast(Table, vars(row)["__table__"])


#: The tables under the rows, for statements: a column of a row is typed as what it holds, not as a column.
STANDING: Final = _table(Standing)
EDITIONS: Final = _table(EditionRow)
LOTS: Final = _table(LotRow)
SUPPLIES: Final = _table(SupplyRow)
ENTRIES: Final = _table(EntryRow)
QUOTES: Final = _table(QuoteRow)
ITEMS: Final = _table(ItemRow)
HOLDS: Final = _table(HoldRow)
SIGN_OFFS: Final = _table(SignOffRow)
ORDERS: Final = _table(OrderRow)
ANSWERED: Final = _table(AnsweredRow)
API_KEYS: Final = _table(KeyRow)
CHECK_LOG: Final = _table(CheckRow)
WISH_LISTS: Final = _table(WishListRow)
LIST_PARTS: Final = _table(ListPartRow)
LIST_ANSWERS: Final = _table(ListAnswersRow)
