"""The worked requests: each is asked again, and the answer is the one written down."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from fastapi import FastAPI

from api.examples import answer_of, write

FOLDER = Path(__file__).parents[2] / "openapi"
EXAMPLES = sorted((FOLDER / "examples").glob("*.json"))


def test_there_are_examples() -> None:
    assert EXAMPLES


@pytest.mark.parametrize("file", EXAMPLES, ids=lambda file: file.stem)
def test_an_example_is_answered_as_it_is_written_down(app: FastAPI, file: Path) -> None:
    example = json.loads(file.read_text(encoding="utf-8"))
    assert set(example) == {"says", "request", "answer"}
    answer = answer_of(app, example["request"])
    assert json.dumps(answer) == json.dumps(example["answer"])  # the order of the fields too


def test_writing_anew_changes_nothing(tmp_path: Path) -> None:
    (tmp_path / "examples").mkdir()
    for file in EXAMPLES:
        (tmp_path / "examples" / file.name).write_bytes(file.read_bytes())
    for written in write(tmp_path):
        assert written.read_bytes() == (FOLDER / written.relative_to(tmp_path)).read_bytes()
