"""Everyday commands of a checkout, from nothing but Python itself.

    python3 deploy/dev.py serve [--port N]     the service on 127.0.0.1, port 8000 unless told
    python3 deploy/dev.py check FILE [...]     one spec on the command line; further arguments are passed on
    python3 deploy/dev.py keys TASK [...]      make, list, revoke and rotate keys; further arguments are passed on
    python3 deploy/dev.py test [--long] [...]  linters, types, imports, tests; further arguments go to pytest
    python3 deploy/dev.py bench [--quick] [--only SECTION]    the measurements

The first run makes ``.venv`` in the checkout and installs the pinned packages; later runs start at once.

Exit codes: those of the command that was run; 1 a step of ``test`` failed; 2 unknown command or argument;
4 no environment could be made; 5 the port is taken; 130 interrupted.
"""

# Written so that Python 3.7 can still read it: an older interpreter is told what is missing.
from __future__ import annotations

import contextlib
import errno
import hashlib
import importlib.util
import os
import re
import socket
import subprocess
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path

try:
    import fcntl
except ImportError:  # a system without it gets no lock: two first runs at once are rare there
    fcntl = None  # type: ignore[assignment]

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

ROOT = Path(__file__).resolve().parent.parent
OLDEST = (3, 11)
DEMO_DAY = "2026-03-02"  # the demo workshop's stock and orders are written around this day
HOST = "127.0.0.1"
LAST_PORT = 65535

USAGE = (
    "usage: dev.py serve [--port N] | check FILE [...] | keys TASK [...] | test [--long] [...]"
    " | bench [--quick] [--only SECTION]"
)
NO_INSTALLER = "dev.py: this Python has neither pip nor ensurepip; install one: apt install python3-pip"

BAD_USAGE = 2
NO_ENVIRONMENT = 4
PORT_TAKEN = 5
INTERRUPTED = 130


class UsageError(Exception):
    """A command line that means nothing here; ``str()`` says why in one line."""


class EnvironmentFailure(Exception):  # noqa: N818 -- EnvironmentError is taken by Python
    """No environment could be made; ``str()`` says in one line what to do."""


@dataclass(frozen=True)
class Command:
    """What the command line asked for; ``rest`` goes to the program that is started."""

    name: str
    port: int = 8000
    long: bool = False
    rest: list[str] = field(default_factory=list)


def parse(arguments: Sequence[str]) -> Command:
    """Return the command that the arguments name.

    Raises:
        UsageError: for an unknown command, ``check`` without a file, or a port that is none.
    """
    name, rest = (arguments[0], list(arguments[1:])) if arguments else ("", [])
    if name == "serve":
        return Command(name, port=_port(rest))
    if name == "check":
        if not rest:
            raise UsageError("check needs a FILE")
        return Command(name, rest=rest)
    if name == "test":
        return Command(name, long="--long" in rest, rest=[word for word in rest if word != "--long"])
    if name in {"keys", "bench"}:
        return Command(name, rest=rest)
    raise UsageError(f"unknown command {name!r}" if name else "no command")


def _port(words: list[str]) -> int:
    if not words:
        return Command.port
    joined = " ".join(words).replace("=", " ")
    match = re.fullmatch(r"--port ([0-9]{1,5})", joined)
    if match is None or int(match.group(1)) > LAST_PORT:
        raise UsageError("serve takes --port N, N from 0 to 65535, and nothing else")
    return int(match.group(1))


