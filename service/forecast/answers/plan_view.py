"""Plans answered from the newest forecast, the books and the open work orders."""

from collections.abc import Iterator, Sequence
from datetime import date, datetime
from itertools import groupby
from operator import itemgetter
from typing import NamedTuple

import asyncpg
from msgspec.structs import replace

from service.forecast.answers import plans
from service.forecast.answers.plan_rows import (
    ESTIMATE,
    NOTHING_KNOWN,
    BagAtHand,
    BagPlanned,
    Making,
    Option,
    ShareOfGrafts,
    TreesPlanned,
    TreesWanted,
    making_in_words,
    option_in_words,
    remarks_of,
)
from service.forecast.answers.promise_view import PastDayError, PromiseQuery, promises_of
from service.log import read
from service.storage.pool import Connection
from service.storage.sql import load
from service.trade.fitting import Supply, Wanted, buds_per_tree
from service.trade.promising import level_of, sure
from service.views.site_days import site_days
from service.views.work_orders import OrdersQuery, orders_on, supply_at

SQL = load(__package__, "plan_view.sql")
MANY = 1000


class NothingThereError(ValueError):
    """The bag holds no buds of a known cultivar at any site that is seen."""


class Way(NamedTuple):
    """A method at a site with its lead times, by the day of grafting."""

    site: str
    method: str
    leads: list[plans.LeadTime]
    share: ShareOfGrafts
    made_at: datetime


async def plan_trees(
    conn: Connection,
    asked: TreesWanted,
    confidence: float,
    sites: list[str] | None,
    now: datetime,
) -> TreesPlanned:
    """Ways to have the trees by the day. Raises PastDayError for a day that is over at a site."""
    days = await site_days(conn, now)
    today = min((days[one] for one in asked.sites or days), default=asked.needed_by)
    if asked.needed_by < today:
        raise PastDayError(asked.needed_by, today)
    split = plans.split(confidence)
    ways = await _ways(conn, asked.cultivar, split.time, asked.sites, asked.methods)
    there = {site: await _on_hand(conn, site, asked, days[site]) for site in {w.site for w in ways}}
    options = [_option(one, asked, confidence, split, there[one.site], days) for one in ways]
    options.sort(key=lambda one: (one.grafts is None, one.grafts or 0, one.site, one.method))
    already = await _growing_already(conn, asked, confidence, sites, now)
    crops = await conn.fetchrow(SQL.crops, asked.cultivar, asked.rootstock)
    assert crops is not None, "a row of nulls at least"
    return TreesPlanned(
        position=await read.head(conn),
        made_at=max((one.made_at for one in ways), default=None),
        quantity=asked.quantity,
        needed_by=asked.needed_by,
        confidence=confidence,
        sure=f"{sure(confidence)} sure",
        reached=round(split.together, 3),
        can_be_promised=already,
        options=options,
        remarks=remarks_of(
            asked, already, (crops["cultivar"], crops["rootstock"]), known=bool(ways)
        ),
    )


async def plan_bag(
    conn: Connection, asked: BagAtHand, confidence: float, now: datetime
) -> BagPlanned:
    """What the bag makes by each method. Raises NothingThereError."""
    rows = await conn.fetch(SQL.bag, asked.bag)
    if not rows:
        raise NothingThereError(asked.bag)
    level = level_of(confidence)
    days = await site_days(conn, now)
    at = sorted({row["site"] for row in rows})
    ways = await _ways(conn, rows[0]["cultivar"], level, at, asked.methods)
    makings = []
    for way in ways:
        here = [row for row in rows if row["site"] == way.site]
        makings.append(_making(way, here, asked, confidence, days[way.site]))
    makings.sort(key=lambda one: (-one.trees, one.site, one.method))
    return BagPlanned(
        position=await read.head(conn),
        made_at=max((one.made_at for one in ways), default=None),
        bag=asked.bag,
        confidence=confidence,
        sure=f"{sure(confidence)} sure",
        makings=makings,
        remarks=[ESTIMATE] if ways else [NOTHING_KNOWN],
    )


async def _ways(
    conn: Connection, cultivar: str, level: int, sites: Sequence[str], methods: Sequence[str]
) -> list[Way]:
    rows = await conn.fetch(
        SQL.lead_times, cultivar, level + 1, list(sites) or None, list(methods) or None
    )
    return list(_by_way(rows))


