"""Minor units of currencies: list one of ISO 4217, by another carrier than the library in use.

Sources, read on 2026-11-25, named row by row in ``data/currency_minor_units.csv``:

- digits: the currency data of OpenJDK 17.0.15, which its maintainers keep by hand from the amendments
  of the maintenance agency (176 codes); OpenJDK 25 for XAD; list one of 2024-06-25 for UYW;
- which codes are current: list one of 2024-06-25, and since then amendments 176 (ANG gives way to
  XCG), 178 (CUC), 179 (XAD) and 180 (BGN).

Customs of display, such as a forint without fillér, are another matter and are not asked here.
"""

from __future__ import annotations

import csv
from itertools import product
from pathlib import Path
from string import ascii_uppercase

import pytest

from catalog.load import load_catalog
from catalog.read_prices import minor_digits
from catalog.strict_yaml import Faults

with (Path(__file__).parent / "data" / "currency_minor_units.csv").open(encoding="utf-8", newline="") as _file:
    LIST_ONE = {row["code"]: row["minor_units"] for row in csv.DictReader(_file)}

DIGITS = {code: int(units) for code, units in LIST_ONE.items() if units != "N.A."}
WITHOUT = [code for code, units in LIST_ONE.items() if units == "N.A."]

# Written down by hand, from memory, so that a slip in the file does not go unseen.
BY_HAND = {
    "JPY": 0, "KRW": 0, "CLP": 0, "ISK": 0, "VND": 0, "UGX": 0, "XOF": 0, "UYI": 0,
    "EUR": 2, "USD": 2, "GBP": 2, "CHF": 2, "HUF": 2, "COP": 2, "AFN": 2, "MGA": 2, "MRU": 2,
    "KWD": 3, "BHD": 3, "TND": 3, "JOD": 3, "OMR": 3, "LYD": 3, "IQD": 3,
    "CLF": 4, "UYW": 4,
}  # fmt: skip

# The European Union's style guide, list of currency changes (174 to 178); amendment 180 itself.
WITHDRAWN = {"HRK": 174, "SLL": 175, "ANG": 176, "ZWL": 177, "CUC": 178, "BGN": 180}

CURRENCY = "currency: EUR"


def priced_in(files: dict[str, str], currency: str) -> dict[str, str]:
    """Return the demo's files with another currency and the same figures."""
    assert CURRENCY in files["workshop.yaml"]
    return {**files, "workshop.yaml": files["workshop.yaml"].replace(CURRENCY, f"currency: {currency}")}


@pytest.mark.parametrize(("code", "digits"), DIGITS.items())
def test_a_currency_has_the_digits_of_the_published_list(code: str, digits: int) -> None:
    assert minor_digits(code) == digits


@pytest.mark.parametrize(("code", "digits"), BY_HAND.items())
def test_the_published_list_says_what_was_written_down_by_hand(code: str, digits: int) -> None:
    assert DIGITS[code] == digits
    assert minor_digits(code) == digits


def test_every_published_currency_is_taken_and_no_other_three_letters_are() -> None:
    taken = set()
    for letters in product(ascii_uppercase, repeat=3):
        code = "".join(letters)
        try:
            minor_digits(code)
        except ValueError:
            continue
        taken.add(code)
    assert taken == set(DIGITS)


def test_the_list_has_the_thirteen_codes_without_minor_units() -> None:
    """Metals, baskets, drawing rights and accounts; the code for tests; the code for no currency."""
    assert sorted(WITHOUT) == [
        "XAG", "XAU", "XBA", "XBB", "XBC", "XBD", "XDR", "XPD", "XPT", "XSU", "XTS", "XUA", "XXX",
    ]  # fmt: skip


@pytest.mark.parametrize("code", WITHOUT)
def test_a_code_without_minor_units_is_refused_by_its_name(code: str) -> None:
    with pytest.raises(ValueError, match=f"'{code}'"):
        minor_digits(code)


@pytest.mark.parametrize("code", [*WITHOUT, *WITHDRAWN, "eur", "EURO", "978"])
def test_a_workshop_that_prices_in_what_is_no_currency_is_refused_at_its_line(
    oddlestone_files: dict[str, str], code: str
) -> None:
    files = priced_in(oddlestone_files, f'"{code}"')
    line = files["workshop.yaml"].splitlines().index(f'currency: "{code}"') + 1
    with pytest.raises(Faults) as caught:
        load_catalog(files)
    faults = [fault for fault in caught.value.faults if (fault.file, fault.line) == ("workshop.yaml", line)]
    assert len(faults) == 1
    assert f"'{code}'" in faults[0].message


@pytest.mark.parametrize("code", WITHDRAWN)
def test_a_withdrawn_currency_is_taken_no_more(code: str) -> None:
    with pytest.raises(ValueError, match=f"'{code}'"):
        minor_digits(code)


@pytest.mark.parametrize(("code", "unit"), [("EUR", 100), ("KWD", 1000), ("BHD", 1000), ("CLF", 10_000)])
def test_money_of_a_workshop_is_read_in_the_smallest_unit_of_its_currency(
    oddlestone_files: dict[str, str], code: str, unit: int
) -> None:
    shop = load_catalog(priced_in(oddlestone_files, code)).workshop
    assert (shop.labor_per_hour_minor, shop.overhead_per_hour_minor) == (34 * unit, 15 * unit)
    assert shop.sundries_per_piece_minor == 3 * unit
    assert 10**shop.minor_digits == unit


@pytest.mark.parametrize(("code", "amount"), [("JPY", "3.5"), ("EUR", "3.005"), ("KWD", "3.0005"), ("UYW", "3.00005")])
def test_an_amount_finer_than_the_smallest_unit_is_refused(
    oddlestone_files: dict[str, str], code: str, amount: str
) -> None:
    files = priced_in(oddlestone_files, code)
    assert "sundries_per_piece: 3.00" in files["workshop.yaml"]
    files["workshop.yaml"] = files["workshop.yaml"].replace("sundries_per_piece: 3.00", f"sundries_per_piece: {amount}")
    with pytest.raises(Faults, match="sundries_per_piece"):
        load_catalog(files)
