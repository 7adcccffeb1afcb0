"""The two everyday commands: reading the command line, knowing what is installed, saying what is missing."""

from __future__ import annotations

import importlib.util
import os
import shutil
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).resolve().parents[2]
SCRIPT = ROOT / "deploy" / "dev.py"


def _load() -> ModuleType:
    spec = importlib.util.spec_from_file_location("quarterfoot_dev", SCRIPT)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


dev = _load()


def _checkout(folder: Path) -> Path:
    (folder / "deploy").mkdir(parents=True)
    shutil.copy(SCRIPT, folder / "deploy" / "dev.py")
    (folder / "pyproject.toml").write_text("[project]\n")
    (folder / "deploy" / "constraints.txt").write_text("a==1\n")
    return folder


@pytest.fixture
def home(tmp_path):
    """A checkout whose environment has an interpreter and nothing else."""
    home = dev.Home(_checkout(tmp_path / "checkout"))
    home.python.parent.mkdir(parents=True)
    home.python.symlink_to(sys.executable)
    version = ".".join(map(str, sys.version_info[:3]))
    (home.folder / "pyvenv.cfg").write_text(f"home = /anywhere\nversion = {version}\n")
    return home


def _run(folder: Path, *arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, str(folder / "deploy" / "dev.py"), *arguments],
        check=False,
        capture_output=True,
        text=True,
        timeout=60,
        env={**os.environ, **environment},
    )


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("serve", dev.Command("serve", port=8000)),
        ("serve --port 8123", dev.Command("serve", port=8123)),
        ("serve --port=65535", dev.Command("serve", port=65535)),
        ("check a.json", dev.Command("check", rest=["a.json"])),
        ("check a.json --json", dev.Command("check", rest=["a.json", "--json"])),
        ("keys revoke 0a1b", dev.Command("keys", rest=["revoke", "0a1b"])),
        ("test", dev.Command("test")),
        ("test --long", dev.Command("test", long=True)),
        ("test tests/rules -k stack", dev.Command("test", rest=["tests/rules", "-k", "stack"])),
        ("bench --only bulk", dev.Command("bench", rest=["--only", "bulk"])),
    ],
)
def test_a_known_command_is_read(line, expected):
    assert dev.parse(line.split()) == expected


@pytest.mark.parametrize(
    "line",
    [
        "",
        "sreve",
        "check",
        "serve 8000",
        "serve --port",
        "serve --port x",
        "serve --port -1",
        "serve --port 65536",
    ],
)
def test_an_unknown_command_line_is_refused(line):
    with pytest.raises(dev.UsageError):
        dev.parse(line.split())


def test_an_unknown_command_prints_one_usage_line_and_exits_2(tmp_path):
    ran = _run(_checkout(tmp_path), "sreve")
    assert ran.returncode == 2
    assert ran.stderr.count("\n") == 1
    assert "'sreve'" in ran.stderr
    assert "usage:" in ran.stderr


def test_help_is_no_error(tmp_path):
    ran = _run(_checkout(tmp_path), "--help")
    assert (ran.returncode, ran.stderr) == (0, "")
    assert "serve [--port N]" in ran.stdout


def test_an_environment_without_a_stamp_is_not_ready(home):
    assert not home.ready("runtime")
    assert not home.ready("test")


def test_the_test_group_holds_the_runtime_but_not_the_other_way_round(home):
    home.stamp("runtime").write_text(home.digest())
    assert (home.ready("runtime"), home.ready("test")) == (True, False)
    home.stamp("runtime").unlink()
    home.stamp("test").write_text(home.digest())
    assert (home.ready("runtime"), home.ready("test")) == (True, True)


@pytest.mark.parametrize("name", ["pyproject.toml", "deploy/constraints.txt"])
def test_a_changed_pin_makes_the_stamp_stale(home, name):
    home.stamp("test").write_text(home.digest())
    with (home.root / name).open("a") as file:
        file.write("# changed\n")
    assert not home.ready("test")
    assert home.reusable()


def test_a_moved_checkout_makes_the_stamp_stale(home, tmp_path):
    home.stamp("test").write_text(home.digest())
    moved = dev.Home(home.root.rename(tmp_path / "elsewhere"))
    assert not moved.ready("test")


