"""A small load generator: some connections that are kept, one request in flight on each."""

from __future__ import annotations

import asyncio
import os
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from measure.report import quantile

CONNECTIONS = 16


class RoundError(Exception):
    """A round in which something was not answered as it must be; ``str()`` says what."""


@dataclass(frozen=True)
class Round:
    """One round: CPU of the server a request (microseconds), requests a second, latencies (milliseconds)."""

    cpu_us: float
    per_second: float
    latencies_ms: tuple[float, ...]

    @property
    def p50_ms(self) -> float:
        """Return the median latency."""
        return quantile(self.latencies_ms, 0.5)

    @property
    def p99_ms(self) -> float:
        """Return the latency that 99 of 100 do not exceed."""
        return quantile(self.latencies_ms, 0.99)


def cpu_seconds(process: int) -> float:
    """Return the CPU time of a process, its threads included, user and system."""
    fields = Path(f"/proc/{process}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def measured(process: int, port: int, bodies: Sequence[bytes], expected: bytes, *, at_once: int = CONNECTIONS) -> Round:
    """Send each body once and return what it took.

    Raises:
        RoundError: an answer was not 200, or did not contain what is expected.
    """
    before, begun = cpu_seconds(process), time.perf_counter()
    latencies = asyncio.run(_send(port, list(bodies), expected, at_once))
    took, used = time.perf_counter() - begun, cpu_seconds(process) - before
    return Round(used / len(bodies) * 1e6, len(bodies) / took, tuple(latencies))


async def _send(port: int, bodies: list[bytes], expected: bytes, at_once: int) -> list[float]:
    latencies: list[float] = []
    await asyncio.gather(*(_connection(port, bodies, expected, latencies) for _ in range(at_once)))
    return latencies


async def _connection(port: int, bodies: list[bytes], expected: bytes, latencies: list[float]) -> None:
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    try:
        while bodies:
            body = bodies.pop()
            begun = time.perf_counter()
            writer.write(request(body))
            head = await reader.readuntil(b"\r\n\r\n")
            answer = await reader.readexactly(length_of(head))
            latencies.append((time.perf_counter() - begun) * 1e3)
            if not head.startswith(b"HTTP/1.1 200 ") or expected not in answer:
                raise RoundError(f"unexpected answer: {head.splitlines()[0]!r}, {answer[:200]!r}")
    finally:
        writer.close()


def request(body: bytes) -> bytes:
    """Return a check's request."""
    return (
        b"POST /v1/checks HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\n"
        b"Content-Length: %d\r\n\r\n" % len(body)
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
