"""Migrations: every step goes up and down with rows in the tables, on either database."""

from __future__ import annotations

import shutil
import subprocess
import sys
import threading
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import CheckConstraint, Engine, Table, func, select, text
from sqlalchemy.exc import IntegrityError
from support.filler import NOT_OURS, Rows, differing, fill, rows_in, shared, tables_in

from api.store import migrate
from api.store.engine import Store
from api.store.migrate import HEAD, SCRIPTS, DanglingError, bring_up, revision_of, take_down
from api.store.stock import is_new
from api.store.tables import ENTRIES, LOTS, METADATA, QUOTES, STANDING, SUPPLIES
from catalog.model import Catalog

ROOT = Path(__file__).parents[2]
START = """
import sys
from datetime import date
from api.house import open_house
from api.settings import Settings
print("ready", flush=True)
sys.stdin.readline()
open_house(Settings(today=date(2026, 3, 2), database_url=sys.argv[1])).close()
"""
#: A step that changes every table that was there, on SQLite by copying it, and adds one.
NEXT = """
import sqlalchemy as sa
from alembic import op

revision = "next"
down_revision = "{head}"
TABLES = {tables}


def _copied():
    return "always" if op.get_bind().dialect.name == "sqlite" else "never"


def upgrade():
    for table in TABLES:
        with op.batch_alter_table(table, recreate=_copied()) as batch:
            batch.add_column(sa.Column("added", sa.String(), nullable=True))
    op.create_table("other", sa.Column("id", sa.Integer(), primary_key=True))


def downgrade():
    op.drop_table("other")
    for table in TABLES:
        with op.batch_alter_table(table, recreate=_copied()) as batch:
            batch.drop_column("added")
"""


def _steps() -> list[tuple[str, str]]:
    """Return the steps, oldest first, each as (revision below, revision)."""
    config = Config()
    config.set_main_option("script_location", str(SCRIPTS))
    config.set_main_option("path_separator", "os")
    walked = reversed(list(ScriptDirectory.from_config(config).walk_revisions()))
    return [(str(script.down_revision or "base"), script.revision) for script in walked]


STEPS = _steps()


@pytest.fixture
def engine(store_url: str) -> Iterator[Engine]:
    store = Store(store_url)
    yield store.engine
    store.close()


def _filled(engine: Engine) -> Rows:
    with engine.begin() as connection:
        fill(connection)
        return rows_in(connection)


def _rows(engine: Engine) -> Rows:
    with engine.connect() as connection:
        return rows_in(connection)


def _assert_carried(before: Rows, after: Rows) -> None:
    """Hold that what both forms of the database can hold is the same in both."""
    assert differing(shared(before, after), shared(after, before)) == []


def test_the_steps_are_one_line_and_its_end_is_the_newest_file() -> None:
    assert [below for below, _ in STEPS] == ["base", *(revision for _, revision in STEPS[:-1])]
    files = sorted((SCRIPTS / "versions").glob("*.py"))
    assert [file.name.partition("_")[0] for file in files] == [revision for _, revision in STEPS]
    assert STEPS[-1][1] == HEAD


def test_going_up_from_nothing_makes_the_tables_as_the_rows_have_them(engine: Engine) -> None:
    bring_up(engine)
    with engine.connect() as connection:
        context = MigrationContext.configure(
            connection, opts={"compare_type": True, "compare_server_default": True, "target_metadata": METADATA}
        )
        assert compare_metadata(context, METADATA) == []
        assert revision_of(connection) == HEAD
        # What the comparison passes over.
        assert _checks(tables_in(connection)) == _checks(METADATA.sorted_tables)


def _checks(tables: Iterable[Table]) -> dict[str, set[str]]:
    return {
        table.name: {str(each.name) for each in table.constraints if isinstance(each, CheckConstraint)}
        for table in tables
    }


def test_every_table_is_filled(engine: Engine) -> None:
    bring_up(engine)
    rows = _filled(engine)
    assert sorted(rows) == sorted(METADATA.tables)
    assert {name for name, found in rows.items() if len(found) != 3} == {"standing"}
    columns = {
        f"{name}.{column}"
        for name, found in rows.items()
        for column in found[0]
        if all(row[column] is None for row in found)
    }
    assert columns == set()


def test_bringing_up_what_is_up_changes_nothing(engine: Engine) -> None:
    bring_up(engine)
    rows = _filled(engine)
    bring_up(engine)
    assert differing(rows, _rows(engine)) == []


@pytest.mark.parametrize(("below", "revision"), STEPS)
def test_rows_survive_a_step_up_and_down_and_up_again(engine: Engine, below: str, revision: str) -> None:
    if below != "base":
        bring_up(engine, below)
    before = _filled(engine)
    bring_up(engine, revision)
    raised = _rows(engine)
    _assert_carried(before, raised)
    whole = _filled(engine)
    take_down(engine, below)
    lowered = _rows(engine)
    _assert_carried(whole, lowered)
    assert {*lowered} == {*before}
    bring_up(engine, revision)
    _assert_carried(lowered, _rows(engine))
    assert {*_rows(engine)} == {*raised}


