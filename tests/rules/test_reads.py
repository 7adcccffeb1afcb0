"""A measure reads what it says it reads, and nothing else.

Whoever judges partial specs or keeps partial results relies on it: a rule that does not read the
quantity must not change with the quantity. Each random spec is changed in one respect; every
measure that does not claim to read it must keep its value on every instance that both have.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest

from catalog.model import Catalog
from rules.case import Case
from rules.cells import facets_read, scoped
from rules.check import judge
from rules.evaluate import Judges
from rules.findings import findings_of
from rules.lots import find_best
from rules.piece import Piece
from rules.sample import as_repeat, sample_specs
from rules.sample_more import with_more
from rules.shop import Shop, open_shop
from rules.spec import WORN_IN, Blade, BusinessCardsAsked, Carry, Monogram, NoteAsked, Notebook, Purpose, Spec
from rules.vocabulary import SUBJECTS, TERMS, Subject

Draw = random.Random
Change = Callable[[Spec, Catalog, Draw], Spec]


def _hardware(spec: Spec, catalog: Catalog, draw: Draw) -> Spec:
    return replace(spec, hardware={slot: draw.choice(list(catalog.hardware)) for slot in spec.hardware})


def _sizes(spec: Spec, catalog: Catalog, draw: Draw) -> Spec:
    return replace(spec, sizes_um={size: um + 1_000 for size, um in spec.sizes_um.items()})


def _monogram(spec: Spec, catalog: Catalog, draw: Draw) -> Spec:
    zone, text = (
        draw.choice(list(catalog.patterns[spec.pattern].zones)),
        spec.monogram.text if spec.monogram else "ROSA M",
    )
    return replace(
        spec, monogram=Monogram(text, draw.choice(("blind", "ink")), draw.choice(list(catalog.typefaces)), zone)
    )


def _letters(spec: Spec, catalog: Catalog, draw: Draw) -> Spec:
    if spec.monogram is None:
        return spec
    return replace(spec, monogram=replace(spec.monogram, text=draw.choice(("ROSA M", "é", "Q", "BARTHOLOMEW"))))


def _carry(spec: Spec, catalog: Catalog, draw: Draw) -> Spec:
    notes = (NoteAsked("EUR50", draw.randrange(1, 9)),)
    cards = BusinessCardsAsked("BC-EU", draw.randrange(1, 9))
    blade = Blade(30_000, 3_000, draw.choice((4_500, 100_000)))
    notebook = Notebook(draw.choice(("NB-A6", None)), None, 5_000, draw.choice((None, 2_500)))
    return replace(
        spec,
        carry=Carry(
            draw.randrange(9), notes, cards, 4_500, passport=True, blade=blade,
            notebook=notebook, tools=(draw.choice(("TO-PEN", "TO-COMB")), "TO-SPEC"), worn_in=draw.choice(WORN_IN),
        ),
    )  # fmt: skip


def _side(spec: Spec, catalog: Catalog, draw: Draw) -> Spec:
    parts = {
        code: replace(part, side="grain" if part.side == "flesh" else "flesh") for code, part in spec.parts.items()
    }
    return replace(spec, parts=parts)


def _purpose(spec: Spec, catalog: Catalog, draw: Draw) -> Spec:
    use = draw.choice(list(catalog.uses))
    return replace(spec, purpose=Purpose(use, ("vegan",), draw.randrange(5, 60), child_under_3=True))


def one_of(field: str, values: Callable[[Spec, Catalog, Draw], list[Any]]) -> Change:
    """Put one of some values into a field."""

    def change(spec: Spec, catalog: Catalog, draw: Draw) -> Spec:
        given: dict[str, Any] = {field: draw.choice(values(spec, catalog, draw))}
        return replace(spec, **given)

    return change


CHANGES: dict[str, Change] = {
    "side": _side,
    "thread": one_of("thread", lambda _, catalog, __: [*catalog.threads, "match"]),
    "edge": one_of("edge", lambda _, catalog, __: [*catalog.edges, "match"]),
    "stitch": one_of("stitch", lambda *_: ["hand", "machine", "whip"]),
    "hardware": _hardware,
    "sizes": _sizes,
    "monogram": _monogram,
    "letters": _letters,
    "modifications": one_of(
        "modifications", lambda _, catalog, draw: [tuple(draw.sample(list(catalog.modifications), 2))]
    ),
    "carry": _carry,
    "purpose": _purpose,
    "quantity": one_of("quantity", lambda spec, *_: [spec.quantity + more for more in range(1, 9)]),
    "ship_to": one_of("ship_to", lambda *_: ["US", "US-CA", "DE", "XA"]),
    "rush": one_of("rush", lambda spec, *_: [not spec.rush]),
    "ready_by": one_of("ready_by", lambda *_: [date(2026, 3, 2) + timedelta(days=days) for days in range(60)]),
    "repeat": as_repeat,
    "revision": one_of("catalog_revision", lambda *_: ["R0"]),
    "marks_ok": one_of("marks_ok", lambda spec, *_: [not spec.marks_ok]),
    "mixed_metals_ok": one_of("mixed_metals_ok", lambda spec, *_: [not spec.mixed_metals_ok]),
    "note": one_of("note", lambda spec, *_: [None if spec.note else "a gift"]),
}


Seen = dict[tuple[str, str], tuple[Any, frozenset[tuple[str, str]]]]


def values_of(case: Case) -> Seen:
    """Every measure's value on every instance, and the facets that it may read there."""
    found: Seen = {}
    parts = tuple(case.piece.parts)
    for name, term in TERMS.items():
        subject = name.partition(".")[0]
        for place, lister in enumerate(SUBJECTS[subject].listers):
            groups = (None,) if lister.groups is None else set(lister.groups(case.pattern, shared_leathers(case.piece)))
            for group in groups:
                listed = {facet for read in lister.reads for facet in scoped(read, group, parts)}
                may_read = facets_read(name, subject, group, parts) | listed
                for instance in lister.instances(case, group):
                    key = name, repr((place, group, instance.subject, instance.at))
                    found[key] = term.measure(instance), frozenset(may_read)
    for name, subject in SUBJECTS.items():
        for place, lister in enumerate(subject.listers):
            groups = (None,) if lister.groups is None else set(lister.groups(case.pattern, shared_leathers(case.piece)))
            for group in groups:
                may_show = {facet for read in lister.reads for facet in scoped(read, group, parts)}
                may_show |= {facet for read in subject.shows for facet in scoped(read, subject.of or group, parts)}
                for number, each in enumerate(lister.instances(case, group)):
                    shown = repr((each.words, each.params, each.subject, each.at, each.parts))
                    found[f"{name} in words", repr((place, group, number))] = shown, frozenset(may_show)
                    if subject.word_reads is not None:
                        assert number == 0, f"{name} is said to have one instance at most"
                        found |= words_of(each, subject, group, parts, place)
    return found


