"""The helpers of the benchmark; nothing here is about time."""

from __future__ import annotations

import asyncio
import subprocess
import sys
from pathlib import Path

import pytest

DEPLOY = Path(__file__).parents[2] / "deploy"
sys.path.insert(0, str(DEPLOY))

from measure import in_bulk, in_process, load, report  # noqa: E402 -- the benchmark is no installed package
from measure.workshop import TODAY, bodies, demo  # noqa: E402

from rules.check import judge  # noqa: E402


@pytest.mark.parametrize(("share", "value"), [(0.0, 1), (0.5, 5), (0.9, 9), (0.99, 10), (1.0, 10)])
def test_a_quantile_is_the_least_value_that_enough_do_not_exceed(share: float, value: float) -> None:
    assert report.quantile([10, 9, 8, 7, 6, 5, 4, 3, 2, 1], share) == value


@pytest.mark.parametrize(("values", "share"), [([], 0.5), ([1], 1.5), ([1], -0.1)])
def test_a_quantile_of_nothing_or_of_no_share_is_refused(values: list[float], share: float) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        report.quantile(values, share)


def test_a_table_shows_figures_bars_and_whether_they_are_met() -> None:
    figures = [report.Figure("one", "1.5", "<= 2", met=True), report.Figure("another", "30")]
    assert report.table("Title", figures).splitlines() == ["Title", "  one      1.5  <= 2     met", "  another   30"]


def test_the_description_names_versions_and_no_place() -> None:
    said = report.describe()
    assert "fastapi" in said
    assert str(Path.home()) not in said


def test_the_length_of_an_answer_is_read_from_its_head() -> None:
    assert load.length_of(b"HTTP/1.1 200 OK\r\nContent-Length: 12\r\n\r\n") == 12
    with pytest.raises(load.RoundError, match="without a length"):
        load.length_of(b"HTTP/1.1 200 OK\r\n\r\n")


@pytest.mark.parametrize(
    ("answer", "refused"),
    [(b"HTTP/1.1 200 OK", False), (b"HTTP/1.1 500 Internal Server Error", True), (b"HTTP/1.1 422 No", True)],
)
def test_an_answer_other_than_expected_stops_a_round(answer: bytes, refused: bool) -> None:
    async def one_round() -> list[float]:
        async def answering(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            head = await reader.readuntil(b"\r\n\r\n")
            await reader.readexactly(load.length_of(head))
            writer.write(answer + b"\r\ncontent-length: 4\r\n\r\ngood")
            writer.close()

        server = await asyncio.start_server(answering, "127.0.0.1", 0)
        async with server:
            port = server.sockets[0].getsockname()[1]
            return await load._send(port, [b"{}"], b"good", 1)

    if refused:
        with pytest.raises(load.RoundError, match="unexpected answer"):
            asyncio.run(one_round())
    else:
        assert len(asyncio.run(one_round())) == 1


def test_typical_bodies_are_different_passing_specs_and_the_same_each_time() -> None:
    found = bodies(30)
    assert len(set(found)) == 30
    assert found == bodies(30)
    specs = [in_process.to_spec(in_process.SpecIn.model_validate_json(body)) for body in found]
    assert {judge(demo(), spec, TODAY).outcome for spec in specs} == {"buildable"}


def test_the_rows_of_a_measured_table_are_no_two_alike() -> None:
    table = in_bulk.table_of(demo(), demo().catalog.patterns["twofold"], 3_000, 1)
    assert table.rows == 3_000
    assert len({repr(table.spec(row)) for row in range(table.rows)}) == table.rows


def test_arguments_that_mean_nothing_are_refused() -> None:
    done = subprocess.run(
        [sys.executable, str(DEPLOY / "bench.py"), "--only", "nothing"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
    assert "--only" in done.stderr