def test_an_installation_that_was_cut_off_is_neither_ready_nor_built_upon(home):
    home.stamp("test").write_text(home.digest())
    home.unfinished.touch()
    assert not home.ready("test")
    assert not home.reusable()


def test_a_lost_interpreter_is_neither_ready_nor_built_upon(home):
    home.stamp("test").write_text(home.digest())
    home.python.unlink()
    home.python.symlink_to("/nowhere/python")
    assert not home.ready("test")
    assert not home.reusable()


def test_an_environment_of_another_python_is_not_built_upon(home):
    assert home.reusable()
    (home.folder / "pyvenv.cfg").write_text("version = 3.1.4\n")
    assert not home.reusable()


def test_a_damaged_stamp_is_not_ready(home):
    home.stamp("test").write_bytes(b"\xff\xfe")
    assert not home.ready("test")


def test_a_ready_environment_is_left_alone(home):
    home.stamp("test").write_text(home.digest())
    before = sorted(home.root.rglob("*"))
    dev.ensure(home, "test")
    assert sorted(home.root.rglob("*")) == before


@pytest.mark.skipif(dev.fcntl is None, reason="this system has no file lock")
def test_the_second_of_two_runs_waits_for_the_first(tmp_path, capsys):
    path = tmp_path / "lock"
    order = []

    def second() -> None:
        with dev._lock(path):
            order.append("second")

    with dev._lock(path):
        other = threading.Thread(target=second)
        other.start()
        time.sleep(0.2)
        order.append("first")
    other.join(timeout=10)
    assert order == ["first", "second"]
    assert "waiting for another run" in capsys.readouterr().err


def test_without_pip_and_ensurepip_one_line_names_the_package_and_the_exit_is_4(tmp_path):
    bare = tmp_path / "bare"
    bare.mkdir()
    # None in sys.modules is how Python itself says "there is no such module".
    (bare / "sitecustomize.py").write_text("import sys\nsys.modules['pip'] = sys.modules['ensurepip'] = None\n")
    folder = _checkout(tmp_path / "checkout")
    ran = _run(folder, "test", PYTHONPATH=str(bare))
    assert ran.returncode == 4
    assert ran.stderr.count("\n") == 1
    assert "apt install python3-pip" in ran.stderr
    assert not (folder / ".venv").exists()


def test_a_python_that_is_too_old_gets_one_line_and_the_exit_is_4(tmp_path):
    old = tmp_path / "old"
    old.mkdir()
    (old / "sitecustomize.py").write_text("import sys\nsys.version_info = (3, 10, 12, 'final', 0)\n")
    ran = _run(_checkout(tmp_path / "checkout"), "test", PYTHONPATH=str(old))
    assert (ran.returncode, ran.stdout) == (4, "")
    assert ran.stderr == "dev.py: Python 3.11 or newer is needed; this is 3.10\n"


def test_a_taken_port_is_named_before_anything_is_installed(tmp_path):
    folder = _checkout(tmp_path)
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        ran = _run(folder, "serve", "--port", str(port))
    assert ran.returncode == 5
    assert ran.stderr.startswith(f"port {port} is taken; try: ")
    assert not (folder / ".venv").exists()


def _fake_pip(folder: Path, body: str) -> str:
    """Write a module that stands in for pip, and return the folder that holds it."""
    (folder / "pip").mkdir(parents=True)
    (folder / "pip" / "__init__.py").write_text("")
    (folder / "pip" / "__main__.py").write_text(f"import os, pathlib, sys, time\n{body}\n")
    return str(folder)


def test_the_installation_is_pinned_goes_into_the_environment_and_happens_once(tmp_path):
    body = "pathlib.Path('asked').open('a').write(' '.join(sys.argv[1:]) + '\\n')"
    pip = _fake_pip(tmp_path / "fake", body)
    folder = _checkout(tmp_path / "checkout")
    home = dev.Home(folder)
    first, second = (_run(folder, "test", PYTHONPATH=pip) for _ in range(2))
    assert "installed in " in first.stderr
    assert "installed in " not in second.stderr
    (asked,) = (folder / "asked").read_text().splitlines()
    assert asked.startswith(f"--python {home.python} install ")
    assert asked.endswith("-c deploy/constraints.txt -e .[test]")
    assert home.ready("test")


