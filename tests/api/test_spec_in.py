"""From JSON to exact units."""

from __future__ import annotations

from datetime import date
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.body import parse
from api.schemas.figures import exact, um
from api.schemas.spec import SpecIn, to_spec
from rules.spec import Blade, BusinessCardsAsked, Carry, Monogram, NoteAsked, PartChoice, Purpose, Spec


def read(text: str) -> Spec:
    return to_spec(SpecIn.model_validate(parse(text.encode())))


def test_a_pattern_alone_is_a_spec() -> None:
    assert read('{"pattern": "twofold"}') == Spec("twofold")


def test_null_means_absent_everywhere() -> None:
    nulls = (
        '{"pattern": "twofold", "reference": null, "note": null, "parts": null, "thread": null, "stitch": null,'
        ' "edge": null, "hardware": {"closure": null}, "sizes": {"lug_mm": null}, "monogram": null,'
        ' "modifications": null, "carry": {"cards": null, "notes": null, "passport": null}, "purpose": {"use": null},'
        ' "quantity": null, "ship_to": null, "rush": null, "ready_by": null, "lots": {"outside": null},'
        ' "repeat_of": null, "catalog_revision": null}'
    )
    assert read(nulls) == Spec("twofold")
    assert read('{"pattern": "twofold", "parts": {"outside": null}}') == Spec("twofold")


def test_every_field_arrives() -> None:
    text = (
        '{"pattern": "gusset", "parts": {"outside": {"leather": "SH-BLK", "side": "flesh"}}, "thread": "match",'
        ' "stitch": "hand", "edge": "ED-BURN", "hardware": {"closure": "HW-SNAP20-BR"}, "sizes": {"width_mm": 25.4},'
        ' "monogram": {"text": "A.B.", "method": "foil", "typeface": "FA", "zone": "Z", "foil": "FO", "artwork": true},'
        ' "modifications": ["hidden_slot"], "carry": {"cards": 0, "notes": [{"item": "USD"}],'
        ' "business_cards": {"item": "BC-JP", "count": 25}, "passport": {"thickness_mm": 4.5},'
        ' "blade": {"width_mm": 28, "thickness_mm": 3.5, "length_mm": 120}},'
        ' "purpose": {"use": "other", "claims": ["vegan"], "dog_kg": 30.5, "child_under_3": true}, "quantity": 2.0,'
        ' "ship_to": "US-CA", "rush": true, "ready_by": "2026-05-29", "lots": {"outside": ["L101", "L102"]},'
        ' "repeat_of": "o1", "catalog_revision": "R12", "reference": "web-1", "note": "hello"}'
    )
    assert read(text) == Spec(
        pattern="gusset",
        parts={"outside": PartChoice("SH-BLK", "flesh")},
        thread="match",
        stitch="hand",
        edge="ED-BURN",
        hardware={"closure": "HW-SNAP20-BR"},
        sizes_um={"width_mm": 25_400},
        monogram=Monogram("A.B.", "foil", "FA", "Z", "FO", artwork=True),
        modifications=("hidden_slot",),
        carry=Carry(
            0, (NoteAsked("USD", 1),), BusinessCardsAsked("BC-JP", 25), 4500, passport=True,
            blade=Blade(28_000, 3_500, 120_000),
        ),
        purpose=Purpose("other", ("vegan",), Fraction(61, 2), child_under_3=True),
        quantity=2,
        ship_to="US-CA",
        rush=True,
        ready_by=date(2026, 5, 29),
        lots={"outside": ("L101", "L102")},
        repeat_of="o1",
        catalog_revision="R12",
        reference="web-1",
        note="hello",
    )  # fmt: skip


def test_a_passport_of_unknown_thickness_is_still_a_passport() -> None:
    assert read('{"pattern": "a", "carry": {"passport": {}}}').carry == Carry(passport=True)


def test_letters_are_kept_in_the_composed_form() -> None:
    spec = read('{"pattern": "a", "monogram": {"text": "E\\u0301"}}')
    assert spec.monogram is not None
    assert spec.monogram.text == "\u00c9"


@given(st.integers(1, 10_000_000))
def test_every_length_of_three_decimals_is_exact(length_um: int) -> None:
    spec = read(f'{{"pattern": "a", "sizes": {{"length_mm": {length_um // 1000}.{length_um % 1000:03d}}}}}')
    assert spec.sizes_um["length_mm"] == length_um


@pytest.mark.parametrize(("value", "micrometers"), [(0.1 + 0.2, 300), (1.1 * 3, 3300), (20.0, 20_000), (1.005, 1005)])
def test_what_binary_arithmetic_makes_of_a_length_is_still_that_length(value: float, micrometers: int) -> None:
    spec = read(f'{{"pattern": "a", "sizes": {{"lug_mm": {value!r}}}}}')
    assert spec.sizes_um["lug_mm"] == um(value) == micrometers


def test_weights_are_whole_where_they_can_be() -> None:
    assert exact(30.0) == 30
    assert exact(30.125) == Fraction(241, 8)
