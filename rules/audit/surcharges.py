"""Rows of the price list that charge for one thing at once."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import combinations
from typing import Any, Final

from catalog.model import Number, Threshold
from rules.audit.report import Report
from rules.ir import AllOf, Compare, Condition, Constant, In, Includes, Name, Not, Term
from rules.shop import Shop
from rules.spec import Spec
from rules.tariff import Surcharge
from rules.vocabulary import limits_by_name

_ABOVE: Final = ("min", "above")


def overlaps(shop: Shop, specs: Iterable[Spec], shown: Any) -> Iterator[Report]:
    """Give each pair of surcharges that count the same, the condition of one implied by the other's.

    A row without a condition charges for every piece, not for what another row asks: it overlaps only with its like.
    The witness is a spec on which both are charged, if one of ``specs`` is such; ``shown`` puts a spec into JSON.
    """
    rows = shop.indexes.tariff.surcharges
    pairs = [pair for pair in combinations(rows, 2) if _overlap(*pair, shop.catalog.thresholds)]
    for one, other in pairs:
        both = next((spec for spec in specs if _charged(shop, spec, one) and _charged(shop, spec, other)), None)
        says = f"{one.code} ({one.when}) and {other.code} ({other.when}) are both charged for one thing."
        witness: dict[str, Any] = {"rows": [one.code, other.code]}
        if both is not None:
            witness["spec"] = shown(both)
        yield Report("surcharge_overlap", f"{one.code} + {other.code}", says, witness=witness)


def _charged(shop: Shop, spec: Spec, row: Surcharge) -> bool:
    piece = shop.piece(spec)
    return piece.pattern is not None and row.line(piece) is not None


def _overlap(one: Surcharge, other: Surcharge, thresholds: Mapping[str, Threshold]) -> bool:
    if one.row.for_each != other.row.for_each:
        return False
    empty = [not each.condition.conditions for each in (one, other)]
    if any(empty):
        return all(empty)
    limits = limits_by_name(thresholds)
    return implies(one.condition, other.condition, limits) or implies(other.condition, one.condition, limits)


def implies(one: AllOf, other: AllOf, limits: Mapping[str, Number]) -> bool:
    """Whether wherever one condition holds another does too, as far as they compare the same names line by line."""
    return all(any(_implied(each, wanted, limits) for each in one.conditions) for wanted in other.conditions)


def _implied(one: Condition, other: Condition, limits: Mapping[str, Number]) -> bool:
    if one == other:
        return True
    match one, other:
        case In(name=name, values=values), In(name=same, values=wider) if name == same:
            return values <= wider
        case In(name=name, values=values), Not(condition=In(name=same, values=others)) if name == same:
            return values.isdisjoint(others)
        case Not(condition=inner), Not(condition=outer):
            return _implied(outer, inner, limits)
        case In(name=name, values=values), Compare(left=Name(name=same), op=op, right=right) if name == same:
            bound = _number(right, limits)
            numbers = [each for each in values if not isinstance(each, str | bool)]
            return (
                bound is not None and len(numbers) == len(values) and all(_holds(each, op, bound) for each in numbers)
            )
        case Compare(), Compare():
            return _tighter(one, other, limits)
        case Includes(), Includes():
            return False
    return False


def _tighter(one: Compare, other: Compare, limits: Mapping[str, Number]) -> bool:
    """Whether one bound on a figure is at least as tight as another on the same."""
    low, high = _number(one.right, limits), _number(other.right, limits)
    if one.left != other.left or low is None or high is None or (one.op in _ABOVE) != (other.op in _ABOVE):
        return False
    if low == high:
        return one.op == other.op or one.op in {"above", "below"}
    return low > high if one.op in _ABOVE else low < high


def _number(term: Term, limits: Mapping[str, Number]) -> Number | None:
    match term:
        case Constant(value=value):
            return value
        case Name(name=name):
            return limits.get(name)
        case _:
            return None


def _holds(value: Number, op: str, bound: Number) -> bool:
    return {"max": value <= bound, "min": value >= bound, "above": value > bound, "below": value < bound}[op]