def words_of(
    instance: Any, subject: Subject, group: tuple[str, ...] | None, parts: tuple[str, ...], place: int
) -> Seen:
    """Each word of the one instance that there is, and what it may show; its place in the spec is always the same."""
    lister = subject.listers[place]
    listed = {facet for read in lister.reads for facet in scoped(read, group, parts)}
    found: Seen = {}
    for word, text in instance.words.items():
        own = subject.told_by({word})
        shown = {facet for read in own for facet in scoped(read, subject.of or group, parts)}
        found[f"{subject.name} says {word}", repr(group)] = text, frozenset(listed | shown)
    found[f"{subject.name} stands", repr(group)] = repr((instance.at, instance.subject)), frozenset(listed)
    return found


def shared_leathers(piece: Piece) -> list[tuple[str, ...]]:
    found: dict[str, tuple[str, ...]] = {}
    for code, part in piece.parts.items():
        if part.leather is not None:
            found[part.leather.code] = (*found.get(part.leather.code, ()), code)
    return list(found.values())


def lying(before: Seen, after: Seen, changed: Callable[[tuple[str, str]], bool]) -> tuple[set[str], int]:
    """Names whose value moved although nothing that they may read did, and how many values moved at all."""
    moved = [key for key in before.keys() & after.keys() if before[key][0] != after[key][0]]
    return {name for name, instance in moved if not any(map(changed, before[name, instance][1]))}, len(moved)


