"""Answering over HTTP until told to stop."""

from __future__ import annotations

import socket
from collections.abc import Callable
from contextlib import suppress

import uvicorn

from api.ahead import Ahead
from api.app import create_app
from api.demo import demo_command, make_demo_keys
from api.drafting import about_folder
from api.house import House, open_house
from api.keys import kept_keys
from api.settings import Settings
from api.settled import settle

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


def serve(settings: Settings, *, tell: Tell) -> int:
    """Answer until a signal ends the process; return the exit code.

    The shop is opened before the port, so that a broken catalog never shows an open port.

    Args:
        settings: where to listen, and what to serve.
        tell: told, once requests are answered, the address, and how to come by a key or what to try.

    Raises:
        OSError: the address cannot be listened on.
        catalog.strict_yaml.Faults: the catalog or the rule book is broken.
    """
    house = open_house(settings)
    app = create_app(house, settings, ahead=Ahead(house) if settings.choices_ahead else None)
    settle()
    listener = _listener(settings.host, settings.port)
    address = _address(listener)
    # No access log: it would write down addresses, and the key of a sheet stands in the address of each of its cells.
    config = uvicorn.Config(app, access_log=False, log_level="warning", server_header=False)

    def ready() -> None:
        tell(f"Quarterfoot answers at {address} (docs at {address}/docs).")
        differs = about_folder(house, house.shelf)["says"]
        if differs:
            tell(differs)
        for line in _about_keys(house, address, demo=settings.demo_keys):
            tell(line)

    with suppress(KeyboardInterrupt):  # the server hands Ctrl-C on after it has closed in order
        _Server(config, ready).run(sockets=[listener])
    return 0


def _about_keys(house: House, address: str, *, demo: bool) -> list[str]:
    """Return what to say of keys. Only the demo ever shows a secret, once, when it makes it."""
    lines: list[str] = []
    if demo:
        # Not before requests are answered: a start that fails must not use up the one time.
        with house.store.write() as write:
            made = make_demo_keys(write, house.now())
        if made:
            lines.append("Keys for this new store, shown this once; a page key may be seen by all:")
            lines += [f"  {name:6}  {text}" for name, text in made.items()]
    with house.store.read() as connection:
        kept = kept_keys(connection)
    if not kept:
        return ["It has no key yet; make the first: python -m api keys make owner --name NAME"]
    now = house.now()
    pages = [each.text for each in kept if each.text is not None and each.state(now) == "in force"]
    if demo and pages:
        lines += [f"Page key: {pages[0]}", "Try:", demo_command(address, pages[0])]
    return lines


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
