"""Mode ``best`` of a wish list: rows that can be made together from today's stock, as many or as dear as can be.

Definitions. An *option* of a row is an assignment of lots to its parts under which the row, judged alone
on the whole stock, is not refused: single lots, and sets of lots as :func:`rules.lots.sets_of` lists them,
since a set may be what others leave. Where a part is cut from several lots, the split that
``Case.holding`` finds on the whole stock is the one split of that option. What a row took in ``placed`` is an
option of it too, with the split that it had there. A row that is refused alone never takes part.

Rows *can be made together* if each can be given one of its options such that the needs of all lie together
(:func:`rules.needs.lie_together`: supplies suffice, and in each lot area with yield and one joint layout,
beside the panels held there) and the minutes of those that are a rush stay within the room for rush orders.

What is returned was made: its rows were judged one after another in the order of the list, each from the lots
that it is given and what the ones before it left, and none was refused. In the exact range of
:mod:`rules.layout` that follows from lying together. Above it fewer panels may not be found to lie where more
are; rows that would be refused on the way are then ruled out like panels for which no layout is found.

The bound is true for the definition above: only what is proven lowers it. A layout that was not found above the
exact range, or within :data:`rules.best.room.STEPS`, guides the search and leaves the bound as it is.
"""

from rules.best.choose import Selection, best_together
from rules.best.wish import Measure, Option, Wish

__all__ = ["Measure", "Option", "Selection", "Wish", "best_together"]