@pytest.mark.parametrize("what", CHANGES)
def test_a_measure_keeps_its_value_when_what_it_does_not_read_is_changed(what: str, shop: Shop, today: date) -> None:
    draw = random.Random(f"reads {what}")
    liars: set[str] = set()
    moved = 0
    for place, drawn in enumerate(sample_specs(shop.catalog, draw, today, 120)):
        if drawn.pattern not in shop.catalog.patterns:
            continue
        spec = as_repeat(drawn, shop.catalog, draw)
        if place % 3 == 0:
            spec = with_more(spec, shop.catalog, draw)
        lots = judge(shop, spec, today).case.lots
        other = CHANGES[what](spec, shop.catalog, draw)
        before = values_of(Case(shop.piece(spec), lots, shop.warehouse, today))
        after = values_of(Case(shop.piece(other), lots, shop.warehouse, today))
        found, count = lying(before, after, lambda facet: facet[0] == what)
        liars |= found
        moved += count
    assert moved > 0, "the change is seen by some measure"
    assert sorted(liars) == []


def test_a_measure_keeps_its_value_when_another_part_is_cut_from_another_leather(shop: Shop, today: date) -> None:
    draw = random.Random("another leather")
    liars: set[str] = set()
    moved = 0
    for drawn in sample_specs(shop.catalog, draw, today, 400):
        known = [part for part, use in shop.piece(drawn).parts.items() if use.leather is not None]
        if not known:
            continue
        spec = with_more(as_repeat(drawn, shop.catalog, draw), shop.catalog, draw)
        if spec.pattern != drawn.pattern:
            continue
        lots = dict(judge(shop, spec, today).case.lots)
        part, leather = draw.choice(known), draw.choice(list(shop.catalog.leathers.values()))
        own = shop.catalog.lots_of(leather.code)
        other = replace(spec, parts={**spec.parts, part: replace(spec.parts[part], leather=leather.code)})
        before = Case(shop.piece(spec), lots, shop.warehouse, today)
        after = Case(shop.piece(other), lots | {part: own[:1]}, shop.warehouse, today)
        changed = {("leather", part), ("lots", part)}
        if shop.piece(spec).parts[part].kind != leather.kind:
            changed |= {("species", part)}
        if "match" in (spec.thread, spec.edge):
            changed |= {("thread", ""), ("edge", "")}  # what a match came to is part of the facet
        found, count = lying(values_of(before), values_of(after), changed.__contains__)
        liars |= found
        moved += count
    assert moved > 0
    assert sorted(liars) == []


def test_what_was_kept_of_other_specs_changes_no_verdict(shop: Shop, today: date, book_files: dict[str, str]) -> None:
    draw = random.Random("kept")
    drawn = list(sample_specs(shop.catalog, draw, today, 600))
    more = [with_more(spec, shop.catalog, draw) for spec in drawn[150:400]]
    specs = [*drawn, *(as_repeat(spec, shop.catalog, draw) for spec in drawn[:150]), *more]
    warm = [judge(shop, spec, today).findings for spec in specs]
    kept = open_shop(shop.catalog, book_files)
    for spec, before in zip(reversed(specs), reversed(warm), strict=True):
        judges = Judges(kept.book, kept.catalog.thresholds, today)
        best = find_best(kept.piece(spec), judges, kept.warehouse, today)
        assert findings_of(best.said) == before


def test_nothing_changes_where_little_may_be_kept(
    shop: Shop, today: date, book_files: dict[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    specs = list(sample_specs(shop.catalog, random.Random("little kept"), today, 150))
    plenty = [judge(shop, spec, today).findings for spec in specs]
    monkeypatch.setattr("rules.evaluate.MOST_KEPT", 300)
    monkeypatch.setattr("rules.cells.MOST_SAID", 2)
    forgetful = open_shop(shop.catalog, book_files)
    memories = set()
    for spec, before in zip(specs, plenty, strict=True):
        assert judge(forgetful, spec, today).findings == before
        memories.add(id(forgetful.judges(today)._memory))
    assert len(memories) > 1, "it did forget"
