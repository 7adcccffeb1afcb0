"""Threads, edges, hardware, typefaces, foils: what is used up beside leather."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from catalog import vocabulary as words
from catalog.fields import Node
from catalog.model import Edge, Foil, Hardware, Modification, Thread, Typeface
from catalog.read_leathers import read_swatch
from catalog.reading import Reading, read_entries

_THREAD = ("material", "tex", "diameter_mm", "color", "srgb", "left_m", "break_n", "status")
_EDGE = ("finish", "color", "srgb", "left_ml", "status")
_HARDWARE = ("type", "size_mm", "grip_mm", "finish", "nickel_report", "magnetic", "stock", "break_n")
_TYPEFACE = (
    "methods", "cap_mm", "advance_mm", "space_mm", "extra_signs", "sorts_per_letter", "sorts", "worn",
)  # fmt: skip


def read_threads(reading: Reading) -> Mapping[str, Thread]:
    """Read ``threads.yaml``."""
    return read_entries(reading.root("threads.yaml"), _thread)


def read_edges(reading: Reading) -> Mapping[str, Edge]:
    """Read ``edges.yaml``."""
    return read_entries(reading.root("edges.yaml"), _edge)


def read_hardware(reading: Reading) -> Mapping[str, Hardware]:
    """Read ``hardware.yaml``."""
    return read_entries(reading.root("hardware.yaml"), _hardware)


def read_typefaces(reading: Reading) -> Mapping[str, Typeface]:
    """Read ``typefaces.yaml``."""
    return read_entries(reading.root("typefaces.yaml"), _typeface)


def read_foils(reading: Reading) -> Mapping[str, Foil]:
    """Read ``foils.yaml``."""
    return read_entries(reading.root("foils.yaml"), _foil)


def read_modifications(reading: Reading) -> Mapping[str, Modification]:
    """Read ``modifications.yaml``."""
    return read_entries(
        reading.root("modifications.yaml"),
        lambda code, node: Modification(code=code, name=node.record(("name",))["name"].text()),
    )


def _thread(code: str, node: Node) -> Thread:
    fields = node.record(_THREAD, ("supply",))
    return Thread(
        code=code,
        material=fields["material"].text(),
        tex=fields["tex"].number("tex", above_zero=True),
        diameter_um=fields["diameter_mm"].base("mm", above_zero=True),
        color=fields["color"].text(),
        swatch=read_swatch(fields["srgb"]),
        left_um=fields["left_m"].base("m"),
        break_n=fields["break_n"].number("N", above_zero=True),
        status=fields["status"].choice(words.SUPPLY_STATES),
        supply=fields["supply"].choice(words.THREAD_SUPPLIES) if fields.has("supply") else None,
    )


def _edge(code: str, node: Node) -> Edge:
    fields = node.record(_EDGE, ("opened_on",))
    return Edge(
        code=code,
        finish=fields["finish"].choice(words.EDGE_FINISHES),
        color=fields["color"].text(),
        swatch=None if fields["srgb"].blank else read_swatch(fields["srgb"]),
        left_ul=None if fields["left_ml"].blank else fields["left_ml"].base("ml"),
        status=fields["status"].choice(words.SUPPLY_STATES),
        opened_on=fields["opened_on"].day() if fields.has("opened_on") else None,
    )


def _hardware(code: str, node: Node) -> Hardware:
    fields = node.record(_HARDWARE, ("tone", "flux_index", "loose", "faces_leather"))
    return Hardware(
        code=code,
        type=fields["type"].text(),
        size_um=fields["size_mm"].base("mm", above_zero=True),
        grip=fields["grip_mm"].span(),
        finish=fields["finish"].text(),
        nickel_report=fields["nickel_report"].flag(),
        magnetic=fields["magnetic"].flag(),
        stock=fields["stock"].whole(),
        break_n=None if fields["break_n"].blank else fields["break_n"].number("N", above_zero=True),
        tone=fields["tone"].choice(words.TONES) if fields.has("tone") else None,
        flux_index=fields["flux_index"].number("kG2mm2") if fields.has("flux_index") else None,
        loose=fields["loose"].flag() if fields.has("loose") else None,
        faces_leather=fields["faces_leather"].flag() if fields.has("faces_leather") else None,
    )


def _typeface(code: str, node: Node) -> Typeface:
    fields = node.record(_TYPEFACE)
    signs = fields["extra_signs"].value
    return Typeface(
        code=code,
        methods=fields["methods"].choices(words.MARKS),
        cap_um=fields["cap_mm"].base("mm", above_zero=True),
        advance_um=fields["advance_mm"].base("mm", above_zero=True),
        space_um=fields["space_mm"].base("mm", above_zero=True),
        extra_signs="" if signs == "" else fields["extra_signs"].text(),
        sorts_per_letter=fields["sorts_per_letter"].whole(),
        sorts=_sorts(fields["sorts"]),
        worn=_sorts(fields["worn"]),
    )


def _sorts(node: Node) -> Mapping[str, int]:
    counts: dict[str, int] = {}
    for sign, entry in node.entries():
        if len(sign) != 1:
            entry.fault(f"'{sign[:40]}': expected one letter or sign", at_key=True)
        counts[sign] = entry.whole()
    return MappingProxyType(counts)


def _foil(code: str, node: Node) -> Foil:
    fields = node.record(("color", "left_m"))
    return Foil(code=code, color=fields["color"].text(), left_um=fields["left_m"].base("m"))
