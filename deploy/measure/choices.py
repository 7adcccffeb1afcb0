"""What can still be chosen: compiling all patterns, a shopper's clicks, and clicks just after others took stock.

Clicks go through the whole service in this process, door, thread and JSON included, without a socket.
"""

from __future__ import annotations

import asyncio
import json
import random
import tempfile
import time
from multiprocessing import get_context
from pathlib import Path
from typing import Any, Final

from starlette.types import ASGIApp, Message

from api.app import create_app
from api.choices import Asking, choices_for
from api.house import House, open_house
from api.settings import Settings
from api.settled import settle
from api.visibility import Caller
from measure.holds import furnish, hold
from measure.in_process import demo_anew
from measure.load import OWNER_KEY, RoundError
from measure.report import Figure, quantile
from measure.workshop import TODAY, demo
from rules.spec import Spec

_MEDIAN_MS: Final = 10
_P99_MS: Final = 40
_MOST_CLICKS: Final = 16
#: Facts without which nothing can be made of a pattern.
_FACTS: Final[dict[str, dict[str, Any]]] = {"lead": {"purpose": {"dog_kg": 30}}}


def choices(*, quick: bool) -> list[Figure]:
    """Compile all patterns cold, walk through each pattern warm, and ask anew after each hold."""
    walks, holds = (1, 12) if quick else (8, 120)
    demo()  # read here, so that each process has it at hand
    with get_context("fork").Pool(1, maxtasksperchild=1) as pool:  # a process each: its memory, its collector
        seconds, before, peak = pool.apply(_compiled)
        warm, after = pool.apply(_clicked, (walks, holds))
        pool.close()
        pool.join()
    slowest = max(seconds, key=lambda code: seconds[code])
    return [
        Figure(f"all {len(seconds)} patterns compiled", f"{sum(seconds.values()):.1f} s"),
        Figure("the slowest of them", f"{seconds[slowest]:.1f} s ({slowest})"),
        Figure("memory held before, at the peak", f"{before:.0f} MB, {peak:.0f} MB"),
        *_told("a click, patterns compiled", warm),
        *_told("the first click after another's hold", after),
    ]


def _compiled() -> tuple[dict[str, float], float, float]:
    """Return seconds for each pattern, and MB before and at the peak."""
    shop = demo_anew()
    settle()
    before = _held("VmRSS")
    seconds = {}
    for code in shop.catalog.patterns:
        begun = time.perf_counter()
        choices_for(shop, Spec(pattern=code), TODAY, Asking(Caller.PAGE))
        seconds[code] = time.perf_counter() - begun
    return seconds, before, _held("VmHWM")


def _held(what: str) -> float:
    """Return MB of this process."""
    status = Path("/proc/self/status").read_text(encoding="utf-8")
    return int(status.partition(f"{what}:")[2].split()[0]) / 1024


def _clicked(walks: int, holds: int) -> tuple[list[float], list[float]]:
    """Return milliseconds of clicks, and of first clicks after a hold."""
    with tempfile.TemporaryDirectory() as folder:
        store = f"sqlite:///{Path(folder) / 'store.sqlite3'}"
        house = open_house(Settings(today=TODAY, database_url=store, bootstrap_owner_key=OWNER_KEY))
        settle()
        try:
            return asyncio.run(_clicks(house, walks, holds))
        finally:
            house.close()


async def _clicks(house: House, walks: int, holds: int) -> tuple[list[float], list[float]]:
    app = create_app(house, Settings())
    patterns = list(house.catalog.patterns)
    for code in patterns:
        await _ask(app, _begun(code))
    warm: list[float] = []
    for walk in range(walks):
        for code in patterns:
            warm += await _walk(app, code, random.Random(f"{code} {walk}"))
    passing = furnish(house, 0)
    for code in patterns:
        await _ask(app, _begun(code))
    after = []
    for place in range(holds):
        hold(house, passing[place % len(passing)], f"other {place}")
        code = patterns[place % len(patterns)]
        after.append((await _ask(app, _begun(code)))[0])
    return warm, after


def _told(what: str, taken: list[float]) -> list[Figure]:
    median, p99 = quantile(taken, 0.5), quantile(taken, 0.99)
    return [
        Figure(f"{what}, median of {len(taken)}", f"{median:.1f} ms", f"<= {_MEDIAN_MS} ms", median <= _MEDIAN_MS),
        Figure(f"{what}, p99", f"{p99:.1f} ms", f"<= {_P99_MS} ms", p99 <= _P99_MS),
    ]


def _begun(code: str) -> dict[str, Any]:
    return {"pattern": code, **_FACTS.get(code, {}), "left_out": ["/monogram", "/modifications"]}


async def _walk(app: ASGIApp, code: str, draw: random.Random) -> list[float]:
    """Click through a pattern, an open option at random each time; return milliseconds a click."""
    body, taken = _begun(code), []
    for _ in range(_MOST_CLICKS):
        took, answer = await _ask(app, body)
        taken.append(took)
        waiting = [slot for slot in answer["slots"] if slot["chosen"] is None and _clickable(slot["slot"])]
        if not waiting:
            break
        slot = draw.choice(waiting)
        values = [each["value"] for each in slot["options"] if each["state"] == "open" and each["value"] is not None]
        if not values:
            body = {**body, "left_out": [*body["left_out"], slot["slot"]]}
            if not slot["slot"].startswith("/hardware/"):
                raise RoundError(f"nothing is open at {slot['slot']} of {code}")
            break
        body = _with(body, slot["slot"], draw.choice(values))
    return taken


def _clickable(pointer: str) -> bool:
    return not pointer.startswith(("/monogram", "/modifications"))


def _with(body: dict[str, Any], pointer: str, value: Any) -> dict[str, Any]:
    head, _, name = pointer[1:].partition("/")
    return {**body, head: {**body.get(head, {}), name: value} if name else value}


async def _ask(app: ASGIApp, body: dict[str, Any]) -> tuple[float, Any]:
    """Return milliseconds and the answer."""
    content = json.dumps(body).encode()
    scope = {
        "type": "http", "method": "POST", "path": "/v1/choices", "raw_path": b"/v1/choices", "query_string": b"",
        "root_path": "", "scheme": "http", "http_version": "1.1", "server": ("127.0.0.1", 80), "client": None,
        "headers": [(b"authorization", f"Bearer {OWNER_KEY}".encode()), (b"content-type", b"application/json")],
    }  # fmt: skip
    sent: list[Message] = []

    async def receive() -> Message:
        return {"type": "http.request", "body": content, "more_body": False}

    async def send(message: Message) -> None:
        sent.append(message)

    begun = time.perf_counter()
    await app(scope, receive, send)
    took = (time.perf_counter() - begun) * 1000
    if sent[0]["status"] != 200:
        raise RoundError(f"choices came out as {sent[0]['status']}")
    return took, json.loads(b"".join(message.get("body", b"") for message in sent[1:]))
