"""Answering over HTTP until told to stop."""

from __future__ import annotations

import socket
from collections.abc import Callable
from contextlib import suppress
from typing import Final

import uvicorn

from api.app import create_app
from api.demo import demo_command
from api.house import House, open_house
from api.keys import CLASSES, make_key, page_key
from api.settings import Settings
from api.settled import settle

#: The demo shop front and its server are one client; staff and owner are the workshop.
_DEMO_CLIENT: Final = {"page": "demo-shop", "server": "demo-shop", "staff": "workshop", "owner": "workshop"}
Tell = Callable[[str], None]


class _Server(uvicorn.Server):
    """A server that says when it can be reached, not before."""

    def __init__(self, config: uvicorn.Config, ready: Callable[[], None]) -> None:
        super().__init__(config)
        self._ready = ready

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Begin to listen."""
        await super().startup(sockets)
        self._ready()


def serve(settings: Settings, *, tell: Tell, warn: Tell) -> int:
    """Answer until a signal ends the process; return the exit code.

    The shop is opened before the port, so that a broken catalog never shows an open port.

    Args:
        settings: where to listen, and what to serve.
        tell: told, once requests are answered, the address and a command to try.
        warn: told what the person who starts the service should know.

    Raises:
        OSError: the address cannot be listened on.
        catalog.strict_yaml.Faults: the catalog or the rule book is broken.
    """
    house = open_house(settings)
    app = create_app(house, settings.page_limit)
    secrets = _first_keys(house) if settings.demo_keys else []
    settle()
    listener = _listener(settings.host, settings.port)
    address = _address(listener)
    config = uvicorn.Config(app, access_log=False, log_level="warning", server_header=False)
    greeting = "\n".join(
        [f"Quarterfoot answers at {address} (docs at {address}/docs).", *secrets, *_to_try(house, address)]
    )
    try:
        with suppress(KeyboardInterrupt):  # the server hands Ctrl-C on after it has closed in order
            _Server(config, lambda: tell(greeting)).run(sockets=[listener])
    finally:
        house.close()
    return 0


def _first_keys(house: House) -> list[str]:
    """Give a store without keys for the demo one of each class; return what to show, this once."""
    if page_key(house.store) is not None:
        return []
    with house.store.write() as write:
        made = {
            name: make_key(write, name, name="demo", at=house.now(), by="first start", client=_DEMO_CLIENT.get(name))
            for name in CLASSES
        }
    lines = [f"  {name:<7}{text}" for name, text in made.items()]
    return ["Keys, shown this once; only their hashes are kept (the page key is no secret):", *lines]


def _to_try(house: House, address: str) -> list[str]:
    key = page_key(house.store)
    if key is None:
        return ['No key for web pages is there yet. Make one: python -m api keys make page --name "my shop"']
    return ["Try:", demo_command(address, key)]


def _listener(host: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listener = socket.socket(family, socket.SOCK_STREAM)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((host, port))
    except OSError:
        listener.close()
        raise
    listener.set_inheritable(True)
    return listener


def _address(listener: socket.socket) -> str:
    host, port, *_ = listener.getsockname()
    shown = {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(host, host)  # noqa: S104 -- shown, not bound
    return f"http://[{shown}]:{port}" if ":" in shown else f"http://{shown}:{port}"