@dataclass(frozen=True)
class Home:
    """The virtual environment of one checkout.

    A stamp per group of packages says what is installed; a mark says that an installation has begun
    and not ended, so one that was cut off is thrown away instead of being trusted.
    """

    root: Path

    @property
    def folder(self) -> Path:
        """The environment itself."""
        return self.root / ".venv"

    @property
    def python(self) -> Path:
        """Its interpreter."""
        return self.folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")

    @property
    def unfinished(self) -> Path:
        """The mark of an installation under way or cut off."""
        return self.folder / "unfinished"

    def stamp(self, group: str) -> Path:
        """The file that holds the digest of what was installed for a group, "runtime" or "test"."""
        return self.folder / f"installed-{group}"

    def digest(self) -> str:
        """Return what a stamp must hold now: it changes with the pins, the Python version and the place."""
        parts = [
            (self.root / "pyproject.toml").read_bytes(),
            (self.root / "deploy" / "constraints.txt").read_bytes(),
            _version().encode(),
            os.fsencode(self.root),  # an editable installation points at its checkout
        ]
        return hashlib.sha256(b"".join(hashlib.sha256(part).digest() for part in parts)).hexdigest()

    def ready(self, group: str) -> bool:
        """Whether the group is installed, whole and current; the test group holds the runtime too."""
        if self.unfinished.exists() or not self.python.exists():
            return False
        groups = ("test",) if group == "test" else ("runtime", "test")
        return any(self._holds(self.stamp(name)) for name in groups)

    def _holds(self, stamp: Path) -> bool:
        try:
            return stamp.read_text(encoding="ascii") == self.digest()
        except (OSError, ValueError):
            return False

    def reusable(self) -> bool:
        """Whether packages may be installed on top of what is there."""
        if self.unfinished.exists() or not self.python.exists():
            return False
        try:
            text = (self.folder / "pyvenv.cfg").read_text(encoding="utf-8")
        except OSError:
            return False
        return re.search(rf"^version\s*=\s*{re.escape(_version())}\.", text, re.MULTILINE) is not None


def _version() -> str:
    # Major and minor only: a bug-fix release of Python keeps every installed package usable.
    return f"{sys.version_info[0]}.{sys.version_info[1]}"


def ensure(home: Home, group: str) -> None:
    """Make the environment hold a group of packages, unless it does already.

    Raises:
        EnvironmentFailure: when that cannot be done.
    """
    if home.ready(group):
        return
    with _lock(home.root / ".venv.lock"):
        if not home.ready(group):  # another run may have done it while this one waited
            _install(home, group)


@contextlib.contextmanager
def _lock(path: Path) -> Iterator[None]:
    with path.open("w", encoding="ascii") as file:
        if fcntl is not None:
            # Inherited by pip: should this process be killed, the lock lasts until pip has ended too.
            os.set_inheritable(file.fileno(), True)  # noqa: FBT003 -- the function takes no keyword
            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError:
                _say("waiting for another run that is installing")
                fcntl.flock(file, fcntl.LOCK_EX)
        yield


def _install(home: Home, group: str) -> None:
    start = time.monotonic()
    host_pip = _installer()
    if not home.reusable():
        _create(home)
    for name in ("runtime", "test"):
        home.stamp(name).unlink(missing_ok=True)
    home.unfinished.touch()
    what = "packages to run and to test" if group == "test" else "packages to run"
    _say(f"installing the {what} into .venv (needs the network; a minute or two the first time)")
    code = _pip(home, group, host_pip=host_pip)
    if code >= 0:  # pip ended by itself and was not killed: what is there is whole, even where it refused
        home.unfinished.unlink()
    if code:
        raise EnvironmentFailure("dev.py: pip could not install the packages; its message is above")
    _write_whole(home.stamp(group), home.digest())
    _say(f"installed in {time.monotonic() - start:.0f} s")


def _installer() -> bool:
    """Return whether the pip of this Python is to be used, else its ensurepip."""
    if _has("pip"):
        return True
    if not _has("ensurepip"):
        raise EnvironmentFailure(NO_INSTALLER)
    return False


def _has(module: str) -> bool:
    spec = importlib.util.find_spec(module)
    return spec is not None and spec.origin is not None  # a folder left behind by a removal has no origin


def _create(home: Home) -> None:
    import venv

    _say(f"making .venv with Python {_version()}")
    venv.create(home.folder, clear=home.folder.exists(), symlinks=os.name != "nt", with_pip=False)


def _pip(home: Home, group: str, *, host_pip: bool) -> int:
    """Install one group; return the exit code, negative for a signal."""
    python = str(home.python)
    if host_pip:
        # Before the subcommand: that is where every pip that knows the option takes it.
        pip = [sys.executable, "-m", "pip", "--python", python]
    else:
        pip = [python, "-m", "pip"]
        bootstrap = [python, "-m", "ensurepip", "--default-pip"]
        code = subprocess.run(bootstrap, check=False, stdout=subprocess.DEVNULL, close_fds=False).returncode
        if code:
            return code
    extra = "[test]" if group == "test" else ""
    quiet = ["--quiet", "--no-input", "--disable-pip-version-check"]
    command = [*pip, "install", *quiet, "-c", "deploy/constraints.txt", "-e", f".{extra}"]
    environment = {**os.environ, "PIP_USER": "0"}  # a habit of the user's settings that no environment allows
    return subprocess.run(command, check=False, cwd=home.root, env=environment, close_fds=False).returncode


