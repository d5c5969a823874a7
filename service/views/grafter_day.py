"""A grafter's day: what to graft from which bag onto what, and how their grafts took."""

from datetime import date, datetime, timedelta
from typing import Annotated, Any

import msgspec
from msgspec import Meta

from service.storage.pool import Connection
from service.storage.sql import load
from service.views.grafting_list import GraftingList, grafting_list
from service.views.take import Share, share

SQL = load(__package__, "grafter_day.sql")
YOUNGEST, OLDEST = timedelta(days=14), timedelta(days=35)
"""Grafts of some three weeks ago: most are unwrapped and read by then."""
MOST_LOTS = 20


class Took(msgspec.Struct, frozen=True, kw_only=True):
    """A lot that the grafter worked on, as its take was read so far.

    The take is read for the whole lot: with `alone` false others grafted in it too, and nobody can
    say whose grafts took.
    """

    lot: str
    cultivar: str | None
    rootstock: str | None
    method: str | None
    grafted_on: date
    by_hand: Annotated[int, Meta(description="Trees of it that they grafted.")]
    alone: bool
    grafted: int
    not_read: Annotated[int, Meta(description="Still wrapped, or not counted as read.")]
    gone: Annotated[int, Meta(description="Went before they were read.")]
    take: Share


class GrafterDay(msgspec.Struct, frozen=True, kw_only=True):
    """The day's list and the lots of some three weeks ago, the youngest on top."""

    to_do: GraftingList
    took: list[Took]


async def grafter_day(conn: Connection, site: str, grafter: str, now: datetime) -> GrafterDay:
    """The day of a grafter at a site that is seen."""
    to_do = await grafting_list(conn, site, None, grafter, now)
    days = (to_do.day - OLDEST, to_do.day - YOUNGEST)
    rows = await conn.fetch(SQL.took, site, grafter, *days, MOST_LOTS)
    return GrafterDay(to_do=to_do, took=[_took(dict(row)) for row in rows])


def _took(parts: dict[str, Any]) -> Took:
    alive, failed = parts.pop("alive"), parts.pop("failed")
    return Took(**parts, take=share(alive, alive + failed))
