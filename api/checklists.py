"""A checklist as a page to print: one line a rule, with a box to tick."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from html import escape
from typing import Any, Final

from api import pages

MEDIA_TYPE: Final = "text/html"
_TITLE: Final = {"cut": "Before the knife", "pack": "Before the parcel"}
_SEVERITY: Final = {"refuse": "stop", "sign_off": "agree", "advise": "mind", "notice": "note"}
STYLE: Final = """
@page { size: A5; margin: 9mm }
body { font: 8.5pt/1.3 sans-serif; color: #000; margin: 0 }
h1 { font-size: 12pt; margin: 0 0 1mm }
p { margin: 0 0 2mm }
table { border-collapse: collapse; width: 100% }
td { border-top: 0.2mm solid #888; padding: 1mm 1.5mm 1mm 0; vertical-align: top }
tr { break-inside: avoid }
.box { width: 5mm; font-size: 13pt; line-height: 0.9 }
.rule { white-space: nowrap }
"""


def wants_page(accept: str) -> bool:
    """Whether a page is wanted rather than JSON, by the first of the two that an Accept header names."""
    named = [part.partition(";")[0].strip().lower() for part in accept.split(",")]
    return next((each for each in named if each in (MEDIA_TYPE, "application/json")), "") == MEDIA_TYPE


def page(checklist: Mapping[str, Any]) -> str:
    """Return a checklist as HTML; nothing in it is markup but what is written here."""
    title = f"{_TITLE[checklist['stage']]}: {checklist['order']}"
    rows = "\n".join(_rows(checklist["lines"])) or "<tr><td>Nothing to look at.</td></tr>"
    stands = f"<p>{escape(checklist['as_of'])}, {escape(checklist['state'])}</p>"
    return pages.page(title, STYLE, f"<h1>{escape(title)}</h1>{stands}\n<table>\n{rows}\n</table>")


def _rows(lines: Iterable[Mapping[str, Any]]) -> Iterable[str]:
    for line in lines:
        item = "" if line["item"] is None else f"item {line['item']}"
        cells = (
            ('class="box"', "&#9744;"),
            ('class="rule"', escape(f"{line['rule']} {_SEVERITY[line['severity']]}")),
            ("", escape(item)),
            ("", escape(line["bench_message"] or line["message"])),
        )
        yield "<tr>" + "".join(f"<td {kind}>{text}</td>" for kind, text in cells) + "</tr>"