def _by_way(rows: Sequence[asyncpg.Record]) -> Iterator[Way]:
    for (site, method), group in groupby(rows, key=itemgetter("site", "method")):
        told = list(group)
        leads = [
            plans.LeadTime(
                row["grafted_on"].toordinal(), row["days"], row["mean"], row["correlation"]
            )
            for row in told
        ]
        first = told[0]
        shown = {name: round(first[name], 4) for name in ("mean", "correlation")}
        shown |= {name: round(first[name], 4) for name in ("take", "push", "survival", "fit")}
        share = ShareOfGrafts(**shown, lots=first["lots"], fallback=first["fallback"] or None)
        yield Way(site, method, leads, share, first["made_at"])


async def _on_hand(conn: Connection, site: str, asked: TreesWanted, today: date) -> Supply:
    """Bags and liners at the site once its open work orders have theirs."""
    wanted = _wanted(asked, None)
    supply = await supply_at(conn, site, [wanted], today)
    to_do = OrdersQuery(site=site, state="to_do", limit=MANY)
    for order in await orders_on(conn, to_do, {site: today}):
        supply.give(order.to_give)
    return supply


def _wanted(asked: TreesWanted, method: str | None) -> Wanted:
    return Wanted(
        cultivar=asked.cultivar,
        rootstock=asked.rootstock,
        liner_lot=None,
        method=method,
        left=asked.quantity,
    )


def _option(
    way: Way,
    asked: TreesWanted,
    confidence: float,
    split: plans.Sure,
    there: Supply,
    days: dict[str, date],
) -> Option:
    today = days[way.site]
    when = plans.graft_by(way.leads, today.toordinal(), asked.needed_by.toordinal())
    takes = None
    if when.lead is not None:
        takes = plans.need(
            asked.quantity, way.method, when.lead, split, asked.buds_wasted, asked.liners_spare
        )
    by = plans.as_day(when.by) if takes is not None else None
    wanted = _wanted(asked, way.method)
    buds, liners = there.buds_left(wanted, by or today), there.liners_left(wanted)
    option = Option(
        site=way.site,
        method=way.method,
        words="",
        graft_by=by,
        grafts=takes.grafts if takes else None,
        expected=takes.expected if takes else None,
        buds=takes.buds if takes else None,
        liners=takes.liners if takes else None,
        buds_on_hand=buds,
        liners_on_hand=liners,
        buds_short=max(0, takes.buds - buds) if takes else None,
        liners_short=max(0, takes.liners - liners) if takes else None,
        ready_if_grafted_now=plans.as_day(when.first_ready),
        share=way.share,
    )
    return replace(option, words=option_in_words(option, asked, confidence))


def _making(
    way: Way, here: Sequence[asyncpg.Record], asked: BagAtHand, confidence: float, today: date
) -> Making:
    lead = next((one for one in way.leads if one.grafted_on >= today.toordinal()), way.leads[-1])
    buds = sum(row["buds"] for row in here)
    per_tree = buds_per_tree(way.method, here[0]["buds_per_piece"])
    made = plans.made_of(buds, per_tree, lead, confidence, asked.buds_wasted)
    making = Making(
        site=way.site,
        method=way.method,
        words="",
        buds=buds,
        buds_per_tree=per_tree,
        grafts=made.grafts,
        trees=made.sure,
        expected=made.expected,
        ready_if_grafted_now=plans.as_day(lead.ready_on),
        share=way.share,
    )
    return replace(making, words=making_in_words(making, confidence))


async def _growing_already(
    conn: Connection,
    asked: TreesWanted,
    confidence: float,
    sites: list[str] | None,
    now: datetime,
) -> int | None:
    """What can be promised of the item from what is there, at all sites or those named."""
    if asked.size is None:
        return None
    query = PromiseQuery(
        cultivar=asked.cultivar,
        rootstock=asked.rootstock,
        size=asked.size,
        grade=asked.grade,
        day=asked.needed_by,
        confidence=confidence,
    )
    rows = await promises_of(conn, query, sites, now)
    together = [row.can_be_promised for row in rows if row.site is None]
    if together and not asked.sites:
        return together[0]
    return sum(
        row.can_be_promised for row in rows if row.site and row.site in (asked.sites or [row.site])
    )
