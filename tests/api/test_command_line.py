"""The command line: exit codes, what goes to which stream, and no traceback."""

from __future__ import annotations

import io
import json
import re
import sys
from pathlib import Path
from typing import Any

import pytest

from api.__main__ import main
from api.settings import DEMO_CATALOG

TODAY = {"QUARTERFOOT_TODAY": "2026-03-02"}


@pytest.fixture(autouse=True)
def _nowhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Start where there is no store."""
    monkeypatch.chdir(tmp_path)


@pytest.fixture
def write(tmp_path: Path) -> Any:
    def write(content: Any) -> str:
        file = tmp_path / "spec.json"
        data = content if isinstance(content, bytes) else json.dumps(content).encode()
        file.write_bytes(data)
        return str(file)

    return write


@pytest.mark.parametrize(("name", "code"), [("buildable", 0), ("refused", 1), ("sign_off", 3), ("incomplete", 1)])
def test_the_exit_code_tells_the_outcome(
    worked: dict[str, Any], write: Any, capsys: pytest.CaptureFixture[str], name: str, code: int
) -> None:
    assert main(["check", write(worked[name])], TODAY) == code
    out, err = capsys.readouterr()
    assert out.splitlines()[0] in ("BUILDABLE", "REFUSED", "THE MAKER MUST AGREE FIRST")
    assert err == ""


def test_json_is_the_whole_answer(worked: dict[str, Any], write: Any, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", write(worked["buildable"]), "--json"], TODAY) == 0
    answer = json.loads(capsys.readouterr().out)
    assert (answer["outcome"], answer["as_of"]) == ("buildable", "2026-03-02")


def test_pins_lists_the_limits_that_nothing_holds(capsys: pytest.CaptureFixture[str]) -> None:
    tiny = Path(__file__).parents[1] / "catalog" / "tiny"
    named = ["thresholds.nest_gap_mm", "thresholds.letters_refuse_over"]
    assert main(["pins", *named], TODAY | {"QUARTERFOOT_CATALOG": str(tiny)}) == 1
    out, err = capsys.readouterr()
    assert re.match(r"\d of 4 moves are noticed\.\n", out)
    assert "  not noticed: thresholds.nest_gap_mm up to " in out
    assert "  STK-01: no order holds a figure of its limit\n" in out
    assert err == ""


def test_pins_are_fine_where_every_move_is_noticed(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["pins", "thresholds.nest_gap_mm", "kinds.goat.mark.ink"], TODAY) == 0
    assert capsys.readouterr() == ("4 of 4 moves are noticed.\n", "")


def test_pins_takes_only_figures_that_it_would_move(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["pins", "thresholds.nest_gap"], TODAY) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err == (
        "no threshold and no figure that an order holds is called 'thresholds.nest_gap';"
        " did you mean 'thresholds.nest_gap_mm'?\n"
    )


def test_a_fault_in_a_worked_order_is_told_before_anything_is_checked(
    worked: dict[str, Any], write: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "workshop"
    folder.mkdir()
    for file in [*DEMO_CATALOG.glob("*.yaml"), *DEMO_CATALOG.glob("*.csv")]:
        (folder / file.name).write_text(file.read_text(encoding="utf-8"), encoding="utf-8")
    (folder / "orders-own.yaml").write_text("orders: [{rule: STK-91}]", encoding="utf-8")
    assert main(["check", write(worked["buildable"])], TODAY | {"QUARTERFOOT_CATALOG": str(folder)}) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "orders-own.yaml:1:17: no rule is called 'STK-91'" in err


def test_a_spec_is_read_from_standard_input(
    worked: dict[str, Any], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    stream = io.TextIOWrapper(io.BytesIO(json.dumps(worked["buildable"]).encode()))
    monkeypatch.setattr(sys, "stdin", stream)
    assert main(["check", "-"], TODAY) == 0
    assert "455.00" in capsys.readouterr().out


def test_the_date_given_beats_the_one_set(
    worked: dict[str, Any], write: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    main(["check", write(worked["buildable"]), "--json", "--today", "2026-03-09"], TODAY)
    assert json.loads(capsys.readouterr().out)["as_of"] == "2026-03-09"


def test_gaps_are_filled_when_asked(write: Any, capsys: pytest.CaptureFixture[str]) -> None:
    main(["check", write({"pattern": "twofold"}), "--defaults"], TODAY)
    assert "Filled in from the pattern's defaults: parts outside" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "not JSON"),
        (b"{", "not JSON"),
        (b'{"pattern": NaN}', "NaN"),
        (b"\xff", "UTF-8"),
        (b"[" * 100_000, "nested too deep"),
        (b"[]", "an object is needed"),
        (b"{}", "/pattern  this field is needed"),
        (b'{"pattern": "a", "quantity": 0}', "/quantity  at least 1"),
        (b'{"pattern": "a", "\\u001b[2J": 0}', "/?[2J  there is no such field"),
    ],
)
def test_what_cannot_be_read_is_told_on_the_error_stream(
    write: Any, capsys: pytest.CaptureFixture[str], content: bytes, words: str
) -> None:
    assert main(["check", write(content)], TODAY) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert words in err
    assert "Traceback" not in err


def test_a_missing_file_is_told(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert main(["check", str(tmp_path / "none.json")], TODAY) == 2
    assert main(["check", str(tmp_path)], TODAY) == 2
    assert capsys.readouterr().err.count("\n") == 2


@pytest.mark.parametrize(
    ("name", "value"), [("TODAY", "soon"), ("PORT", "x"), ("CATALOG", "none"), ("DATABASE_URL", "x")]
)
@pytest.mark.parametrize("command", [["serve"], ["check", "-"]])
def test_a_bad_setting_is_one_line_and_exit_2(
    capsys: pytest.CaptureFixture[str], command: list[str], name: str, value: str
) -> None:
    assert main(command, {f"QUARTERFOOT_{name}": value}) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert err.startswith(f"QUARTERFOOT_{name}: ")


def test_a_broken_catalog_is_told_fault_by_fault_and_nothing_starts(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    for file in DEMO_CATALOG.glob("*.yaml"):
        text = file.read_text(encoding="utf-8")
        text = text.replace("left_m: 40}", "left_m: -40}").replace("kind: goat", "kind: goot")
        (tmp_path / file.name).write_text(text, encoding="utf-8")
    for command in (["serve", "--port", "0"], ["check", "-"]):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(b'{"pattern": "twofold"}')))
            assert main(command, {"QUARTERFOOT_CATALOG": str(tmp_path)}) == 2
        out, err = capsys.readouterr()
        assert out == ""
        faults = err.splitlines()
        assert len(faults) == 3
        assert sorted({fault.partition(":")[0] for fault in faults}) == ["foils.yaml", "leathers.yaml"]
        assert all(fault.split(":")[1].isdigit() and fault.split(":")[2].isdigit() for fault in faults)


def test_a_catalog_that_is_no_text_is_told(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    for file in DEMO_CATALOG.glob("*.yaml"):
        (tmp_path / file.name).write_bytes(file.read_bytes())
    (tmp_path / "foils.yaml").write_bytes(b"FO-GLD: {color: \xff}")
    assert main(["serve", "--port", "0"], {"QUARTERFOOT_CATALOG": str(tmp_path)}) == 2
    assert capsys.readouterr().err == "foils.yaml:1:17: not UTF-8 text: byte 16 cannot be read\n"


def test_a_port_in_use_is_one_line_and_exit_2(capsys: pytest.CaptureFixture[str]) -> None:
    import socket

    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        assert main(["serve", "--port", port], TODAY) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err == f"cannot listen on 127.0.0.1 port {port}: Address already in use\n"


@pytest.mark.parametrize(
    "arguments", [[], ["shop"], ["check"], ["serve", "--port", "x"], ["check", "-", "--today", "x"]]
)
def test_a_wrong_command_line_is_exit_2(capsys: pytest.CaptureFixture[str], arguments: list[str]) -> None:
    with pytest.raises(SystemExit) as stopped:
        main(arguments, {})
    assert stopped.value.code == 2
    assert "Traceback" not in capsys.readouterr().err


def test_the_document_is_printed_as_it_is_kept(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["openapi"], {}) == 0
    kept = Path(__file__).parents[2] / "openapi" / "openapi.json"
    assert capsys.readouterr().out == kept.read_text(encoding="utf-8")


def test_a_folder_that_cannot_be_written_is_told(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert main(["openapi", "--write", str(tmp_path / "none")], {}) == 2
    assert capsys.readouterr().err.count("\n") == 1
