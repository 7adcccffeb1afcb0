"""A small load generator in a process of its own: connections that are kept, one request in flight on each."""

from __future__ import annotations

import asyncio
import gc
import multiprocessing
import os
import signal
import statistics
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from typing import Final, cast

import uvloop

from measure.report import quantile

CONNECTIONS = 16
#: Seconds after which a round is given up.
LONGEST = 120
#: What an answer may begin with; the outcome is its first field, so that no remedy's outcome is taken for it.
Beginnings = tuple[bytes, ...]
Send = Callable[..., "Round"]
#: Opens the stores under measurement, which are gone with them; sent to every service, and looked at by ours.
OWNER_KEY: Final = "qf.owner.measure.of-a-store-soon-gone"
_END: Final = b"\r\n\r\n"


class RoundError(Exception):
    """A round in which something was not answered as it must be; ``str()`` says what."""


@dataclass(frozen=True)
class Round:
    """One round: CPU of the server a request (microseconds), requests a second, latencies (milliseconds).

    ``answer_bytes`` is the median length of an answer's body; ``busy`` the share of the time in which the
    load generator itself was at work: near 1 it would be the bottleneck.
    """

    cpu_us: float
    per_second: float
    latencies_ms: tuple[float, ...]
    answer_bytes: float
    busy: float

    @property
    def p50_ms(self) -> float:
        """Return the median latency."""
        return quantile(self.latencies_ms, 0.5)

    @property
    def p99_ms(self) -> float:
        """Return the latency that 99 of 100 do not exceed."""
        return quantile(self.latencies_ms, 0.99)


@contextmanager
def generator(core: int | None) -> Iterator[Send]:
    """Give :func:`measured` in a process of its own, on one core where that can be set."""
    # Spawned, not forked: what this process has in memory would be looked through by the other's collector.
    with ProcessPoolExecutor(1, multiprocessing.get_context("spawn"), _settle, (core,)) as pool:
        yield lambda *given, **named: pool.submit(measured, *given, **named).result()


def _settle(core: int | None) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # an interrupt is for the process that asked for the round
    if core is not None:
        os.sched_setaffinity(0, {core})
    gc.disable()  # a round leaves nothing in cycles worth a pause


def cpu_seconds(process: int) -> float:
    """Return the CPU time of a process, its threads included, user and system."""
    # The kernel's clock of a process by its id, as clock_getcpuclockid makes it: /proc counts in steps of 10 ms.
    return time.clock_gettime(~process << 3 | 2)


def measured(
    process: int, port: int, bodies: Sequence[bytes], expected: Beginnings, *, at_once: int = CONNECTIONS
) -> Round:
    """Send each body once and return what it took.

    Raises:
        RoundError: an answer was not 200, did not begin as expected, or did not come.
        ValueError: there is nothing to send.
    """
    if not bodies:
        raise ValueError("a round needs something to send")
    return uvloop.run(_round(process, port, bodies, expected, at_once))


async def _round(process: int, port: int, bodies: Sequence[bytes], expected: Beginnings, at_once: int) -> Round:
    loop = asyncio.get_running_loop()
    work = Work([request(body) for body in bodies], expected, loop.create_future())
    lines = [Line(work) for _ in range(at_once)]
    try:
        for line in lines:
            await loop.create_connection(partial(_itself, line), "127.0.0.1", port)
        before, own, begun = cpu_seconds(process), time.process_time(), time.perf_counter()
        for line in lines:
            line.next()
        async with asyncio.timeout(LONGEST):
            await work.done
        took = time.perf_counter() - begun
        used, busy = cpu_seconds(process) - before, (time.process_time() - own) / took
    except TimeoutError:
        raise RoundError(f"a round was not over after {LONGEST} seconds") from None
    except OSError as bad:
        raise RoundError(f"the service does not answer: {bad}") from None
    finally:
        for line in lines:
            line.close()
    count = len(work.latencies_ms)
    return Round(used / count * 1e6, count / took, tuple(work.latencies_ms), statistics.median(work.answer_bytes), busy)


def _itself(line: Line) -> Line:
    return line


class Work:
    """The requests of one round, shared by its connections, and what came of them."""

    def __init__(self, requests: list[bytes], expected: Beginnings, done: asyncio.Future[None]) -> None:
        self.latencies_ms: list[float] = []
        self.answer_bytes: list[int] = []
        self.done = done
        self._left = iter(requests)
        self._count = len(requests)
        self._expected = expected

    def take(self) -> bytes | None:
        """Return a request not yet sent, or None."""
        return next(self._left, None)

    def answered(self, head: bytes, body: bytes, seconds: float) -> bool:
        """Note an answer and return whether it is as it must be; another ends the round."""
        if not head.startswith(b"HTTP/1.1 200 ") or not body.startswith(self._expected):
            self.stop(RoundError(f"unexpected answer: {head.splitlines()[0]!r}, {body[:200]!r}"))
            return False
        self.latencies_ms.append(seconds * 1e3)
        self.answer_bytes.append(len(body))
        if len(self.latencies_ms) == self._count and not self.done.done():
            self.done.set_result(None)
        return True

    def stop(self, why: RoundError) -> None:
        """End the round with what went wrong first."""
        if not self.done.done():
            self.done.set_exception(why)


class Line(asyncio.Protocol):
    """One connection."""

    def __init__(self, work: Work) -> None:
        self._work = work
        self._held = b""
        self._begun = 0.0
        self._over = False
        self._transport: asyncio.Transport | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Keep the way to send."""
        self._transport = cast(asyncio.Transport, transport)  # uvloop's own kind is registered nowhere as one

    def next(self) -> None:
        """Send one more request if there is one, else close."""
        assert self._transport is not None
        sent = self._work.take()
        if sent is None:
            self.close()
            return
        self._begun = time.perf_counter()
        self._transport.write(sent)

    def close(self) -> None:
        """Close, of one's own accord."""
        self._over = True
        if self._transport is not None:
            self._transport.close()

    def data_received(self, data: bytes) -> None:
        """Take a piece of an answer; after the last one go on with the next request."""
        self._held += data
        end = self._held.find(_END)
        if end < 0:
            return
        head, start = self._held[:end], end + len(_END)
        try:
            length = length_of(head)
        except RoundError as bad:
            self._work.stop(bad)
            return
        if len(self._held) - start < length:
            return
        seconds = time.perf_counter() - self._begun
        body, self._held = self._held[start:], b""  # one request in flight: nothing comes after the answer
        if self._work.answered(head, body, seconds):
            self.next()

    def connection_lost(self, exc: Exception | None) -> None:
        """End the round, unless this side has closed."""
        if not self._over:
            self._work.stop(RoundError(f"a connection was lost: {exc or 'closed by the service'}"))


def request(body: bytes) -> bytes:
    """Return a check's request."""
    return (
        b"POST /v1/checks HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\n"
        b"Authorization: Bearer %s\r\nContent-Length: %d\r\n\r\n" % (OWNER_KEY.encode(), len(body))
    ) + body


def length_of(head: bytes) -> int:
    """Return the length that the head of an answer declares.

    Raises:
        RoundError: it declares none.
    """
    for line in head.split(b"\r\n"):
        name, _, value = line.partition(b":")
        if name.strip().lower() == b"content-length" and value.strip().isdigit():
            return int(value)
    raise RoundError(f"an answer without a length: {head[:200]!r}")
