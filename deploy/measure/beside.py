"""Single checks while a long list is judged, against the same service with nothing else to do."""

from __future__ import annotations

import statistics
import time
from itertools import islice
from typing import Any

import httpx

from measure.load import OWNER_KEY, Round, RoundError, generator
from measure.report import Figure, spread
from measure.served import WITH_WORKER, running
from measure.workshop import bodies, demo, drawn
from rules.echo import canonical, understood

_PASSES = (b'{"outcome":"buildable",',)
_AT_ONCE = 4
_PATIENCE = 60


def beside(*, quick: bool) -> list[Figure]:
    """Measure typical passing checks on a few connections, in rounds with and without a list at work.

    Service, worker and load share the machine's cores as they would; none is pinned.
    """
    rounds, each, rows = (2, 800, 12_000) if quick else (7, 1_200, 40_000)
    specs = bodies((2 * rounds + 1) * each)
    listed = b"".join(canonical(understood(demo().piece(spec))) + b"\n" for spec in islice(drawn("list"), rows))
    idle: list[Round] = []
    busy: list[Round] = []
    judged = 0
    with generator(None) as send, running(WITH_WORKER, None) as (process, port):
        headers = {"authorization": f"Bearer {OWNER_KEY}"}
        with httpx.Client(base_url=f"http://127.0.0.1:{port}", headers=headers, timeout=_PATIENCE) as client:
            send(process, port, specs[:each], _PASSES, at_once=_AT_ONCE)
            for place in range(1, 2 * rounds, 2):
                first, second = (specs[at * each : (at + 1) * each] for at in (place, place + 1))
                idle.append(send(process, port, first, _PASSES, at_once=_AT_ONCE))
                where = _begun(client, listed)
                before = _done(client, where)
                busy.append(send(process, port, second, _PASSES, at_once=_AT_ONCE))
                after = _done(client, where)
                if after >= rows:
                    raise RoundError(f"a list of {rows} rows was done before the round was")
                judged += after - before
                client.delete(where)
                _until_idle(client, where)
    if not judged:
        raise RoundError("nothing was judged of any list meanwhile")
    ratios = [own.p99_ms / bare.p99_ms for own, bare in zip(busy, idle, strict=True)]
    middles = [own.p50_ms / bare.p50_ms for own, bare in zip(busy, idle, strict=True)]
    middle = statistics.median(ratios)
    return [
        Figure("p99 while a list is judged, to idle", spread(ratios), "<= 2", middle <= 2),
        Figure("p50 while a list is judged, to idle", spread(middles)),
        Figure("idle: p50 and p99, ms", _latencies(idle)),
        Figure("with a list: p50 and p99, ms", _latencies(busy)),
        Figure("rows of lists judged meanwhile", str(judged)),
    ]


def _latencies(found: list[Round]) -> str:
    p50, p99 = (
        statistics.median(values) for values in zip(*((each.p50_ms, each.p99_ms) for each in found), strict=True)
    )
    return f"{p50:.1f} {p99:.1f}"


def _begun(client: httpx.Client, listed: bytes) -> str:
    """Send a list and wait until it is being judged; return where it is."""
    answer = client.post("/v1/wishlists", content=listed, headers={"content-type": "application/x-ndjson"})
    if answer.status_code != 202:
        raise RoundError(f"a long list was not taken: {answer.text[:200]}")
    where: str = answer.headers["location"]
    ends = time.monotonic() + _PATIENCE
    while time.monotonic() < ends:
        if _done(client, where):
            return where
        time.sleep(0.1)
    raise RoundError(f"nobody began with a list within {_PATIENCE} s")


def _done(client: httpx.Client, where: str) -> int:
    shown: dict[str, Any] = client.get(where).json()
    done: int = shown["done"]
    return done


def _until_idle(client: httpx.Client, where: str) -> None:
    """Wait until the worker has found out that its list is gone."""
    if client.get(where).status_code != 404:
        raise RoundError("a list that was deleted is still there")
    time.sleep(3)
