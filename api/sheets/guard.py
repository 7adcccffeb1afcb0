"""Text that a spreadsheet program would take for a formula: a quote before it, and off again.

A cell that begins with = + - @, a tab or a line break is run as a formula when a CSV is opened, quotes around it or
not. A leading ' makes it text (CWE-1236; the list of signs is that of OWASP's page on CSV injection).
"""

from __future__ import annotations

import re
from typing import Final

SIGNS: Final = "=+-@\t\r\n"
_PLAIN_NUMBER: Final = re.compile(r"[+-][0-9]+(?:[.,][0-9]+)?")


def guarded(text: str) -> str:
    """Return text that no spreadsheet program runs; what is plainly a number, such as -5 or +3,5, is left alone."""
    if text and text[0] in SIGNS and not _PLAIN_NUMBER.fullmatch(text):
        return "'" + text
    return text


def unguarded(text: str) -> str:
    """Return text without the quote that :func:`guarded` put before it."""
    return text[1:] if len(text) > 1 and text[0] == "'" and text[1] in SIGNS else text
