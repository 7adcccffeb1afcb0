"""The command ``lint``: what it prints, and its exit code."""

from __future__ import annotations

import json
from pathlib import Path
from shutil import copytree

import pytest

from api.__main__ import main
from api.settings import DEMO_CATALOG


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the demo workshop, in a place without a store."""
    monkeypatch.chdir(tmp_path)
    copytree(DEMO_CATALOG, tmp_path / "own")
    return tmp_path / "own"


def environ(folder: Path) -> dict[str, str]:
    return {"QUARTERFOOT_TODAY": "2026-03-02", "QUARTERFOOT_CATALOG": str(folder)}


def test_advice_is_printed_and_is_no_fault(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["lint"], environ(folder)) == 0
    out = capsys.readouterr().out
    assert "STO-11  /leathers/SH-BLK: Jet shell: 26.6 dm2 free, order at 57.429 dm2." in out
    assert out.endswith("0 faults, 2 pieces of advice.\n")


def test_a_stitch_line_too_near_the_edge_is_a_fault(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = folder / "patterns.yaml"
    file.write_text(file.read_text(encoding="utf-8").replace("from_edge_mm: 3.5", "from_edge_mm: 2.4", 1))
    assert main(["lint", "--json"], environ(folder)) == 1
    first = json.loads(capsys.readouterr().out)[0]
    assert (first["rule"], first["severity"], first["measured"], first["limit"]) == ("STI-05", "refuse", 2.4, 3.18)
    assert first["at"] == ["/patterns/twofold/seams/side"]


def test_data_without_any_finding_says_so(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = folder / "leathers.yaml"
    kept = [line.replace(", demand_dm2_per_week: 1.5", "").replace(", demand_dm2_per_week: 0.5", "")
            for line in file.read_text(encoding="utf-8").splitlines()]  # fmt: skip
    file.write_text("\n".join(kept) + "\n")
    assert main(["lint"], environ(folder)) == 0
    assert capsys.readouterr().out == "The data keeps every rule on it.\n"
