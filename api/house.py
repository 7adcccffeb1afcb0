"""Opening the house: files in, one checked shop and its clock out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import rules
from api.clock import Clock, clock_from
from api.settings import Settings
from catalog.load import load_catalog
from catalog.strict_yaml import Fault, Faults
from rules.shop import Shop, open_shop

BOOK: Final = Path(rules.__file__).parent / "book"


@dataclass(frozen=True, slots=True)
class House:
    """What every request works with. Frozen: a change of files needs a new start."""

    shop: Shop
    clock: Clock


def open_house(settings: Settings) -> House:
    """Read the catalog and the rule book.

    Raises:
        Faults: with every fault found, each with its file, line and column.
    """
    shop = open_shop(load_catalog(texts_in(settings.catalog)), texts_in(BOOK))
    return House(shop, clock_from(shop.catalog.workshop.time_zone, settings.today))


def texts_in(folder: Path) -> Mapping[str, str]:
    """Return the YAML files of a folder by name, sorted. Raises Faults where one is no UTF-8 text."""
    texts: dict[str, str] = {}
    faults: list[Fault] = []
    for file in sorted(folder.glob("*.yaml")):
        try:
            texts[file.name] = file.read_text(encoding="utf-8")
        except UnicodeDecodeError as bad:
            faults.append(Fault(file.name, 1, 1, f"not UTF-8 text: byte {bad.start} cannot be read"))
        except OSError as bad:
            faults.append(Fault(file.name, 1, 1, f"cannot be read: {bad.strerror}"))
    if faults:
        raise Faults(faults)
    return texts
