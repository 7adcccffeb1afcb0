"""``check-list``: a list on the command line, answered in a file beside it."""

from __future__ import annotations

import json
import os
import xml.etree.ElementTree as ET
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from support.desk import LONG, WALLET
from support.lists import KINDS, file_of, rows_in, verdicts_in

from api.__main__ import main
from api.lists.picture import picture

REFUSED = {**WALLET, "parts": {**WALLET["parts"], "outside": {"leather": "BR-HAZ"}}}
BROKEN = {**WALLET, "quantity": 0}
Run = Callable[..., int]


@pytest.fixture
def run(tmp_path: Path) -> Run:
    environ = {"QUARTERFOOT_DATABASE_URL": f"sqlite:///{tmp_path / 'store.sqlite3'}", "QUARTERFOOT_TODAY": "2026-03-02"}

    def ran(bodies: list[Any] | bytes, *more: str, kind: str = "csv") -> int:
        content = bodies if isinstance(bodies, bytes) else file_of(kind, bodies).content
        (tmp_path / f"list.{kind}").write_bytes(content)
        return main(["check-list", str(tmp_path / f"list.{kind}"), *more], environ)

    return ran


@pytest.mark.parametrize(
    ("bodies", "code"),
    [
        ([WALLET, WALLET], 0),
        ([WALLET, REFUSED], 1),
        ([WALLET, REFUSED, BROKEN], 2),
        ([WALLET, LONG], 3),
        ([LONG, REFUSED], 1),
        ([], 0),
    ],
)
def test_the_exit_code_tells_the_worst(run: Run, bodies: list[Any], code: int) -> None:
    assert run(bodies) == code


@pytest.mark.parametrize("kind", KINDS)
def test_the_answer_stands_beside_the_list_in_its_kind(run: Run, tmp_path: Path, kind: str) -> None:
    run([WALLET, REFUSED], kind=kind)
    found = verdicts_in(kind, (tmp_path / f"list.checked.{kind}").read_bytes())
    assert [verdict.outcome for verdict in found] == ["buildable", "refused"]
    assert {path.name for path in tmp_path.iterdir()} >= {f"list.{kind}", f"list.checked.{kind}"}
    assert not list(tmp_path.glob("*.part"))


def test_the_summary_counts_outcomes_rules_and_what_is_short(run: Run, capsys: pytest.CaptureFixture[str]) -> None:
    run([*[WALLET] * 9, REFUSED, BROKEN])
    told = capsys.readouterr().out
    assert "11 rows, answered in" in told
    assert "9  can be made as asked" in told
    assert "1  cannot be read" in told
    assert "THK-04  refused" in told
    # Nine wallets of 3.5792 dm2 with waste; 10.3 and 8.4 are free.
    assert "Short: SH-GAR, 32.213 dm2 asked in all, 18.7 free, 13.513 missing" in told


def test_in_turn_it_says_what_ran_out_and_where(run: Run, capsys: pytest.CaptureFixture[str]) -> None:
    run([WALLET] * 6, "--mode", "together")
    assert "Ran out: SH-GAR, first for row 6" in capsys.readouterr().out  # the header is row 1


def test_the_best_says_how_good_it_is(run: Run, capsys: pytest.CaptureFixture[str]) -> None:
    run([WALLET] * 6, "--mode", "best", "--maximize", "total")
    assert "Best by total: 1820.00, proven to be the most" in capsys.readouterr().out


def test_what_if_is_given_as_text_or_as_a_file(run: Run, tmp_path: Path) -> None:
    (tmp_path / "if.json").write_text('{"price_percent": 8}')
    for given in ('{"price_percent": 8}', f"@{tmp_path / 'if.json'}"):
        assert run([WALLET], "--overrides", given) == 0
        (row,) = rows_in("csv", (tmp_path / "list.checked.csv").read_bytes())
        assert row["qf_total"] == "495.00"


def test_another_day_may_be_named(run: Run, tmp_path: Path) -> None:
    run([WALLET], "--today", "2026-04-01")
    (row,) = rows_in("csv", (tmp_path / "list.checked.csv").read_bytes())
    assert row["qf_as_of"] == "2026-04-01"


