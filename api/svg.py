"""What every picture of the service has in common: frame, colors, marks (SVG 1.1, no script, nothing from elsewhere).

The three states are told apart by hatching and by words too, never by color alone.
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from typing import Final, NamedTuple

MARGIN: Final = 24
BACKGROUND: Final = "#faf8f4"


class Shade(NamedTuple):
    """How a state is drawn: its fill, its name as a hatching, and the color of letters on it."""

    color: str
    hatching: str
    ink: str


GOOD: Final = Shade("#5f7f5a", "plain", "#ffffff")
ASK: Final = Shade("#d9a441", "slanted", "#2b2b2b")
BAD: Final = Shade("#a4483c", "crossed", "#ffffff")
UNREAD: Final = Shade("#8a8a8a", "dotted", "#ffffff")
_LINES: Final = {
    "slanted": '<path d="M-2 6L6 -2M2 10L10 2" stroke="#2b2b2b" stroke-width="1.2"/>',
    "crossed": '<path d="M0 0L8 8M8 0L0 8" stroke="#ffffff" stroke-width="1.4"/>',
    "dotted": '<circle cx="4" cy="4" r="1.4" fill="#ffffff"/>',
}


def text(said: str) -> str:
    """Return text as it may stand in a picture, in attributes too."""
    return escape(said, quote=True)


def fill(shade: Shade) -> str:
    """Return the fill of an area of a state; :func:`frame` defines its hatching."""
    return shade.color if shade.hatching == "plain" else f"url(#{shade.hatching})"


def frame(size: tuple[int, int], title: str, description: str, body: Iterable[str]) -> str:
    """Return a picture.

    Args:
        size: width and height in px.
        title: what it is, for a screen reader and a pointer held over it.
        description: what it shows, in words, for whoever does not see it.
        body: its elements.
    """
    width, height = size
    hatchings = "".join(_hatching(shade) for shade in (ASK, BAD, UNREAD))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 {width} {height}"'
        f' font-family="sans-serif" font-size="14" role="img" aria-labelledby="title description">'
        f'<title id="title">{text(title)}</title><desc id="description">{text(description)}</desc>'
        f'<defs>{hatchings}</defs><rect width="{width}" height="{height}" fill="{BACKGROUND}"/>{"".join(body)}</svg>\n'
    )


def _hatching(shade: Shade) -> str:
    return (
        f'<pattern id="{shade.hatching}" width="8" height="8" patternUnits="userSpaceOnUse">'
        f'<rect width="8" height="8" fill="{shade.color}"/>{_LINES[shade.hatching]}</pattern>'
    )
