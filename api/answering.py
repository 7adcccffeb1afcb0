"""The answer to a check, and to what can still be chosen, as a caller may see it; from a thread unless it is quick."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from anyio import CapacityLimiter, to_thread
from fastapi.concurrency import run_in_threadpool

from api.choices import Asking, choices_for
from api.desk.listing import owner_of
from api.desk.repeats import known, with_repeat
from api.house import House
from api.keys import Key
from api.schemas.choices import ChoicesIn
from api.schemas.spec import SpecIn, to_spec
from api.visibility import view
from rules.check import answer_of, check, judge, quick_answer, quick_check
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


async def choices_to(
    house: House, shop: Shop, body: ChoicesIn, *, key: Key, figures: bool, threads: CapacityLimiter
) -> Mapping[str, Any]:
    """Return what can still be chosen in a spec as the caller may see it, always from a thread.

    Whoever asks first for a pattern waits until it is compiled: some seconds. Only so many do so at once
    (``threads``). It is not logged: a page asks anew at every click.
    """
    asked, today = known(house, to_spec(body), owner_of(key)), house.clock.today()
    asking = Asking(key.caller, figures, tuple(body.left_out or ()))
    return await to_thread.run_sync(choices_for, shop, asked, today, asking, limiter=threads)


async def bare_answer_to(
    house: House, shop: Shop, spec: SpecIn, *, key: Key, threads: CapacityLimiter
) -> Mapping[str, Any]:
    """Return the verdict on a spec without remedies, as the caller may see it.

    For whoever may stop to wait: a thread that is left goes on to its end, and what it finds out is kept for
    the next who asks. Only so many are used at once (``threads``), so that none of them are missed elsewhere.

    It is not logged. A sheet asks for each of its cells again whenever it is opened or changed, four of them for
    one row: the log would count how often somebody scrolled, not what could not be made.
    """
    asked, today = known(house, to_spec(spec), owner_of(key)), house.clock.today()
    answer = quick_answer(shop, asked, today=today)
    if answer is None:
        verdict = await to_thread.run_sync(judge, shop, asked, today, abandon_on_cancel=True, limiter=threads)
        answer = answer_of(shop, verdict)
    return view(answer, key.caller)
