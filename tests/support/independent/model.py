"""The whole: a board for what a spec says, choices fixed on it, and lots held to a layout until one lies."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Mapping
from copy import deepcopy
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from ortools.sat.python import cp_model
from support.independent.board import Board
from support.independent.data import Context, RefusedError, context_key, context_of, edited, mm
from support.independent.edges import add_edges, add_matches, edge_options
from support.independent.fit import add_cards, check_carried, fits_part
from support.independent.fixing import fix
from support.independent.hardware import add_hardware, add_load, hardware_options
from support.independent.house import add_house
from support.independent.law import sold_there
from support.independent.layout import Bench, Demand, Sheet
from support.independent.minutes import add_minutes
from support.independent.monograms import Letters, add_letters, letter_options
from support.independent.parts import Option, add_marks, options_of
from support.independent.seams import add_folds, add_stacks, add_stretch, add_thread
from support.independent.stock import Cutting, add_stock, range_fits, range_um, sheet_of, widths

from catalog.model import Catalog, Edge, Thread

#: Boards that are kept, candidates of one question whose layout is looked at, and those in doubt before all is.
_MOST_BOARDS = 64
_MOST_CANDIDATES = 80
_MOST_DOUBTS = 6

_Tests = Mapping[str, Callable[[Any], bool]]


@dataclass(frozen=True)
class Answer:
    """What became of a partial spec.

    ``outcome`` is infeasible (proven), feasible (``spec`` is complete and none of its rules refuses) or undecided.
    ``lots`` are those of the completion by part, ``panels`` the most that lie in one of them: a layout of many panels
    may be found here and not by a procedure that is exact only up to some number. ``why`` names what was decisive
    where that is known without a search.
    """

    outcome: str
    spec: dict[str, Any] | None = None
    lots: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    panels: int = 0
    why: str | None = None


@dataclass
class _Base:
    told: Context
    board: Board
    doubts: list[list[list[Any]]] = field(default_factory=list)


class IndependentModel:
    """An oracle over one catalog.

    ``today`` is that of the check it is held to; no rule that refuses at a check depends on it. Boards are kept by
    what is told and not chosen, so questions about one order are quickest one after another.

    A part without a side but with a leather shows its grain; a leather that is left out leaves the side free too, and
    a stitch that is left out is free. Modifications that the spec names are kept and others may join them.
    """

    def __init__(self, catalog: Catalog, today: date) -> None:
        self.catalog = catalog
        self.today = today
        self._options = {
            (pattern.code, part): options_of(catalog, pattern, part)
            for pattern in catalog.patterns.values()
            for part in pattern.parts
        }
        gap = int(catalog.thresholds["nest_gap_mm"].value)
        self._sheets: dict[str, Sheet] = {
            lot.code: sheet_of(lot, catalog.leathers[lot.leather], gap) for lot in catalog.lots.values()
        }
        self._bench = Bench(gap)
        self._bases: OrderedDict[str, _Base | str] = OrderedDict()

    def completion(
        self, spec: Mapping[str, Any], pointer: str | None = None, value: object = None, *, exact: bool = False
    ) -> Answer:
        """Return whether a partial spec, with an option forced if one is named, has a completion that is not refused.

        Args:
            spec: the JSON of a spec; what it leaves out is free.
            pointer: JSON Pointer of a slot; the value replaces what the spec says there, and joins modifications.
            value: an option of the slot; None where an optional slot is to stay empty.
            exact: whether optional slots that the spec leaves out, letters, fittings, modifications, stay empty too,
                and the stitch is the pattern's first.

        Raises:
            ValueError: a pointer to something that is not chosen.
        """
        asked, empty = edited(spec, pointer, value)
        if exact:
            empty = empty | {"rest"}
        base = self._base(asked)
        if isinstance(base, str):
            return Answer("infeasible", why=base)
        try:
            fixed = fix(base.told, asked, empty)
        except RefusedError as refused:
            return Answer("infeasible", why=str(refused))
        board = base.board
        for slot, test in fixed.items():
            if not board.where(slot, test):
                return Answer("infeasible", why=f"nothing is left for {slot}")
        return self._solve(base, asked, fixed)

    def _base(self, asked: Mapping[str, Any]) -> _Base | str:
        key = context_key(asked)
        if key not in self._bases:
            try:
                told = context_of(self.catalog, asked)
                check_carried(told)
                base: _Base | str = _Base(told, self._board(told))
            except RefusedError as refused:
                base = str(refused)
            if not isinstance(base, str) and base.board.dead:
                base = base.board.dead
            self._bases[key] = base
            if len(self._bases) > _MOST_BOARDS:
                self._bases.popitem(last=False)
        self._bases.move_to_end(key)
        return self._bases[key]

    def _board(self, told: Context) -> Board:
        """Lay out every slot with what it may take, and all that holds between slots."""
        board, pattern = Board(), told.pattern
        for part in pattern.parts:
            board.choose(f"part/{part}", [o for o in self._options[pattern.code, part] if _may(told, o)])
        board.choose("thread", [t for t in told.catalog.threads.values() if t.status != "retired"])
        board.choose("stitch", pattern.stitches)
        board.choose("edge", edge_options(told))
        for code, fixing in pattern.fixings.items():
            board.choose(f"hardware/{code}", hardware_options(told, fixing))
        for code, size in pattern.sizes.items():
            if size.offered_um:
                board.choose(f"size/{code}", size.offered_um)
            else:
                board.choose(f"size/{code}", [um for um in [range_um(told, code)] if range_fits(told, code, um)])
        board.choose("monogram", letter_options(told))
        for code in pattern.modifications:
            board.choose(f"mod/{code}", (False, True))
        if board.dead is None:
            for add in _RULES:
                add(board, told)
            add_matches(board, told)
            add_stock(board, told, self._sheets)
        return board

    def _solve(self, base: _Base, asked: Mapping[str, Any], fixed: _Tests) -> Answer:
        """Look first where each part comes from one lot, then among sets of lots too, few before many."""
        parts = [slot for slot in base.board.slots if slot.startswith("part/")]
        alone = {slot: _of_one_lot(fixed.get(slot)) for slot in parts}
        first = self._among(base, asked, {**fixed, **alone}, few=False)
        return first if first.outcome == "feasible" else self._among(base, asked, fixed, few=True)

    def _among(self, base: _Base, asked: Mapping[str, Any], fixed: _Tests, *, few: bool) -> Answer:
        doubted, doubts = bool(base.doubts), 0
        for _ in range(_MOST_CANDIDATES):
            if doubts > _MOST_DOUBTS:
                break
            chosen = _search(base, fixed, with_doubts=True, few=few)
            if chosen is None:
                if doubted and _search(base, fixed, with_doubts=False, few=False) is not None:
                    return Answer("undecided")
                return Answer("infeasible")
            lies = self._lay(base, chosen)
            if lies is True:
                return self._answer(base.told, asked, chosen)
            if lies is None:
                doubted, doubts = True, doubts + 1
        return Answer("undecided")

    def _lay(self, base: _Base, chosen: Mapping[str, Any]) -> bool | None:
        """Return whether the lots chosen hold all panels; what does not lie is ruled out on the board."""
        cutting = Cutting(base.told)
        options = {part: chosen[f"part/{part}"] for part in base.told.pattern.parts}
        width, var = _width_chosen(base.board, chosen)
        worst: bool | None = True
        for group in _groups(options):
            demands = {
                part: Demand(cutting.panels(part, width), tuple(self._sheets[lot.code] for lot in options[part].lots))
                for part in group
            }
            lies = self._bench.shares(list(demands.values()))
            if lies is True:
                continue
            culprits = self._least(demands, lies)
            clause = [
                base.board.where(f"part/{part}", lambda o, own=options[part]: o.lots == own.lots) for part in culprits
            ] + ([var] if var else [])
            if lies is False:
                base.board.never(*clause)
            else:
                base.doubts.append(clause)
            worst = False if lies is False else worst if worst is False else None
        return worst

    def _least(self, demands: Mapping[str, Demand], lies: bool | None) -> list[str]:
        """Return the fewest parts whose panels already do not lie (or are in doubt)."""
        for part in demands:
            if len(demands) > 1 and self._bench.shares([demands[part]]) is lies:
                return [part]
        return list(demands)

    def _answer(self, told: Context, asked: Mapping[str, Any], chosen: Mapping[str, Any]) -> Answer:
        options = {part: chosen[f"part/{part}"] for part in told.pattern.parts}
        cutting, width = Cutting(told), _width_chosen(None, chosen)[0]
        counts: dict[str, int] = {}
        for part, option in options.items():
            for lot in option.lots:
                own = sum(panel.count for panel in cutting.panels(part, width))
                counts[lot.code] = counts.get(lot.code, 0) + own
        lots = {part: tuple(lot.code for lot in option.lots) for part, option in options.items()}
        return Answer("feasible", _completed(told, asked, chosen), lots, max(counts.values()))


_RULES = (
    add_stacks, add_folds, add_stretch, add_thread, add_edges, add_cards, add_hardware, add_load, add_letters,
    add_marks, add_house, add_minutes,
)  # fmt: skip


def _may(told: Context, option: Option) -> bool:
    """Whether the context leaves an option open: lots that are named, LAW-01, what is carried."""
    named = told.lots.get(option.part)
    if named is not None and {lot.code for lot in named} != {lot.code for lot in option.lots}:
        return False
    return sold_there(told, option) and fits_part(told, option)


def _groups(options: Mapping[str, Option]) -> list[list[str]]:
    """Return the parts in groups that share no lot."""
    groups: list[tuple[set[str], list[str]]] = []
    for part, option in options.items():
        own, parts = {lot.code for lot in option.lots}, [part]
        apart = []
        for lots, others in groups:
            if lots & own:
                own, parts = own | lots, [*others, *parts]
            else:
                apart.append((lots, others))
        groups = [*apart, (own, parts)]
    return [parts for _, parts in groups]


def _width_chosen(board: Board | None, chosen: Mapping[str, Any]) -> tuple[int | None, list[Any]]:
    for size in ("size/lug_mm", "size/width_mm"):
        if size in chosen:
            width = chosen[size]
            return width, [] if board is None else next(var for each, var in widths(board) if each == width)
    return None, []


def _of_one_lot(test: Callable[[Any], bool] | None) -> Callable[[Any], bool]:
    return lambda option: len(option.lots) == 1 and (test is None or test(option))


def _search(base: _Base, fixed: _Tests, *, with_doubts: bool, few: bool) -> dict[str, Any] | None:
    """Return a choice for every slot, with ``few`` one of the fewest lots, or None where there is none."""
    board = base.board
    model = board.model.clone()
    off = [
        var.negated() for slot, test in fixed.items() for value, var in board.slots[slot].items() if not test(value)
    ]  # fmt: skip
    if off:
        model.add_bool_and(off)
    if with_doubts:
        for clause in base.doubts:
            if all(clause):
                model.add(cp_model.LinearExpr.sum([var for group in clause for var in group]) <= len(clause) - 1)
    if few:
        parts = [values for slot, values in board.slots.items() if slot.startswith("part/")]
        more = [(len(option.lots) - 1, var) for values in parts for option, var in values.items() if option.lots[1:]]
        model.minimize(cp_model.LinearExpr.weighted_sum([var for _, var in more], [count for count, _ in more]))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    status = solver.solve(model)
    if status == cp_model.INFEASIBLE:
        return None
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        raise RuntimeError(f"the solver did not decide: {solver.status_name(status)}")
    return {
        slot: next(value for value, var in values.items() if solver.boolean_value(var))
        for slot, values in board.slots.items()
    }


def _completed(told: Context, asked: Mapping[str, Any], chosen: Mapping[str, Any]) -> dict[str, Any]:
    """Return the spec with every slot filled as chosen."""
    spec = deepcopy(dict(asked))
    spec["parts"] = {
        part: {"leather": chosen[f"part/{part}"].leather.code, "side": chosen[f"part/{part}"].side}
        for part in told.pattern.parts
    }
    for slot in ("thread", "edge"):
        value = chosen[slot]
        assert isinstance(value, Edge | Thread)
        spec[slot] = spec[slot] if (spec.get(slot) or "").casefold() == "match" else value.code
    spec["stitch"] = chosen["stitch"]
    hardware = {code: chosen[f"hardware/{code}"] for code in told.pattern.fixings}
    spec["hardware"] = {code: each.code for code, each in hardware.items() if each is not None}
    spec["sizes"] = {code: mm(chosen[f"size/{code}"]) for code in told.pattern.sizes}
    spec["modifications"] = [code for code in told.pattern.modifications if chosen[f"mod/{code}"]]
    spec["monogram"] = _monogram(spec.get("monogram") or {}, chosen["monogram"])
    purpose = dict(spec.get("purpose") or {})
    if told.bearing:
        purpose["use"] = purpose.get("use") or told.pattern.uses[0]
        if told.pattern.load.scales_with_dog and purpose.get("dog_kg") is None:
            purpose["dog_kg"] = int(told.threshold("dog_kg_base"))
    spec["purpose"] = purpose
    return spec


def _monogram(asked: Mapping[str, Any], letters: Letters | None) -> dict[str, Any] | None:
    if letters is None:
        return None
    spec = {**asked, "text": letters.text, "method": letters.method, "typeface": letters.typeface}
    return {**spec, "zone": letters.zone.code, "foil": letters.foil or asked.get("foil")}
