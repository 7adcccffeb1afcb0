"""The spec as understood, and its hash."""

from __future__ import annotations

import random
from datetime import date

import rfc8785

from rules.check import check
from rules.echo import canonical, spec_hash
from rules.sample import sample_specs
from rules.shop import Shop


def test_canonical_json_is_that_of_rfc_8785(shop: Shop, today: date) -> None:
    """Source: RFC 8785, by the reference implementation published as rfc8785."""
    for spec in sample_specs(shop.catalog, random.Random("canonical"), today, 200):
        echo = check(shop, spec, today=today)["spec"]
        assert canonical(echo) == rfc8785.dumps(echo)
    odd = {"pattern": 'é\u2028"\\\n\u0001😀', "sizes": {"lug_mm": 18.5, "width_mm": 0.001, "length_mm": 9999.999}}
    assert canonical(odd) == rfc8785.dumps(odd)


def test_reference_and_note_do_not_change_the_hash() -> None:
    assert spec_hash({"pattern": "belt", "note": "soon", "reference": "7"}) == spec_hash({"pattern": "belt"})
    assert spec_hash({"pattern": "belt"}) != spec_hash({"pattern": "lead"})
