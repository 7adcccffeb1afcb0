"""The services under load: ours, a bare endpoint with the same models, and two that do less than ours.

``plumbing`` is our whole service, from the socket to the spec and from the answer to the socket, with a
prepared answer in place of the check; ``no rules`` is our service over an empty rule book, which still
resolves, prices, plans the cut and promises.

``python -m measure.served NAME PORT`` serves one of them until it is ended.
"""

from __future__ import annotations

import contextlib
import json
import os
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import uvicorn
from fastapi import FastAPI

from api import answering
from api.app import create_app
from api.demo import DEMO_SPEC
from api.house import House, open_house
from api.schemas.answer import CheckAnswer
from api.schemas.spec import SpecIn, to_spec
from api.settings import Settings
from api.settled import settle
from measure.holds import furnish
from measure.load import OWNER_KEY, RoundError
from measure.workshop import TODAY, demo
from rules.check import check
from rules.shop import open_shop

#: Our service with the process that judges long lists; the others never have one.
WITH_WORKER = "with worker"
SERVICES = ("ours", "bare", "plumbing", "no rules")
_HERE = Path(__file__).resolve().parents[1]


def bare() -> FastAPI:
    """Return a bare endpoint: the same models in and out, and an answer of the same size, prepared."""
    answer = prepared_answer()
    app = FastAPI()

    @app.post("/v1/checks", response_model=CheckAnswer, response_model_exclude_unset=True)
    async def prepared(_spec: SpecIn) -> dict[str, Any]:
        return dict(answer)

    return app


def prepared_answer() -> dict[str, Any]:
    """Return a real answer, to the demo spec: it is about as long as that to a typical passing check."""
    spec = to_spec(SpecIn.model_validate(DEMO_SPEC))
    found: dict[str, Any] = json.loads(json.dumps(check(demo(), spec, today=TODAY)))
    return found


def app_of(name: str, folder: str) -> FastAPI:
    """Return a service by its name, its store below a folder."""
    if name == "bare":
        return bare()
    store = f"sqlite:///{folder}/measured.sqlite3"
    settings = Settings(today=TODAY, database_url=store, bootstrap_owner_key=OWNER_KEY)
    house = open_house(settings)
    furnish(house)
    if name == WITH_WORKER:
        return create_app(house, settings)
    if name == "plumbing":
        answer = prepared_answer()
        vars(answering)["quick_check"] = lambda *_, **__: answer
    if name == "no rules":
        house = House(open_shop(demo().catalog, {}), house.clock, house.store)
    return create_app(house)


@contextlib.contextmanager
def running(name: str, core: int | None) -> Iterator[tuple[int, int]]:
    """Serve in a process of its own, on one core where that can be set; give its id and port."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    paths = os.pathsep.join([str(_HERE), str(_HERE.parent)])
    with tempfile.TemporaryFile() as said:
        process = subprocess.Popen(
            [sys.executable, "-m", "measure.served", name, str(port), "" if core is None else str(core)],
            env={**os.environ, "PYTHONPATH": paths}, stdout=said, stderr=said,
        )  # fmt: skip
        try:
            _wait(process, port, said)
            yield process.pid, port
        finally:
            process.terminate()
            try:
                process.wait(10)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


def _wait(process: subprocess.Popen[bytes], port: int, said: Any) -> None:
    for _ in range(300):
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 1):
            return
        if process.poll() is not None:
            said.seek(0)
            raise RoundError(f"a service did not start: {said.read().decode(errors='replace')[-2000:]}")
        time.sleep(0.1)
    raise RoundError("a service did not answer within 30 seconds")


def main(name: str, port: int, core: str) -> None:
    """Serve until ended."""
    if core and hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {int(core)})
    with tempfile.TemporaryDirectory() as folder:
        app = app_of(name, folder)
        settle()
        uvicorn.run(app, host="127.0.0.1", port=port, access_log=False, log_level="warning", server_header=False)


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), sys.argv[3])
