"""Patterns: panels, seams, folds, pockets, zones, hardware, sizes, load, defaults."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import TypeVar

from catalog import vocabulary as words
from catalog.fields import Node, Record
from catalog.model import (
    Closed,
    Fixing,
    Fold,
    Layer,
    Load,
    Panel,
    Pattern,
    Pocket,
    Seam,
    Size,
    Spine,
    Zone,
)
from catalog.reading import Reading, code_text, coded, read_entries
from catalog.strict_yaml import did_you_mean

T = TypeVar("T")

_PATTERN = (
    "name", "status", "panels", "seams", "folds", "pockets", "zones", "closed", "pitch_mm", "stitches",
    "edge_finishes", "edge_length_mm", "edge_time_factor", "hardware", "sizes", "load", "skin_contact",
    "uses", "modifications", "defaults",
)  # fmt: skip
_PANEL = (
    "part", "count", "width_mm", "height_mm", "cut_width_mm", "cut_height_mm", "thickness_mm", "direction",
    "reverse_seen", "pair",
)  # fmt: skip
_POCKET = ("use", "width_mm", "height_mm", "depth_mm", "count")
_CARRIED = ("cards", "notes", "business_cards", "passport_mm")
_BEARING = ("required_break_n", "end_factor", "scales_with_dog", "end_seam", "source")


def read_patterns(reading: Reading) -> Mapping[str, Pattern]:
    """Read ``patterns.yaml``."""
    return read_entries(reading.root("patterns.yaml"), lambda code, node: _PatternReader(reading, node).read(code))


class _PatternReader:
    """Reads one pattern, knowing its own panels and parts."""

    def __init__(self, reading: Reading, node: Node) -> None:
        self.reading = reading
        self.fields = node.record(_PATTERN, ("spine", "faces", "stamp_lands"))
        self.panels = _inner(self.fields["panels"], _panel)
        self.parts = tuple(dict.fromkeys(panel.part for panel in self.panels.values()))
        if not self.panels:
            self.fields["panels"].fault("a pattern has at least one panel", at_key=True)
        elif words.OUTSIDE not in self.parts:
            self.fields["panels"].fault(f"no panel belongs to the part '{words.OUTSIDE}'", at_key=True)

    def read(self, code: str) -> Pattern:
        fields = self.fields
        defaults = fields["defaults"].record(("parts",), ("thread", "edge", "hardware"))
        seams = _inner(fields["seams"], self._seam)
        fixings = _inner(fields["hardware"], self._fixing, words.FIXINGS)
        return Pattern(
            code=code,
            name=fields["name"].text(),
            status=fields["status"].choice(words.PATTERN_STATES),
            panels=self.panels,
            seams=seams,
            folds=_inner(fields["folds"], self._fold),
            spine=self._spine(fields["spine"]) if fields.has("spine") else None,
            pockets=_inner(fields["pockets"], _pocket),
            zones=_inner(fields["zones"], self._zone),
            closed=self._closed(fields["closed"]),
            pitch_um=fields["pitch_mm"].base("mm", above_zero=True),
            stitches=fields["stitches"].some(words.STITCHES),
            edge_finishes=fields["edge_finishes"].some(words.EDGE_FINISHES),
            edge_length_um=fields["edge_length_mm"].base("mm", above_zero=True),
            edge_time_factor=fields["edge_time_factor"].ratio(),
            fixings=fixings,
            sizes=_inner(fields["sizes"], _size, words.SIZES),
            load=_load(fields["load"], seams),
            skin_contact=fields["skin_contact"].flag(),
            uses=self.reading.references(fields["uses"], "use"),
            modifications=self.reading.references(fields["modifications"], "modification"),
            default_parts=self._default_parts(defaults["parts"]),
            default_thread=self._default(defaults, "thread"),
            default_edge=self._default(defaults, "edge"),
            default_hardware=self._default_hardware(defaults, fixings),
            parts=self.parts,
            faces=fields["faces"].choices(self.parts) if fields.has("faces") else (),
            stamp_lands=fields["stamp_lands"].choice(words.STAMP_PLACES) if fields.has("stamp_lands") else None,
        )

    def _panel_named(self, node: Node) -> str:
        return _named(node, "panel", self.panels)

    def _layer(self, node: Node) -> Layer:
        fields = node.record(("panel", "count"), ("skived_to_mm",))
        return Layer(self._panel_named(fields["panel"]), fields["count"].whole(at_least=1), _skive(fields))

    def _layers(self, node: Node) -> tuple[Layer, ...]:
        return tuple(self._layer(item) for item in node.filled())

    def _panels_named(self, node: Node) -> tuple[str, ...]:
        return node.distinct(tuple(self._panel_named(item) for item in node.filled()))

    def _seam(self, code: str, node: Node) -> Seam:
        fields = node.record(("length_mm", "limit_mm", "layers"), ("from_edge_mm",))
        return Seam(
            code=code,
            length_um=fields["length_mm"].base("mm", above_zero=True),
            limit_um=fields["limit_mm"].base("mm", above_zero=True),
            layers=self._layers(fields["layers"]),
            from_edge_um=fields["from_edge_mm"].base("mm", above_zero=True) if fields.has("from_edge_mm") else None,
        )

    def _fold(self, code: str, node: Node) -> Fold:
        fields = node.record(("panels", "inner_radius_mm"), ("skived_to_mm", "daily", "across_spine"))
        return Fold(
            code=code,
            panels=self._panels_named(fields["panels"]),
            inner_radius_um=fields["inner_radius_mm"].base("mm"),
            skived_to_um=_skive(fields),
            daily=fields.has("daily") and fields["daily"].flag(),
            across_spine=_flag(fields, "across_spine"),
        )

    def _spine(self, node: Node) -> Spine:
        fields = node.record(("panels", "limit_mm"), ("skived_to_mm",))
        return Spine(
            panels=self._panels_named(fields["panels"]),
            limit_um=fields["limit_mm"].base("mm", above_zero=True),
            skived_to_um=_skive(fields),
        )

    def _zone(self, code: str, node: Node) -> Zone:
        fields = node.record(("panel", "width_mm", "height_mm", "on"), ("mirrored",))
        return Zone(
            code=code,
            panel=self._panel_named(fields["panel"]),
            width_um=fields["width_mm"].base("mm", above_zero=True),
            height_um=fields["height_mm"].base("mm", above_zero=True),
            on=fields["on"].choice(words.ZONE_SIDES),
            mirrored=_flag(fields, "mirrored"),
        )

    def _closed(self, node: Node) -> Closed:
        fields = node.record(("limit_mm", "layers"), ("carried", "outline_mm"))
        outline = fields["outline_mm"].record(("width", "height")) if fields.has("outline_mm") else None
        carried = fields["carried"].record((), _CARRIED) if fields.has("carried") else Record(node, {})
        counts = [carried[name].whole() if carried.has(name) else 0 for name in _CARRIED[:3]]
        return Closed(
            limit_um=fields["limit_mm"].base("mm", above_zero=True),
            layers=self._layers(fields["layers"]),
            cards=counts[0],
            notes=counts[1],
            business_cards=counts[2],
            passport_um=carried["passport_mm"].base("mm") if carried.has("passport_mm") else 0,
            width_um=None if outline is None else outline["width"].base("mm", above_zero=True),
            height_um=None if outline is None else outline["height"].base("mm", above_zero=True),
        )

    def _fixing(self, code: str, node: Node) -> Fixing:
        fields = node.record(("types", "required", "layers"), ("skived_to_mm",))
        types = fields["types"].distinct(tuple(item.text() for item in fields["types"].filled()))
        return Fixing(
            code=code,
            types=types,
            required=fields["required"].flag(),
            layers=self._layers(fields["layers"]),
            skived_to_um=_skive(fields),
        )

    def _default(self, defaults: Record, noun: str) -> str | None:
        return self.reading.reference(defaults[noun], noun) if defaults.has(noun) else None

    def _default_parts(self, node: Node) -> Mapping[str, str]:
        fields = node.record((), self.parts)
        return MappingProxyType(
            {part: self.reading.reference(fields[part], "leather") for part in self.parts if fields.has(part)}
        )

    def _default_hardware(self, defaults: Record, fixings: Mapping[str, Fixing]) -> Mapping[str, str]:
        if not defaults.has("hardware"):
            return MappingProxyType({})
        fields = defaults["hardware"].record((), tuple(fixings))
        return MappingProxyType(
            {slot: self.reading.reference(fields[slot], "hardware") for slot in fixings if fields.has(slot)}
        )


def _panel(code: str, node: Node) -> Panel:
    fields = node.record(_PANEL)
    lengths = {name: fields[name].base("mm", above_zero=True) for name in _PANEL[2:6]}
    return Panel(
        code=code,
        part=code_text(fields["part"]),
        count=fields["count"].whole(at_least=1),
        width_um=lengths["width_mm"],
        height_um=lengths["height_mm"],
        cut_width_um=lengths["cut_width_mm"],
        cut_height_um=lengths["cut_height_mm"],
        thickness=fields["thickness_mm"].span(),
        turnable=fields["direction"].choice(words.DIRECTIONS) == "any",
        reverse_seen=fields["reverse_seen"].flag(),
        pair=fields["pair"].flag(),
    )


def _pocket(code: str, node: Node) -> Pocket:
    fields = node.record(_POCKET)
    return Pocket(
        code=code,
        use=fields["use"].choice(words.POCKET_USES),
        width_um=fields["width_mm"].base("mm", above_zero=True),
        height_um=fields["height_mm"].base("mm", above_zero=True),
        depth_um=fields["depth_mm"].base("mm", above_zero=True),
        count=fields["count"].whole(at_least=1),
    )


def _size(code: str, node: Node) -> Size:
    fields = node.record((), ("offered", "min", "max", "default"))
    ends = {name: fields[name].base("mm") if fields.has(name) else None for name in ("min", "max", "default")}
    offered = tuple(item.base("mm", above_zero=True) for item in fields["offered"].items())
    low, high = ends["min"], ends["max"]
    if low is not None and high is not None and low > high:
        node.fault(f"{code}: min {fields['min'].value} is more than max {fields['max'].value}")
    return Size(code=code, offered_um=offered, min_um=low, max_um=high, default_um=ends["default"])


def _load(node: Node, seams: Mapping[str, Seam]) -> Load:
    bearing = isinstance(node.value, dict) and node.value.get("class") == "bearing"
    fields = node.record(("class", *_BEARING) if bearing else ("class",))
    load_class = fields["class"].choice(words.LOAD_CLASSES)
    if not bearing:
        return Load(load_class)
    return Load(
        load_class=load_class,
        required_break_n=fields["required_break_n"].number("N", above_zero=True),
        end_factor=fields["end_factor"].ratio(at_most=1),
        scales_with_dog=fields["scales_with_dog"].flag(),
        end_seam=_named(fields["end_seam"], "seam", seams),
        source=fields["source"].text(),
    )


def _inner(node: Node, build: Callable[[str, Node], T], known: tuple[str, ...] | None = None) -> Mapping[str, T]:
    """Return a pattern's own things by name, stand-ins included: the pattern falls as a whole."""
    found: dict[str, T] = {}
    for code, entry in coded(node):
        if known is not None and code not in known:
            near = did_you_mean(code, known) or "; expected one of " + ", ".join(known)
            entry.fault(f"{node.name}: '{code}' is not known here{near}", at_key=True)
        found[code] = build(code, entry)
    return MappingProxyType(found)


def _named(node: Node, noun: str, known: Mapping[str, object]) -> str:
    word = node.text()
    if word and known and word not in known:
        node.fault(f"this pattern has no {noun} '{word}'{did_you_mean(word, known)}")
    return word


def _flag(fields: Record, name: str) -> bool | None:
    return fields[name].flag() if fields.has(name) else None


def _skive(fields: Record) -> int | None:
    return fields["skived_to_mm"].base("mm", above_zero=True) if fields.has("skived_to_mm") else None
