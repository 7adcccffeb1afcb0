"""The price list compiled: rows that each give a line or none, and its percentages as whole numbers.

Base, the other parts' shares and every surcharge are rows alike. A row says what of a piece it
reads; none reads lots, stock or the day, so a price is the same whatever the piece is cut from.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any, Final, Protocol

from catalog.model import Catalog, Number, Pattern, PriceRow
from catalog.strict_yaml import Fault, Faults, did_you_mean
from catalog.units import text_in
from rules.case import Case
from rules.conditions import Beside, Conditions, Path
from rules.ir import AllOf, names_of
from rules.judge import Reader, Truth, condition_of
from rules.nouns import codes_of
from rules.piece import OUTSIDE, Piece
from rules.stock import Warehouse, warehouse_of
from rules.vocabulary import BY_PART, TERMS, Group, known_names, limits_by_name
from rules.words import condition_in_words, placeholders_in

#: What a price never depends on: what a piece is cut from, or an order that it repeats was; what is left of it, the
#: day, the bench.
NEVER_READ: Final = frozenset({"lots", "named", "repeat", "stock", "backlog", "today", "labor", "price_list"})
_COUNT: Final = "count"


def exact(numerator: Number, denominator: int) -> Number:
    """Return a quotient, as an int where it is whole."""
    whole, rest = divmod(numerator, denominator)
    return Fraction(numerator, denominator) if rest else whole


@dataclass(frozen=True, slots=True)
class Line:
    """One price line; ``amount_minor`` exact."""

    code: str
    what: str
    amount_minor: Number


class Row(Protocol):
    """One row of the price list. ``of`` names the parts whose leather and side are read; () is every part."""

    @property
    def code(self) -> str:
        """The code of its line."""

    @property
    def reads(self) -> frozenset[str]:
        """What of a piece it depends on, in the words of :data:`rules.vocabulary.READS`."""

    @property
    def of(self) -> Group:
        """The parts whose leather and side are read; () is every part."""

    def line(self, piece: Piece) -> Line | None:
        """Return the line for a piece of the row's pattern, or None where it adds nothing."""


@dataclass(frozen=True, slots=True)
class BandRow:
    """What a part adds by the band of its leather: base for the outside, a share for the others."""

    code: str
    part: str
    lines: Mapping[str, Line]
    reads: frozenset[str] = frozenset({"pattern", "leather", "price_list"})

    @property
    def of(self) -> Group:
        """The part alone."""
        return (self.part,)

    def line(self, piece: Piece) -> Line | None:
        """Return the line of the band, or None where it has none or the leather is not known."""
        kind = piece.parts[self.part].kind
        return None if kind is None else self.lines.get(kind.price_band)


class Lotless:
    """A piece as measures see it that read no lots, no stock and no day."""

    __slots__ = ("_warehouse", "piece")

    def __init__(self, piece: Piece, warehouse: Warehouse) -> None:
        self.piece = piece
        self._warehouse = warehouse

    @property
    def case(self) -> Case:
        """The case without any lot; its day stands for none."""
        return Case(self.piece, {}, self._warehouse, date.min)


@dataclass(frozen=True, slots=True)
class Surcharge:
    """A row under a condition; ``when`` is its condition in words, ``condition`` as rules hold it."""

    row: PriceRow
    when: str
    condition: AllOf
    reads: frozenset[str]
    of: Group
    _holds: Truth
    _count: Reader | None
    _warehouse: Warehouse
    _once: Line

    @property
    def code(self) -> str:
        """The row's code."""
        return self.row.code

    def line(self, piece: Piece) -> Line | None:
        """Return the line, or None where the condition does not hold or is not known, or nothing is charged."""
        scope = Lotless(piece, self._warehouse)
        row = self.row
        if not self._holds(scope) or not row.amount_minor:
            return None
        if self._count is None:
            return self._once
        counted = self._count(scope)
        times = counted - row.beyond if isinstance(counted, int) else 0
        if times <= 0:
            return None
        return Line(row.code, row.says.replace("{count}", str(times)), row.amount_minor * times)


