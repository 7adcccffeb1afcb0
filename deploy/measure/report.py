"""What was measured, on what, as plain text."""

from __future__ import annotations

import importlib.metadata
import os
import platform
import statistics
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

_LIBRARIES = ("fastapi", "starlette", "pydantic", "uvicorn", "uvloop", "httptools", "numpy")


@dataclass(frozen=True)
class Figure:
    """One measured figure; ``bar`` and ``met`` where one is set."""

    what: str
    value: str
    bar: str = ""
    met: bool | None = None


def describe() -> str:
    """Return the machine and the versions, without names or places."""
    libraries = ", ".join(f"{name} {importlib.metadata.version(name)}" for name in _LIBRARIES)
    load = ", ".join(f"{each:.1f}" for each in os.getloadavg()) if hasattr(os, "getloadavg") else "unknown"
    return "\n".join(
        [
            f"{datetime.now(UTC):%d %B %Y}, {_processor()}, {os.cpu_count()} cores, load {load}",
            f"{platform.python_implementation()} {platform.python_version()}, {libraries}",
        ]
    )


def _processor() -> str:
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    except OSError:
        return platform.machine()
    return next((line.partition(":")[2].strip() for line in lines if line.startswith("model name")), platform.machine())


def table(title: str, figures: Sequence[Figure]) -> str:
    """Return figures as a table with a title."""
    width = max([len(figure.what) for figure in figures], default=0)
    value = max([len(figure.value) for figure in figures], default=0)
    lines = [title]
    for figure in figures:
        met = {None: "", True: "met", False: "NOT MET"}[figure.met]
        lines.append(f"  {figure.what:<{width}}  {figure.value:>{value}}  {figure.bar:<8} {met}".rstrip())
    return "\n".join(lines)


def quantile(values: Sequence[float], share: float) -> float:
    """Return the smallest value that at least a share of the values does not exceed.

    Raises:
        ValueError: there are no values, or the share is not between 0 and 1.
    """
    if not values or not 0 <= share <= 1:
        raise ValueError("needs values, and a share between 0 and 1")
    ordered = sorted(values)
    return ordered[max(0, -int(-share * len(ordered) // 1) - 1)]


def spread(values: Sequence[float]) -> str:
    """Return the median with the least and the largest value."""
    return f"{statistics.median(values):.2f} ({min(values):.2f} to {max(values):.2f})"


def median_of(rounds: int, measured: Callable[[], float]) -> float:
    """Return the median of several measurements."""
    return statistics.median(measured() for _ in range(rounds))
