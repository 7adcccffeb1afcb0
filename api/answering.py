"""The answer to a check as a caller may see it; at once where that is quick, else from a thread."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi.concurrency import run_in_threadpool

from api.desk.listing import owner_of
from api.desk.repeats import known, with_repeat
from api.house import House
from api.keys import Key
from api.schemas.spec import SpecIn, to_spec
from api.visibility import view
from rules.check import check, quick_check
from rules.shop import Shop


async def answer_to(
    house: House,
    shop: Shop,
    spec: SpecIn,
    *,
    key: Key,
    fill_defaults: bool = False,
    alternatives: int = 0,
    explain: bool = False,
) -> Mapping[str, Any]:
    """Return the verdict on a spec as the caller may see it. The shop is the one of the request's own shelf."""
    asked, today = known(house, to_spec(spec), owner_of(key)), house.clock.today()
    more = fill_defaults or alternatives or explain
    answer = None if more else quick_check(shop, asked, today=today)
    if answer is None:
        # A dear check takes a second: in a thread it does not keep health checks and other callers waiting.
        answer = await run_in_threadpool(
            check,
            shop,
            asked,
            today=today,
            fill_defaults=fill_defaults,
            alternatives=alternatives,
            explain=explain,
        )
    house.log.add(house.now(), key.id, answer)
    return view(with_repeat(answer, asked), key.caller)