def test_down_to_the_base_nothing_is_left_and_all_comes_again(engine: Engine) -> None:
    bring_up(engine)
    first = _filled(engine)
    take_down(engine, "base")
    with engine.connect() as connection:
        assert revision_of(connection) is None
        assert set(_names(engine)) == NOT_OURS
    bring_up(engine)
    assert differing(first, _filled(engine)) == []


def _names(engine: Engine) -> list[str]:
    """Return what is in the database by its own word: tables, sequences, and indices left behind."""
    own = (
        "SELECT name FROM sqlite_master WHERE name NOT LIKE 'sqlite_%'"
        if engine.dialect.name == "sqlite"
        else "SELECT relname FROM pg_class WHERE relnamespace = 'public'::regnamespace"
    )
    with engine.connect() as connection:
        found = connection.execute(text(own)).scalars()
        return [name for name in found if not name.startswith("alembic_version_pk")]


@pytest.fixture
def scripts(tmp_path: Path) -> Path:
    """Return the migrations with one more."""
    folder = tmp_path / "migrations"
    shutil.copytree(SCRIPTS, folder, ignore=shutil.ignore_patterns("__pycache__"))
    step = NEXT.format(head=HEAD, tables=sorted(METADATA.tables))
    (folder / "versions" / "next.py").write_text(step, encoding="utf-8")
    return folder


def test_tables_that_others_point_at_can_be_changed_with_rows_in_them(engine: Engine, scripts: Path) -> None:
    bring_up(engine)
    rows = _filled(engine)
    bring_up(engine, "next", scripts=scripts)
    raised = _rows(engine)
    assert all(row["added"] is None for name in rows for row in raised[name])
    _assert_carried(rows, raised)
    take_down(engine, HEAD, scripts=scripts)
    assert differing(rows, _rows(engine)) == []
    with engine.connect() as connection:
        assert compare_metadata(MigrationContext.configure(connection), METADATA) == []


@pytest.mark.parametrize(
    ("half_way", "fault"),
    [
        ("raise RuntimeError", RuntimeError),
        (
            'op.execute("DELETE FROM quote WHERE number = (SELECT min(number) FROM quote)")',
            (IntegrityError, DanglingError),
        ),
    ],
    ids=["raises", "leaves rows that point at nothing"],
)
def test_a_step_that_fails_leaves_the_form_and_the_rows_as_they_were(
    engine: Engine, scripts: Path, half_way: str, fault: Any
) -> None:
    step = scripts / "versions" / "next.py"
    source = step.read_text(encoding="utf-8")
    step.write_text(source.replace("    op.create_table(", f"    {half_way}\n    op.create_table("), encoding="utf-8")
    bring_up(engine)
    rows = _filled(engine)
    with pytest.raises(fault):
        bring_up(engine, "next", scripts=scripts)
    assert differing(rows, _rows(engine)) == []
    with engine.connect() as connection:
        assert revision_of(connection) == HEAD


def test_foreign_keys_are_minded_again_after_a_step(engine: Engine, scripts: Path) -> None:
    bring_up(engine)
    for _ in range(2):
        bring_up(engine, "next", scripts=scripts)
        take_down(engine, HEAD, scripts=scripts)
    _filled(engine)
    with pytest.raises(IntegrityError), engine.begin() as connection:
        connection.execute(QUOTES.delete())


def test_who_starts_while_another_changes_the_tables_waits_and_finds_them_changed(
    engine: Engine, store_url: str
) -> None:
    other, outcome = Store(store_url), []

    def start() -> None:
        bring_up(other.engine)
        with other.engine.connect() as connection:
            outcome.append(revision_of(connection))

    second = threading.Thread(target=start)
    with migrate._locked(engine) as connection:
        migrate._run(connection, "head", SCRIPTS)
        second.start()
        second.join(0.5)
        assert second.is_alive()
    second.join(20)
    assert outcome == [HEAD]
    other.close()


def test_processes_that_start_at_once_on_an_empty_store_all_come_up_and_one_fills_it(
    store_url: str, oddlestone: Catalog
) -> None:
    started = [
        subprocess.Popen(
            [sys.executable, "-c", START, store_url],
            cwd=ROOT,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for _ in range(2)
    ]
    for process in started:
        assert process.stdout.readline() == "ready\n"
    told = [process.communicate("go\n", timeout=60)[1] for process in started]
    assert [process.returncode for process in started] == [0, 0], told
    store = Store(store_url)
    with store.read() as connection:
        assert not is_new(connection)
        counted = {
            table: connection.execute(select(func.count()).select_from(table)).scalar_one()
            for table in (LOTS, SUPPLIES, ENTRIES, STANDING)
        }
        assert connection.execute(select(ENTRIES.c.number)).scalars().all() == [1] * counted[ENTRIES]
    assert counted[LOTS] == len(oddlestone.lots)
    assert (counted[ENTRIES], counted[STANDING]) == (counted[LOTS] + counted[SUPPLIES], 1)
    assert store.revisions()[:2] == (1, 1)
    store.close()