def _write_whole(path: Path, text: str) -> None:
    draft = path.with_name(path.name + ".draft")
    draft.write_text(text, encoding="ascii")
    draft.replace(path)


def serve(home: Home, command: Command) -> int:
    """Run the service until it is interrupted."""
    if _taken(command.port):
        other = command.port + 1 if command.port < LAST_PORT else Command.port
        _say(f"port {command.port} is taken; try: python3 deploy/dev.py serve --port {other}")
        return PORT_TAKEN
    ensure(home, "runtime")
    os.environ.setdefault("QUARTERFOOT_TODAY", DEMO_DAY)
    os.environ.setdefault("QUARTERFOOT_DEMO_KEYS", "1")
    return _become(home, ["-m", "api", "serve", "--port", str(command.port)])


def _taken(port: int) -> bool:
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        if os.name != "nt":  # there the option would let two programs share the port
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except OSError as refused:
            return refused.errno == errno.EADDRINUSE
    return False


def check(home: Home, command: Command) -> int:
    """Check one file; return the exit code of ``python -m api check``."""
    ensure(home, "runtime")
    # -P: the file is named from the caller's folder, which must not shadow the packages.
    os.environ.setdefault("QUARTERFOOT_TODAY", DEMO_DAY)  # the same day as serve, the same answer
    return _become(home, ["-P", "-m", "api", "check", *command.rest])


def keys(home: Home, command: Command) -> int:
    """Make, list, revoke or rotate keys of the store in the caller's folder, by the clock of ``serve``."""
    ensure(home, "runtime")
    os.environ.setdefault("QUARTERFOOT_TODAY", DEMO_DAY)
    return _become(home, ["-P", "-m", "api", "keys", *command.rest])


def _become(home: Home, arguments: Sequence[str]) -> int:
    """Replace this process, so that signals and the exit code are those of the program itself."""
    line = [str(home.python), *arguments]
    sys.stdout.flush()
    sys.stderr.flush()
    if os.name != "nt":
        os.execv(line[0], line)  # noqa: S606 -- no shell is wanted
    return subprocess.run(line, check=False).returncode


def test(home: Home, command: Command) -> int:
    """Run every step to the end, pytest last; return 1 if any of them failed."""
    ensure(home, "test")
    # Through the interpreter, not by their scripts: a script breaks when the checkout is moved.
    steps = {
        "ruff check": ["-m", "ruff", "check", "--quiet"],
        "ruff format --check": ["-m", "ruff", "format", "--check", "--quiet"],
        "mypy": ["-m", "mypy", "--no-error-summary"],
        "lint-imports": ["-c", "from importlinter.cli import lint_imports_command as run; run()"],
    }
    failed = [name for name, arguments in steps.items() if _step(home, name, arguments)]
    if failed:
        print(f"failed before the tests: {', '.join(failed)}", flush=True)
    chosen = ["-m", ""] if command.long else []
    return int(_step(home, "pytest", ["-m", "pytest", *chosen, *command.rest]) or bool(failed))


def bench(home: Home, command: Command) -> int:
    """Run the measurements and show their figures."""
    ensure(home, "runtime")
    return _become(home, [str(home.root / "deploy" / "bench.py"), *command.rest])


def _step(home: Home, name: str, arguments: Sequence[str]) -> bool:
    """Run one step from the root of the checkout; return whether it failed."""
    print(f"== {name}", flush=True)
    return subprocess.run([str(home.python), *arguments], check=False, cwd=home.root).returncode != 0


def _say(line: str) -> None:
    # To stderr: the output of ``check`` may be read by a program.
    print(line, file=sys.stderr, flush=True)


def main(arguments: Sequence[str]) -> int:
    """Run one command and return its exit code."""
    if sys.version_info < OLDEST:
        _say(f"dev.py: Python 3.11 or newer is needed; this is {_version()}")
        return NO_ENVIRONMENT
    if arguments and arguments[0] in {"-h", "--help"}:
        print(__doc__)
        return 0
    try:
        command = parse(arguments)
        run = {"serve": serve, "check": check, "keys": keys, "test": test, "bench": bench}[command.name]
        return run(Home(ROOT), command)
    except UsageError as bad:
        _say(f"dev.py: {bad}; {USAGE}")
        return BAD_USAGE
    except EnvironmentFailure as bad:
        _say(str(bad))
        return NO_ENVIRONMENT
    except KeyboardInterrupt:
        return INTERRUPTED


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
