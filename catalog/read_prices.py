"""Workshop, price list and labor: what it costs and when it is ready."""

from __future__ import annotations

import re
from collections.abc import Mapping
from fractions import Fraction
from types import MappingProxyType
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import iso4217
from holidays import list_supported_countries

from catalog import vocabulary as words
from catalog.fields import Node, Record
from catalog.model import Labor, Number, PriceList, PricePoint, PriceRow, QuantityBreak, Workshop
from catalog.reading import Reading, code_text, frozen
from catalog.strict_yaml import did_you_mean

_WORKSHOP = (
    "code", "name", "currency", "vat_percent", "home_country", "time_zone", "holiday_calendar",
    "working_weekdays", "catalog_revision", "labor_per_hour", "overhead_per_hour", "sundries_per_piece",
    "bench_minutes_per_week", "backlog_minutes", "rush_minutes_per_week", "rush_weeks", "rush_percent",
    "quote_days", "deposit_percent", "deposit_from",
)  # fmt: skip
_PRICE_LIST = (
    "bands", "reference_band", "base", "part_share", "surcharges", "quantity_breaks", "price_point",
)  # fmt: skip
_LABOR = (
    "per_piece", "cut_panel", "split_panel", "skive_per_100_mm", "glue_per_100_mm", "prick_per_hole",
    "hand_stitch", "machine_stitch_per_100_mm", "whip_stitch", "edge_per_100_mm", "monogram_setup",
    "monogram_test_strike", "monogram_letter", "hardware_each", "modification", "dry_days",
)  # fmt: skip
_COUNTRY = re.compile(r"[A-Z]{2}", re.ASCII)


def minor_digits(currency: str) -> int:
    """Return how many decimal digits a currency has by ISO 4217 (2 for EUR, 0 for JPY).

    Raises:
        ValueError: for a code that the standard does not list or that has no minor unit (gold).
    """
    try:
        digits = iso4217.Currency(currency).exponent
    except ValueError:
        raise ValueError(f"'{currency}' is no currency of ISO 4217 (three capital letters, such as EUR)") from None
    if digits is None:
        raise ValueError(f"'{currency}' has no minor unit in ISO 4217, so nothing can be priced in it")
    return int(digits)


def read_workshop(reading: Reading) -> Workshop:
    """Read ``workshop.yaml`` and set the currency's digits for the rest of the load."""
    fields = reading.root("workshop.yaml").record(_WORKSHOP, ("parcel_sachet",))
    currency = fields["currency"].text()
    try:
        reading.digits = minor_digits(currency) if currency else 2
    except ValueError as error:
        fields["currency"].fault(f"currency: {error}")
    weekdays = fields["working_weekdays"].some(words.WEEKDAYS)
    return Workshop(
        code=code_text(fields["code"]),
        name=fields["name"].text(),
        currency=currency,
        minor_digits=reading.digits,
        home_country=_country(fields["home_country"]),
        time_zone=_zone(fields["time_zone"]),
        holiday_calendar=_calendar(fields["holiday_calendar"]),
        working_weekdays=tuple(sorted(words.WEEKDAYS.index(day) for day in weekdays)),
        catalog_revision=fields["catalog_revision"].text(),
        vat_percent=fields["vat_percent"].number("%"),
        rush_percent=fields["rush_percent"].number("%"),
        deposit_percent=fields["deposit_percent"].percent(),
        parcel_sachet=fields["parcel_sachet"].choice(words.SACHETS) if fields.has("parcel_sachet") else None,
        **_money_of(fields, reading.digits),
        **_capacity(fields),
    )


def read_price_list(reading: Reading, parts: frozenset[str] | None) -> PriceList:
    """Read ``price-list.yaml``.

    Args:
        reading: the load in progress.
        parts: the parts that some pattern has; None where the patterns cannot be read.
    """
    fields = reading.root("price-list.yaml").record(_PRICE_LIST)
    bands = fields["bands"].distinct(tuple(code_text(item) for item in fields["bands"].filled()))
    return PriceList(
        base_minor=_base(fields["base"], bands, reading),
        part_share=_part_share(fields["part_share"], parts),
        surcharges=_surcharges(fields["surcharges"], reading.digits),
        breaks=tuple(_break(item) for item in fields["quantity_breaks"].items()),
        point=_point(fields["price_point"], reading.digits),
        bands=bands,
        reference_band=fields["reference_band"].choice(bands) if bands else "",
        document=fields.node.document,
    )


def read_labor(reading: Reading) -> Labor:
    """Read ``labor.yaml``; figures are minutes, those of ``dry_days`` days."""
    fields = reading.root("labor.yaml").record(_LABOR)
    singles = {name: fields[name].number("minutes") for name in _LABOR if name not in _BY_CODE}
    edge, dry = (fields[name].record(words.EDGE_FINISHES) for name in ("edge_per_100_mm", "dry_days"))
    return Labor(
        per_piece=_minutes(fields["per_piece"], "pattern", reading),
        modification=_minutes(fields["modification"], "modification", reading),
        edge_per_100_mm=MappingProxyType({key: edge[key].number("minutes") for key in words.EDGE_FINISHES}),
        dry_days=MappingProxyType({key: dry[key].whole(at_most=_LONGEST_DRYING) for key in words.EDGE_FINISHES}),
        **singles,
    )


