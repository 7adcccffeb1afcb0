"""What pages of HTML have in common: they load nothing, run nothing, and nobody may frame them."""

from __future__ import annotations

import base64
import hashlib
from html import escape


def policy(style: str) -> str:
    """Return the Content-Security-Policy of a page with one style of its own and nothing else."""
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    return (
        f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )


def page(title: str, style: str, body: str) -> str:
    """Return a page; ``body`` is markup already, ``title`` is not."""
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>{style}</style>\n</head>\n<body>\n{body}\n</body>\n</html>\n"
    )