@dataclass(frozen=True, slots=True)
class Percent:
    """A share that is added or taken off, with the words of its line."""

    code: str
    what: str
    percent: Number

    def line(self, amount: Number) -> Line:
        """Return the line on an amount, exact."""
        percent = self.percent
        return Line(self.code, self.what, exact(amount * percent.numerator, 100 * percent.denominator))


class Tariff:
    """A catalog's price list, ready to price pieces.

    ``rows`` are the additive rows by pattern, in the order of the lines; ``surcharges`` those of
    them that the price list states under a condition. ``content_hash`` covers all that decides a
    price beside the catalog's nouns: the list, the limits its conditions name, tax, rush, deposit.
    """

    def __init__(self, catalog: Catalog) -> None:
        """Compile the price list.

        Raises:
            Faults: with every fault of its conditions, by line and column.
        """
        shop, prices = catalog.workshop, catalog.price_list
        self.surcharges = _surcharges(catalog)
        self.base: Mapping[str, Mapping[str, int]] = prices.base_minor
        self.rows: dict[str, tuple[Row, ...]] = {
            pattern.code: (*_material(catalog, pattern), *self.surcharges)
            for pattern in catalog.patterns.values()
            if pattern.code in prices.base_minor
        }
        self.rush = Percent("rush", f"rush, {text_in(shop.rush_percent, 'percent')} %", shop.rush_percent)
        #: Breaks for the quantity, the largest first.
        self.breaks = tuple(
            (each.quantity, _break(each.quantity, each.percent))
            for each in sorted(prices.breaks, key=lambda each: -each.quantity)
        )
        self.point = prices.point
        self.point_words = {
            step: f"to the next {Decimal(step).scaleb(-shop.minor_digits).normalize():f}"
            for step in (prices.point.step_minor, prices.point.step_below_minor)
        }
        self.tax_rate = Fraction(shop.vat_percent) / 100
        #: The tax rate as text: two decimals, four where it needs them.
        self.rate = _rate(shop.vat_percent)
        self.deposit_share = Fraction(shop.deposit_percent) / 100
        self.deposit_from_minor = shop.deposit_from_minor
        self.currency, self.digits = shop.currency, shop.minor_digits
        self.content_hash = _hash(catalog, self.surcharges)


def _rate(percent: Number) -> str:
    text = f"{Decimal(round(Fraction(percent) * 100)).scaleb(-4):f}"
    return text if not text.endswith("00") else text[:-2]


def _break(quantity: int, percent: Number) -> Percent:
    return Percent("quantity_break", f"from {quantity} pieces, {text_in(percent, 'percent')} % off", -percent)


def _material(catalog: Catalog, pattern: Pattern) -> Iterator[BandRow]:
    prices = catalog.price_list
    base = prices.base_minor[pattern.code]
    for part in pattern.parts:
        if part == OUTSIDE:
            lines = {band: Line("base", f"{pattern.name}, band {band} outside", minor) for band, minor in base.items()}
            yield BandRow("base", part, lines)
            continue
        share = prices.part_share.get(part, Fraction(0))
        shares = {band: share * max(0, minor - base[prices.reference_band]) for band, minor in base.items()}
        yield BandRow(
            "part",
            part,
            {
                band: Line("part", f"{part}, band {band}", exact(amount.numerator, amount.denominator))
                for band, amount in shares.items()
                if amount
            },
        )


def _surcharges(catalog: Catalog) -> tuple[Surcharge, ...]:
    compiler = _Compiler(catalog)
    found = tuple(
        compiler.surcharge(row, ("surcharges", place)) for place, row in enumerate(catalog.price_list.surcharges)
    )
    if compiler.faults:
        raise Faults(compiler.faults)
    return found


