"""The codes that a condition may name, by what they are codes of.

A code that the catalog lacks would never be seen: the rule would simply never fire. So it is looked up when the rule is
read. Codes are compared as the catalog writes them.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Final, Protocol

from catalog.model import Catalog
from rules.families import FAMILIES

_PLACE: Final = re.compile(r"[A-Z]{2}(?:-[A-Z0-9]{1,3})?", re.ASCII)


class Codes(Protocol):
    """Some codes: what is one of them, and which there are to suggest."""

    def __contains__(self, code: object, /) -> bool:
        """Say whether it is one of them."""

    def __iter__(self) -> Iterator[str]:
        """Give those that can be listed."""


class Places:
    """Destinations by ISO 3166: what has the shape of one; the law file's and home are known by name."""

    def __init__(self, known: frozenset[str]) -> None:
        """Keep the places that the catalog names."""
        self._known = known

    def __contains__(self, code: object, /) -> bool:
        """Say whether it is written as a country, or a region of one."""
        return isinstance(code, str) and _PLACE.fullmatch(code) is not None

    def __iter__(self) -> Iterator[str]:
        """Give the places that the catalog names."""
        return iter(sorted(self._known))


def codes_of(catalog: Catalog) -> Mapping[str, Codes]:
    """Return the codes of a catalog by noun."""
    patterns = catalog.patterns.values()
    rows = {row.destination.upper() for row in catalog.law_rows.values()}
    found: dict[str, Codes] = {
        "pattern": catalog.patterns.keys(),
        "leather": catalog.leathers.keys(),
        "kind": catalog.kinds.keys(),
        "species": {kind.species: None for kind in catalog.kinds.values()}.keys(),
        "color family": dict.fromkeys(FAMILIES).keys(),
        "band": dict.fromkeys(catalog.price_list.bands).keys(),
        "part": {part: None for pattern in patterns for part in pattern.parts}.keys(),
        "zone": {zone: None for pattern in patterns for zone in pattern.zones}.keys(),
        "thread": catalog.threads.keys(),
        "edge": catalog.edges.keys(),
        "edge color": {edge.color: None for edge in catalog.edges.values()}.keys(),
        "hardware": catalog.hardware.keys(),
        "modification": catalog.modifications.keys(),
        "typeface": catalog.typefaces.keys(),
        "foil": catalog.foils.keys(),
        "place": Places(
            frozenset(row for row in rows if _PLACE.fullmatch(row)) | {catalog.workshop.home_country.upper()}
        ),
    }
    return found