@pytest.mark.parametrize(
    ("content", "more", "words"),
    [
        (b"colour\nred\n", (), "There is no column pattern"),
        (b"[1, 2", (), "line 1, column"),
        (b'{"specs": 3}', (), "/specs: a list is needed"),
        (b"pattern\ntwofold\n", ("--overrides", "{"), "--overrides: /overrides: overrides is no JSON"),
        (b"pattern\ntwofold\n", ("--overrides", '{"x": 1}'), "--overrides: /overrides/x: there is no such field"),
        (
            b"pattern\ntwofold\n",
            ("--overrides", '{"lots": {"L9": null}}'),
            "--overrides: /lots/L9: no lot in stock has this code",
        ),
        (b"pattern\ntwofold\n", ("--overrides", "@nowhere.json"), "nowhere.json"),
    ],
)
def test_what_cannot_be_read_is_one_clear_line(
    run: Run, capsys: pytest.CaptureFixture[str], content: bytes, more: tuple[str, ...], words: str
) -> None:
    assert run(content, *more) == 2
    complaint = capsys.readouterr().err
    assert words in complaint
    assert len(complaint.strip().splitlines()) == 1


def test_a_fault_halfway_leaves_no_half_answer(run: Run, tmp_path: Path) -> None:
    run([WALLET])
    before = (tmp_path / "list.checked.csv").read_bytes()
    assert run(file_of("csv", [WALLET, WALLET]).content + b'"never closed\n') == 2
    assert (tmp_path / "list.checked.csv").read_bytes() == before


def test_the_picture_shows_every_outcome_and_the_first_reasons(run: Run, tmp_path: Path) -> None:
    run([WALLET, WALLET, REFUSED, LONG], "--picture")
    drawn = ET.parse(tmp_path / "list.checked.svg").getroot()
    texts = [each.text for each in drawn.iter("{http://www.w3.org/2000/svg}text")]
    assert "4 rows" in texts
    assert "can be made: 2" in texts
    assert "cannot be made: 1" in texts
    assert "THK-04" in texts


def test_a_picture_takes_any_name_and_no_rows() -> None:
    summary = {"rows": 0, "buildable": 0, "sign_off": 0, "refused": 0, "unreadable": 0, "rules": []}
    drawn = ET.fromstring(picture(summary, {}, 'a <b> & "c"'))
    assert drawn.findtext("{http://www.w3.org/2000/svg}title") == 'a <b> & "c"'


def test_a_bar_of_progress_is_shown_on_a_terminal_only(run: Run, capsys: pytest.CaptureFixture[str]) -> None:
    run([WALLET])
    assert capsys.readouterr().err == ""


def test_an_answer_goes_through_a_link(run: Run, tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "real" / "answer.csv").write_text("old")
    (tmp_path / "link.csv").symlink_to(tmp_path / "real" / "answer.csv")
    assert run([WALLET], "--output", str(tmp_path / "link.csv")) == 0
    assert (tmp_path / "link.csv").is_symlink()
    assert rows_in("csv", (tmp_path / "real" / "answer.csv").read_bytes())[0]["qf_outcome"] == "buildable"


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (("--output", "{folder}/list.csv"), "need a name each"),
        (("--output", "{folder}/x.svg", "--picture"), "need a name each"),
        (("--output", "{folder}"), "that is no file"),
        (("--output", "{folder}/nowhere/x.csv"), "No such file"),
    ],
)
def test_nothing_is_written_over_that_is_still_needed(
    run: Run, tmp_path: Path, capsys: pytest.CaptureFixture[str], more: tuple[str, ...], words: str
) -> None:
    assert run([WALLET], *(each.format(folder=tmp_path) for each in more)) == 2
    assert words in capsys.readouterr().err
    assert (tmp_path / "list.csv").read_bytes() == file_of("csv", [WALLET]).content


def test_a_pipe_is_no_list(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    os.mkfifo(tmp_path / "pipe")
    assert main(["check-list", str(tmp_path / "pipe")], {}) == 2
    assert "that is no file" in capsys.readouterr().err


def test_a_list_with_an_odd_name_is_drawn(run: Run, tmp_path: Path) -> None:
    environ = {"QUARTERFOOT_DATABASE_URL": f"sqlite:///{tmp_path / 'store.sqlite3'}", "QUARTERFOOT_TODAY": "2026-03-02"}
    for name in (b"e\xff.csv", b"c\x01.csv"):
        odd = tmp_path / os.fsdecode(name)
        odd.write_bytes(file_of("csv", [WALLET]).content)
        assert main(["check-list", str(odd), "--picture"], environ) == 0
        ET.parse(odd.with_name(f"{odd.stem}.checked.svg"))


def test_lines_after_a_bad_or_an_empty_one_are_still_read(run: Run, tmp_path: Path) -> None:
    for start in (b"\n", b"{bad\n"):
        run(start + json.dumps(WALLET).encode(), kind="ndjson")
        *rows, _ = (tmp_path / "list.checked.ndjson").read_bytes().splitlines()
        assert json.loads(rows[-1])["check"]["outcome"] == "buildable"
