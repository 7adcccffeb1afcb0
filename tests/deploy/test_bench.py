"""The helpers of the benchmark; nothing here is about time."""

from __future__ import annotations

import asyncio
import contextlib
import os
import socket
import subprocess
import sys
from pathlib import Path

import pytest

DEPLOY = Path(__file__).parents[2] / "deploy"
sys.path.insert(0, str(DEPLOY))

from measure import in_bulk, in_process, load, over_http, report, sheets  # noqa: E402 -- the benchmark is no installed package
from measure.workshop import TODAY, bodies, demo, with_many_findings  # noqa: E402

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


def _round_against(answer: bytes, *, bodies: int = 3, piece: int = 1_000) -> load.Round:
    """One round against a server that answers each request with the same bytes, some at a time."""

    serving = []

    async def answering(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        serving.append(asyncio.current_task())
        with contextlib.suppress(asyncio.IncompleteReadError, ConnectionError):
            while answer:
                head = await reader.readuntil(b"\r\n\r\n")
                await reader.readexactly(load.length_of(head))
                for start in range(0, len(answer), piece):
                    writer.write(answer[start : start + piece])
                    await writer.drain()
                    await asyncio.sleep(0)
        writer.close()
        with contextlib.suppress(ConnectionError):
            await writer.wait_closed()

    async def one_round() -> load.Round:
        server = await asyncio.start_server(answering, "127.0.0.1", 0)
        async with server:
            port = server.sockets[0].getsockname()[1]
            try:
                return await load._round(os.getpid(), port, [b"{}"] * bodies, (b"good",), 2)
            finally:
                await asyncio.gather(*serving)

    return asyncio.run(one_round())


@pytest.mark.parametrize("piece", [1, 20, 1_000])
def test_an_answer_is_read_whole_however_it_is_cut(piece: int) -> None:
    taken = _round_against(b"HTTP/1.1 200 OK\r\ncontent-length: 8\r\n\r\ngood one", bodies=5, piece=piece)
    assert len(taken.latencies_ms) == 5
    assert taken.answer_bytes == 8


@pytest.mark.parametrize(
    ("answer", "why"),
    [
        (b"HTTP/1.1 500 Internal Server Error\r\ncontent-length: 4\r\n\r\ngood", "unexpected answer"),
        (b"HTTP/1.1 422 No\r\ncontent-length: 4\r\n\r\ngood", "unexpected answer"),
        (b"HTTP/1.1 200 OK\r\ncontent-length: 8\r\n\r\nnot good", "unexpected answer"),
        (b"HTTP/1.1 200 OK\r\n\r\ngood", "without a length"),
        (b"", "connection was lost"),
    ],
)
def test_an_answer_other_than_expected_stops_a_round(answer: bytes, why: str) -> None:
    with pytest.raises(load.RoundError, match=why):
        _round_against(answer)


def test_a_service_that_is_not_there_stops_a_round() -> None:
    with socket.socket() as bound:  # bound and not listening: nobody answers, and nobody else takes the port
        bound.bind(("127.0.0.1", 0))
        with pytest.raises(load.RoundError, match="does not answer"):
            load.measured(os.getpid(), bound.getsockname()[1], [b"{}"], (b"good",))


def test_a_round_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="something to send"):
        load.measured(os.getpid(), 1, [], (b"good",))


@pytest.mark.parametrize(
    ("body", "passes"),
    [
        (b'{"outcome":"buildable","findings":[]}', True),
        (b'{"outcome":"refused","findings":[{"remedies":[{"outcome":"buildable","says":""}]}]}', False),
    ],
)
def test_the_outcome_of_a_remedy_is_not_taken_for_that_of_the_answer(body: bytes, passes: bool) -> None:
    assert body.startswith(over_http._PASSES) is passes
    assert body.startswith(over_http._HAMPERED) is not passes


def test_typical_bodies_are_different_passing_specs_and_the_same_each_time() -> None:
    found = bodies(30)
    assert len(set(found)) == 30
    assert found == bodies(30)
    specs = [in_process.to_spec(in_process.SpecIn.model_validate_json(body)) for body in found]
    assert {judge(demo(), spec, TODAY).outcome for spec in specs} == {"buildable"}


def test_specs_with_many_findings_are_different_and_in_order() -> None:
    found = with_many_findings(20, 200)
    assert len(set(found)) == 20
    verdicts = [judge(demo(), in_process.to_spec(in_process.SpecIn.model_validate_json(each)), TODAY) for each in found]
    in_the_way = [sum(each.severity in ("refuse", "sign_off") for each in verdict.findings) for verdict in verdicts]
    assert in_the_way == sorted(in_the_way, reverse=True)
    assert in_the_way[-1] > 0


def test_the_rows_of_a_measured_table_are_no_two_alike() -> None:
    table = in_bulk.table_of(demo(), demo().catalog.patterns["twofold"], 3_000, 1)
    assert table.rows == 3_000
    assert len({repr(table.spec(row)) for row in range(table.rows)}) == table.rows


@pytest.mark.parametrize(("content", "says"), [(b"a,b\n1,2\n3,4\n", "2 rows"), (b"", "The file is empty")])
def test_a_sheet_is_measured_in_a_process_of_its_own(tmp_path: Path, content: bytes, says: str) -> None:
    path = tmp_path / "sheet.csv"
    path.write_bytes(content)
    seconds, own, child, said = sheets._measured(path)
    assert said.startswith(says)
    assert 0 < seconds < 60
    assert 5 < own < 300
    assert child == 0


def test_arguments_that_mean_nothing_are_refused() -> None:
    done = subprocess.run(
        [sys.executable, str(DEPLOY / "bench.py"), "--only", "nothing"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
    assert "--only" in done.stderr