def test_two_first_runs_at_once_install_once(tmp_path):
    body = "pathlib.Path('asked').open('a').write('x')\ntime.sleep(1)"
    pip = _fake_pip(tmp_path / "fake", body)
    folder = _checkout(tmp_path / "checkout")
    runs = [threading.Thread(target=_run, args=(folder, "test"), kwargs={"PYTHONPATH": pip}) for _ in range(2)]
    for run in runs:
        run.start()
    for run in runs:
        run.join(timeout=60)
    assert (folder / "asked").read_text() == "x"


def test_a_refusal_of_pip_leaves_no_stamp(tmp_path):
    pip = _fake_pip(tmp_path / "fake", "sys.exit('no such package')")
    folder = _checkout(tmp_path / "checkout")
    ran = _run(folder, "test", PYTHONPATH=pip)
    assert ran.returncode == 4
    assert ran.stderr.splitlines()[-2:] == [
        "no such package",
        "dev.py: pip could not install the packages; its message is above",
    ]
    assert not dev.Home(folder).stamp("test").exists()
    assert dev.Home(folder).reusable()


def test_a_pip_that_was_killed_leaves_an_environment_that_is_made_anew(tmp_path):
    pip = _fake_pip(tmp_path / "fake", "os.kill(os.getpid(), 9)")
    folder = _checkout(tmp_path / "checkout")
    assert _run(folder, "test", PYTHONPATH=pip).returncode == 4
    assert not dev.Home(folder).ready("test")
    assert not dev.Home(folder).reusable()


@pytest.mark.skipif(dev.fcntl is None, reason="this system has no file lock")
def test_a_pip_that_outlives_a_killed_run_is_waited_for(tmp_path):
    pip = _fake_pip(tmp_path / "fake", "pathlib.Path('asked').open('a').write('x')\ntime.sleep(1.5)")
    folder = _checkout(tmp_path / "checkout")
    line = [sys.executable, str(folder / "deploy" / "dev.py"), "test"]
    with subprocess.Popen(line, env={**os.environ, "PYTHONPATH": pip}, stderr=subprocess.DEVNULL) as first:
        while not (folder / "asked").exists():
            time.sleep(0.02)
        first.kill()
    second = _run(folder, "test", PYTHONPATH=pip)
    assert "waiting for another run" in second.stderr
    assert (folder / "asked").read_text() == "xx"
    assert dev.Home(folder).ready("test")


def test_every_step_runs_and_pytest_is_the_last(home):
    home.stamp("test").write_text(home.digest())
    home.python.unlink()
    home.python.write_text('#!/bin/sh\necho "ran $2"\nexit 1\n')
    home.python.chmod(0o755)
    ran = _run(home.root, "test")
    steps = [line for line in ran.stdout.splitlines() if line.startswith("== ")]
    assert steps == ["== ruff check", "== ruff format --check", "== mypy", "== lint-imports", "== pytest"]
    assert "failed before the tests: ruff check, ruff format --check, mypy, lint-imports" in ran.stdout
    assert ran.stdout.splitlines()[-1] == "ran pytest"
    assert ran.returncode == 1


def test_check_returns_the_exit_code_of_the_command_line(home):
    home.stamp("runtime").write_text(home.digest())
    home.python.unlink()
    home.python.write_text('#!/bin/sh\necho "$@"\nexit 3\n')
    home.python.chmod(0o755)
    ran = _run(home.root, "check", "a.json", "--json")
    assert ran.returncode == 3
    assert ran.stdout == "-P -m api check a.json --json\n"


def test_bench_returns_the_exit_code_of_the_benchmark(home):
    home.stamp("runtime").write_text(home.digest())
    home.python.unlink()
    home.python.write_text('#!/bin/sh\necho "$@"\nexit 2\n')
    home.python.chmod(0o755)
    ran = _run(home.root, "bench", "--only", "nothing")
    assert ran.returncode == 2
    assert ran.stdout == f"{home.root / 'deploy' / 'bench.py'} --only nothing\n"
