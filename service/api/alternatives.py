"""What is possible instead, where a wish can't be promised: told by what the asker may see."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import date
from typing import Any

import msgspec

from service.api.destinations import available_now, seen_sites
from service.api.operation import Call
from service.api.problems import Mistake, Problem
from service.trade.available import Row
from service.trade.promising import ALL_SITES
from service.views.availability_now import visible

MOST = 20


@asynccontextmanager
async def with_alternatives(call: Call[Any], site: str, any_site: bool) -> AsyncIterator[None]:
    """Add to a refusal, as `numbers.alternatives`, what else of the same there would be.

    The same cultivar on the same rootstock (or its buds) at other sites, in other sizes and grades:
    how many by the day that was asked for. Those that cover all of it come first, and of these the
    ones most like what was asked for. Nothing is set aside.
    """
    try:
        yield
    except Problem as problem:
        problem.errors = [
            await _with_others(call, one, ALL_SITES if any_site else site)
            if one.kind == "not_enough_to_promise"
            else one
            for one in problem.errors
        ]
        raise


async def _with_others(call: Call[Any], mistake: Mistake, site: str) -> Mistake:
    asked = mistake.numbers
    day = date.fromisoformat(asked["needed_by"]).toordinal()
    try:
        found, sites = await available_now(call), seen_sites(call)
    except Problem:
        # It is refused all the same.
        return mistake
    wish = (asked["cultivar"], asked["rootstock"], asked["buds"])
    same = (asked["size"] or "", asked["grade"] or "", site)
    others = [
        row
        for row in found.rows.values()
        if (row.item.cultivar, row.item.rootstock or None, row.item.buds) == wish
        and visible(row, sites)
        and row.on(day) > 0
        and (asked["lot"] or (row.item.size, row.item.grade, row.site) != same)
    ]
    others.sort(
        key=lambda row: (row.on(day) < asked["asked"], _unlike(row, same), -row.on(day), row.key)
    )
    told = [_told(row, day) for row in others[:MOST]]
    return msgspec.structs.replace(mistake, numbers=asked | {"alternatives": told})


def _unlike(row: Row, same: tuple[str, str, str]) -> int:
    """In how much of size, grade and site a row differs from what was asked for."""
    its = (row.item.size, row.item.grade, row.site)
    return sum(one != other for one, other in zip(its, same, strict=True))


def _told(row: Row, day: int) -> dict[str, Any]:
    """A row as it could be asked for: its site null where trees of any site do."""
    return {
        "site": row.site or None,
        "size": row.item.size or None,
        "grade": row.item.grade or None,
        "available": row.on(day),
    }