class _Compiler:
    """Reads the conditions of one price list, noting every fault."""

    def __init__(self, catalog: Catalog) -> None:
        self.faults: list[Fault] = []
        self._document = catalog.price_list.document
        self._thresholds = catalog.thresholds
        beside = Beside(codes_of(catalog))
        self._parser = Conditions(self._document, "piece", catalog.thresholds, self.faults, beside)
        self._warehouse = warehouse_of(catalog)
        self._limits = limits_by_name(catalog.thresholds)

    def surcharge(self, row: PriceRow, path: Path) -> Surcharge:
        """Return a row ready to be asked; what has a fault comes out as never charged."""
        before = len(self.faults)
        condition = self._parser.condition(row.when, (*path, "when"))
        names = sorted(name for name in names_of(condition) if not name.startswith("threshold."))
        for name in names:
            at = next((key for key in row.when if key == name), None)
            self._priceable(name, (*path, "when") if at is None else (*path, "when", at))
        if row.for_each is not None:
            names += self._counted(row.for_each, (*path, "for_each"))
        self._says(row, path)
        sound = len(self.faults) == before
        terms = [TERMS[name] for name in names] if sound else []
        by_part = [term.of for term in terms if term.reads & BY_PART]
        return Surcharge(
            row=row,
            when=condition_in_words(condition, self._thresholds) if sound else "",
            condition=condition,
            reads=frozenset({"price_list"}.union(*(term.reads for term in terms))),
            of=() if not all(by_part) else tuple(dict.fromkeys(part for parts in by_part for part in parts)),
            _holds=condition_of(condition, self._reader) if sound else _never,
            _count=TERMS[row.for_each].measure if sound and row.for_each is not None else None,
            _warehouse=self._warehouse,
            _once=Line(row.code, row.says, row.amount_minor),
        )

    def _reader(self, name: str) -> Reader:
        if name in self._limits:
            value = self._limits[name]
            return lambda _: value
        return TERMS[name].measure

    def _priceable(self, name: str, path: Path) -> bool:
        """Note a fault where a name reads what a price never depends on."""
        read = sorted(TERMS[name].reads & NEVER_READ)
        if read:
            self._parser.fault(path, f"{name} depends on {', '.join(read)}; a price does not")
        return not read

    def _counted(self, name: str, path: Path) -> list[str]:
        """Return the name of a count, alone; none where it is no count that a price may use."""
        counts = [
            known for known in known_names("piece", ())
            if TERMS[known].unit == _COUNT and not TERMS[known].reads & NEVER_READ
        ]  # fmt: skip
        if name in counts:
            return [name]
        if name in TERMS and TERMS[name].unit == _COUNT and name.startswith("piece."):
            self._priceable(name, path)
        else:
            self._parser.fault(path, f"for_each: '{name}' is no count of the piece{did_you_mean(name, counts)}")
        return []

    def _says(self, row: PriceRow, path: Path) -> None:
        for placeholder in placeholders_in(row.says):
            if placeholder != _COUNT:
                self._parser.fault((*path, "says"), f"says: {{{placeholder}}} is not known here; only {{count}} is")
            elif row.for_each is None:
                self._parser.fault((*path, "says"), "says: {count} needs 'for_each', a count")


def _never(_: Any) -> bool:
    return False


def _hash(catalog: Catalog, surcharges: Iterable[Surcharge]) -> str:
    """Return ``sha256:`` and the hash of all that decides a price, in a canonical form."""
    shop, prices, point = catalog.workshop, catalog.price_list, catalog.price_list.point
    limits = {
        name: catalog.thresholds[name.removeprefix("threshold.")].value
        for each in surcharges
        for name in names_of(each.condition)
        if name.startswith("threshold.")
    }
    content = {
        "currency": [shop.currency, shop.minor_digits],
        "bands": prices.bands,
        "reference_band": prices.reference_band,
        "base": {pattern: dict(cells) for pattern, cells in prices.base_minor.items()},
        "part_share": dict(prices.part_share),
        "surcharges": [
            [row.code, row.says, row.amount_minor, row.when, row.for_each, row.beyond] for row in prices.surcharges
        ],
        "breaks": [[each.quantity, each.percent] for each in prices.breaks],
        "point": [point.from_minor, point.step_minor, point.step_below_minor],
        "limits": limits,
        "percent": [shop.vat_percent, shop.rush_percent, shop.deposit_percent],
        "deposit_from": shop.deposit_from_minor,
    }
    text = json.dumps(content, ensure_ascii=False, sort_keys=True, separators=(",", ":"), default=_plain)
    return f"sha256:{hashlib.sha256(text.encode()).hexdigest()}"


_PLAIN: Final[Mapping[type, Callable[[Any], str]]] = {Fraction: str, Decimal: str, date: date.isoformat}


def _plain(value: Any) -> str:
    """Return what JSON has no form for as text."""
    return _PLAIN[type(value)](value)
