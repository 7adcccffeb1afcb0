"""Files of a workshop to a catalog: all of it, or every fault at once.

The caller opens the files; nothing here touches a disk, a clock or the network.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from dataclasses import replace
from typing import Final

from catalog.audit import audit
from catalog.fields import Report
from catalog.model import Catalog
from catalog.read_leathers import read_kinds, read_leathers, read_lots
from catalog.read_patterns import read_patterns
from catalog.read_prices import read_labor, read_price_list, read_workshop
from catalog.read_rows import read_carry_items, read_law, read_sources, read_thresholds
from catalog.read_supplies import (
    read_edges,
    read_foils,
    read_hardware,
    read_modifications,
    read_threads,
    read_typefaces,
)
from catalog.reading import Reading
from catalog.strict_yaml import UNREADABLE, Document, Fault, Faults, attempt, did_you_mean

FILES: Final = (
    "workshop.yaml",
    "kinds.yaml",
    "leathers.yaml",
    "lots.yaml",
    "threads.yaml",
    "edges.yaml",
    "hardware.yaml",
    "typefaces.yaml",
    "foils.yaml",
    "modifications.yaml",
    "patterns.yaml",
    "carry-items.yaml",
    "thresholds.yaml",
    "law.yaml",
    "price-list.yaml",
    "labor.yaml",
    "sources.yaml",
)
#: Files that a workshop may have beside these: its own rules, their tables, orders worked by hand, and what it accepts
#: of an audit of its book. They are kept as text, since their words are those of the rule book, which this package does
#: not know.
HOUSE_FILES: Final = re.compile(
    r"house-rules\.yaml|accept\.yaml|house-[a-z0-9-]{1,40}\.csv|orders-[a-z0-9-]{1,40}\.yaml"
)


def load_catalog(files: Mapping[str, str]) -> Catalog:
    """Read a workshop's files.

    Args:
        files: text by file name (:data:`FILES`, and any of :data:`HOUSE_FILES`), without a folder.

    Returns:
        The catalog; its ``content_hash`` changes with any character of any file.

    Raises:
        Faults: with every fault of every file, by file and line: YAML, unknown or missing fields,
            types and units, codes that nothing defines or that are used twice, and the impossible
            figures of :mod:`catalog.audit`.
    """
    report = Report(_wrong_files(files))
    documents = {name: _document(name, files) for name in FILES}
    for document in documents.values():
        report.faults.extend(document.faults)
    house = {name: files[name] for name in sorted(files) if HOUSE_FILES.fullmatch(name)}
    catalog = replace(_read(Reading(documents, report), content_hash(files)), house=house)
    report.faults.extend(audit(catalog, documents, frozenset(fault.file for fault in report.faults)))
    if report.faults:
        raise Faults(sorted(set(report.faults), key=_order))
    return catalog


def content_hash(files: Mapping[str, str]) -> str:
    """Return ``sha256:...`` over names and texts, in the order of the names."""
    digest = hashlib.sha256()
    for name in sorted(files):
        for part in (name, files[name]):
            data = part.encode(errors="surrogatepass")
            digest.update(len(data).to_bytes(8, "big") + data)
    return f"sha256:{digest.hexdigest()}"


def _wrong_files(files: Mapping[str, str]) -> list[Fault]:
    missing = [Fault(name, 1, 1, "the file is missing") for name in FILES if name not in files]
    unknown = [
        Fault(name, 1, 1, f"unknown file '{name}'{did_you_mean(name, FILES)}")
        for name in files
        if not (name in FILES or HOUSE_FILES.fullmatch(name))
    ]
    return missing + unknown


def _document(name: str, files: Mapping[str, str]) -> Document:
    if name not in files:
        return Document(name, UNREADABLE, (), {}, {})
    return attempt(files[name], name)


def _order(fault: Fault) -> tuple[int, Fault]:
    return (FILES.index(fault.file) if fault.file in FILES else len(FILES), fault)


def _read(reading: Reading, digest: str) -> Catalog:
    workshop = read_workshop(reading)
    kinds = read_kinds(reading)
    patterns = read_patterns(reading)
    parts = frozenset(part for pattern in patterns.values() for part in pattern.parts)
    law_rows, uses, claims = read_law(reading)
    return Catalog(
        workshop=workshop,
        kinds=kinds,
        leathers=read_leathers(reading, kinds),
        lots=read_lots(reading),
        threads=read_threads(reading),
        edges=read_edges(reading),
        hardware=read_hardware(reading),
        typefaces=read_typefaces(reading),
        foils=read_foils(reading),
        patterns=patterns,
        modifications=read_modifications(reading),
        carry_items=read_carry_items(reading),
        thresholds=read_thresholds(reading),
        law_rows=law_rows,
        uses=uses,
        claims=claims,
        price_list=read_price_list(reading, parts if _all_read(reading, len(patterns)) else None),
        labor=read_labor(reading),
        sources=read_sources(reading),
        content_hash=digest,
    )


def _all_read(reading: Reading, patterns: int) -> bool:
    codes = reading.codes("pattern")
    return codes is not None and len(codes) == patterns
