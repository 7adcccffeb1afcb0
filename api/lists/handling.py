"""One list from file to answers: what it is judged by, and everything that is said of it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, BinaryIO

from api.desk.repeats import known
from api.house import House
from api.lists.asking import SheetSource, Source
from api.lists.judging import Answered, Judging, Mode, Terms
from api.lists.many import ROWS, Chunk, Many
from api.lists.tally import Tally
from api.lists.telling import Teller
from api.lists.writing import with_cells, write_json, write_lines, write_sheet
from api.sheets.model import Cell
from api.visibility import Caller
from rules.best import Measure
from rules.shop import Shop
from rules.what_if import WhatIf, supposed


@dataclass(frozen=True, slots=True)
class Wanted:
    """How a list is to be judged and told. ``client`` None: orders of everybody may be repeated."""

    mode: Mode
    maximize: Measure
    what_if: WhatIf
    caller: Caller
    client: str | None
    seconds: float


class Handling:
    """The handling of one list, judged by one state of stock, prices and day for all of its rows."""

    def __init__(self, house: House, shop: Shop, source: Source, wanted: Wanted) -> None:
        """Take a list.

        Raises:
            WhatIfError: what is to be supposed cannot be so.
        """
        self.source = source
        self.on_rows: Callable[[int], None] = _nothing
        self._wanted = wanted
        self._shop = supposed(shop, wanted.what_if)
        self._today = wanted.what_if.today or house.clock.today()
        terms = Terms(
            shop=self._shop,
            today=self._today,
            restock=house.shelves.without,
            known=lambda spec: known(house, spec, wanted.client),
            mode=wanted.mode,
            maximize=wanted.maximize,
            seconds=wanted.seconds,
        )
        self._judging = Judging(terms)
        self.tally = Tally(self._shop)
        catalog, gap_um = self._shop.catalog, self._shop.warehouse.gap_um
        self.teller = Teller(wanted.mode, wanted.caller, catalog, gap_um, self._today)

    @property
    def mode(self) -> Mode:
        """Return how the rows share the stock."""
        return self._wanted.mode

    @property
    def judged_by(self) -> dict[str, Any]:
        """Return what all rows are judged by."""
        return {"as_of": self._today.isoformat(), "revisions": self._shop.revisions}

    @property
    def summary(self) -> dict[str, Any]:
        """Return what came of the rows so far."""
        return self.tally.as_json(self._wanted.caller, self._judging.selection, self._wanted.maximize)

    def answered(self) -> Iterator[Answered]:
        """Give what is said of each row, counted."""
        return self._counted(self._judging.answered(self.source.asked()))

    def _counted(self, answered: Iterator[Answered]) -> Iterator[Answered]:
        for each in answered:
            self._count(each)
            yield each

    def _count(self, answered: Answered) -> None:
        self.tally.add(answered)
        self.on_rows(1)

    def write(self, out: BinaryIO) -> None:
        """Write the answer in the kind in which the list came."""
        source = self.source
        if isinstance(source, SheetSource):
            write_sheet(source, self.teller.columns, self.with_cells(source), out)
        else:
            write = write_json if source.kind == "json" else write_lines
            write((self.teller.line(each) for each in self.answered()), self._end, out)

    def with_cells(self, source: SheetSource) -> Iterator[tuple[list[Cell], tuple[str, ...]]]:
        """Give the cells of each row of a sheet as they came, with ours, counted."""
        if self.mode == "independent":
            for chunk in self.chunks(source):
                yield from zip(chunk.rows, chunk.ours, strict=True)
            return
        for cells, answered in with_cells(source, self._judging):
            self._count(answered)
            yield cells, self.teller.cells(answered)

    def chunks(self, source: SheetSource, rows: int = ROWS) -> Iterator[Chunk]:
        """Give what is said of the rows of a sheet in the mode independent, so many at once at most, counted."""
        for chunk in Many(source, self._judging, self.teller, self.tally).chunks(rows):
            self.on_rows(len(chunk.rows))
            yield chunk

    def _end(self) -> dict[str, Any]:
        return {"summary": self.summary, "notes": self.source.notes, **self.judged_by, "complete": True}


def _nothing(_: int) -> None:
    """Do nothing, for whoever does not follow how far it has come."""