_BY_CODE = frozenset({"per_piece", "modification", "edge_per_100_mm", "dry_days"})
# What takes longer to dry than a month was meant in hours.
_LONGEST_DRYING = 30
# Nobody knows the price of a hide in ten years; a larger figure is a slip, and soon no day of any calendar.
_LONGEST_QUOTE = 3_660


def _country(node: Node) -> str:
    word = node.text()
    if word and not _COUNTRY.fullmatch(word):
        node.fault(f"{node.name}: expected a country of ISO 3166 in two capital letters, found '{word}'")
    return word


def _calendar(node: Node) -> str:
    """Read a country (ISO 3166-1) or region (ISO 3166-2) whose public holidays are known."""
    word = node.text()
    known = list_supported_countries(include_aliases=False)
    country, dash, region = word.partition("-")
    if word and (country not in known or (dash and region not in known[country])):
        regions = f"; its regions: {', '.join(known[country])}" if known.get(country) else ""
        node.fault(f"{node.name}: no public holidays are known for '{word}' (a country or region of ISO 3166){regions}")
    return word


def _zone(node: Node) -> str:
    """Read the name of a time zone that the system's database of zones has."""
    word = node.text()
    if word:
        try:
            ZoneInfo(word)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            node.fault(f"{node.name}: no time zone is called '{word}'; write one such as Europe/Berlin")
    return word


def _money_of(fields: Record, digits: int) -> dict[str, int]:
    names = ("labor_per_hour", "overhead_per_hour", "sundries_per_piece", "deposit_from")
    return {f"{name}_minor": fields[name].money(digits) for name in names}


def _capacity(fields: Record) -> dict[str, int]:
    names = ("backlog_minutes", "rush_minutes_per_week", "rush_weeks")
    return {
        "bench_minutes_per_week": fields["bench_minutes_per_week"].whole(at_least=1),
        "quote_days": fields["quote_days"].whole(at_most=_LONGEST_QUOTE),
        **{name: fields[name].whole() for name in names},
    }


def _base(node: Node, bands: tuple[str, ...], reading: Reading) -> Mapping[str, Mapping[str, int]]:
    found: dict[str, Mapping[str, int]] = {}
    for code, row in node.entries():
        pattern = _known_key(row, code, "pattern", reading)
        cells = row.record((), bands)
        found[pattern] = MappingProxyType(
            {band: cells[band].money(reading.digits) for band in bands if cells.has(band)}
        )
    return MappingProxyType(found)


def _part_share(node: Node, parts: frozenset[str] | None) -> Mapping[str, Fraction]:
    if parts is not None:
        others = tuple(sorted(parts - {words.OUTSIDE}))
        node.record(others)
    return frozen(node, lambda entry: entry.ratio(above_zero=False))


def _surcharges(node: Node, digits: int) -> tuple[PriceRow, ...]:
    """Read the rows in their order; what their conditions say is read by :mod:`rules.tariff`."""
    found: dict[str, PriceRow] = {}
    for item in node.items():
        fields = item.record(("code", "says", "amount", "when"), ("for_each", "beyond"))
        row = PriceRow(
            code=code_text(fields["code"]),
            says=fields["says"].text(),
            amount_minor=fields["amount"].money(digits),
            when={name: test.value for name, test in fields["when"].entries()},
            for_each=fields["for_each"].text() if fields.has("for_each") else None,
            beyond=fields["beyond"].whole() if fields.has("beyond") else 0,
        )
        _own_code(row, fields, found)
        found.setdefault(row.code.casefold(), row)
    return tuple(found.values())


def _own_code(row: PriceRow, fields: Record, found: Mapping[str, PriceRow]) -> None:
    """Note a code that another line of a price has, and a count that is begun but never named."""
    if row.code.casefold() in found:
        fields["code"].fault(f"code: '{row.code}' is used twice; case does not count")
    if row.code.casefold() in words.PRICE_LINES:
        fields["code"].fault(f"code: '{row.code}' is a line that every price may have; choose another")
    if row.beyond and row.for_each is None:
        fields["beyond"].fault("beyond: without 'for_each' there is nothing to count")


def _break(node: Node) -> QuantityBreak:
    fields = node.record(("from", "percent"))
    return QuantityBreak(quantity=fields["from"].whole(at_least=2), percent=fields["percent"].percent())


def _point(node: Node, digits: int) -> PricePoint:
    fields = node.record(("round", "from", "step", "step_below"))
    fields["round"].choice(("up",))
    steps = {name: fields[name].money(digits) for name in ("step", "step_below")}
    for name, step in steps.items():
        if fields[name].value == 0 or step == 0:
            fields[name].fault(f"{name}: a step must be more than 0")
    return PricePoint(fields["from"].money(digits), steps["step"], steps["step_below"])


def _minutes(node: Node, noun: str, reading: Reading) -> Mapping[str, Number]:
    known = reading.codes(noun)
    if known is not None:
        node.record(tuple(known.values()))
    return frozen(node, lambda entry: entry.number("minutes"))


def _known_key(row: Node, code: str, noun: str, reading: Reading) -> str:
    known = reading.codes(noun)
    if known is None:
        return code
    found = known.get(code.casefold())
    if found is None:
        row.fault(f"there is no {noun} '{code}'{did_you_mean(code, known.values())}", at_key=True)
    return found or code
