"""The view of ready dates: worked out per tree lot and site, stored, answered in pages.

Recomputed for the lots that events touched, for a site whose temperatures changed, and for all
once a day, since the passing of a day changes what is behind and what is ahead.
"""

from collections import OrderedDict
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any, Literal

import asyncpg
import msgspec

from service.clock import Clock
from service.forecast.ready import LotFacts, ReadyDate, ready_date
from service.forecast.requirements import Requirement, Thresholds, requirement_for
from service.forecast.temperatures import load_version, version_known_at
from service.forecast.weather import Outlook, outlook
from service.storage.pool import Connection, Pool
from service.storage.sql import load
from service.views.applying import Batch, Table
from service.views.clocks import Asked, Clocks, asking, lot_ids
from service.views.paging import cut_page, page_key, page_of
from service.views.site_days import site_days

SQL = load(__package__, "ready_view.sql")
# Sorts what cannot be told after all that can.
LAST_DAY = date.max
# Columns that are told as they were found, in their order, and those that decide on the rest.
_AS_FOUND = (
    *("lot", "site", "cultivar", "rootstock", "crop"),
    *("places", "sizes", "trees", "graft_method", "grafted_on"),
)
_DECIDING = ("site", "crop", "graft_method", "grafted_on", "pushed_on", "any_pushed", "made_at")


class ReadyDateRow(msgspec.Struct, frozen=True, kw_only=True):
    """When the trees of a lot at a site are expected to be ready, and what that rests on.

    An estimate. `expected`, `earliest` and `latest` are null where they cannot be told; `remarks`
    say why in words. `needed` and `accumulated` are degree-days (Cd) from `counted_from` to the end
    of the day before `as_of`, by `degree_day_method` with `cutoff` between `lower_c` and `upper_c`
    (degrees Celsius). `basis` and `basis_n` say what the requirement rests on; `n_years` past years
    made the range, which holds the weather alone: where `basis_n` is small the requirement itself
    may be off by weeks. `gap_days` were filled. `position` is that of the log,
    `temperature_version` that of the site's record, that the figure reflects. `trees` stand there
    not yet ready. The fields are the table's columns.
    """

    lot: str
    site: str
    cultivar: str | None
    rootstock: str | None
    crop: str | None
    places: list[str]
    sizes: list[str]
    trees: int
    graft_method: str | None
    grafted_on: date | None
    phase: str
    counted_from: date | None
    expected: date | None
    earliest: date | None
    latest: date | None
    degree_day_method: str | None
    cutoff: str | None
    lower_c: float | None
    upper_c: float | None
    needed: float | None
    accumulated: float | None
    gap_days: int
    n_years: int
    basis: str | None
    basis_n: int | None
    remarks: list[str]
    as_of: date
    temperature_version: int
    position: int
    computed_at: datetime


class Outlooks:
    """Outlooks already worked out, by site, version of its record, day and way of counting.

    Hold one for as long as the process runs: a record of years is then not read and summed anew
    for every event. At most `most` are kept, those asked for last.
    """

    def __init__(self, most: int = 24) -> None:
        self._kept: OrderedDict[tuple[str, int, date, Thresholds], Outlook] = OrderedDict()
        self._most = most

    async def get(
        self,
        conn: Connection,
        site: str,
        version: int,
        thresholds: Thresholds,
        since: date,
        today: date,
    ) -> Outlook:
        """The outlook of a site's record at a version, reaching back to `since` at least."""
        key = (site, version, today, thresholds)
        kept = self._kept.get(key)
        if kept is None or kept.behind.first > since:
            history = await load_version(conn, site, version)
            kept = outlook(site, history, thresholds, since=since, today=today)
            self._kept[key] = kept
        self._kept.move_to_end(key)
        if len(self._kept) > self._most:
            self._kept.popitem(last=False)
        return kept


async def recompute(
    conn: Connection,
    lots: Sequence[str] | None,
    today: Mapping[str, date],
    *,
    outlooks: Outlooks | None = None,
    computed_at: datetime | None = None,
) -> int:
    """Work out and store the ready dates of lots (None: of all) at the sites that `today` names.

    `today` is each site's calendar day. Runs in a transaction (joins the caller's). Rows of lots
    that have no growing trees left at these sites go. Returns how many rows were written.
    """
    outlooks = outlooks or Outlooks()
    at = computed_at or datetime.now(UTC)
    sites = sorted(today)
    async with conn.transaction():
        await conn.execute(SQL.lock_view)
        position = await conn.fetchval(SQL.head_position)
        clocks = Clocks(position=position, days=dict(today))
        rows = await _rows(conn, outlooks, clocks, lots, sites, at)
        await conn.execute(SQL.clear, lots, sites)
        await conn.execute(SQL.put, rows)
    return len(rows)


async def _rows(
    conn: Connection,
    outlooks: Outlooks,
    clocks: Clocks,
    lots: Sequence[str] | None,
    sites: Sequence[str],
    at: datetime,
    filters: tuple[str | None, str | None] = (None, None),
) -> list[dict[str, Any]]:
    """Rows of lots (None: all) at sites, at the moment of `clocks`; by cultivar, rootstock."""
    moment = (*clocks.legs, clocks.changed.lots, clocks.behind)
    ids = None if lots is None else await lot_ids(conn, list(lots))
    found = await conn.fetch(SQL.lots_growing_on, ids, sites, *moment, *filters)
    versions = {site: await version_known_at(conn, site, clocks.known_until) for site in sites}
    rows = []
    # Lots grafted on one day at a site are often alike.
    alike: dict[tuple[Any, ...], tuple[Any, ...]] = {}
    for each in found:
        key = tuple(each[name] for name in _DECIDING)
        told = alike.get(key)
        if told is None:
            site = each["site"]
            told = await _told_of(conn, outlooks, each, clocks.days[site], versions[site])
            alike[key] = told
        head = tuple(each[name] for name in _AS_FOUND)
        named = zip(
            ReadyDateRow.__struct_fields__, (*head, *told, clocks.known_at, at), strict=True
        )
        rows.append(dict(named))
    return rows


class ReadyDatesView:
    """The same as a view that follows the log; `clock` tells each site's day."""

    name = "ready_dates"
    kind: Literal["per_subject"] = "per_subject"
    follows: tuple[str, ...] = ()
    tables: tuple[Table, ...] = (Table("ready_dates", apart=("computed_at", "position")),)

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._outlooks = Outlooks()

    async def touched(self, conn: Connection, batch: Batch) -> list[str]:
        """The lots that the batch's events may have changed."""
        rows = await conn.fetch(SQL.lots_touched, batch.after, batch.through)
        return [row["code"] for row in rows]

    async def everything(self, conn: Connection) -> list[str]:
        """Every tree lot."""
        return [row["code"] for row in await conn.fetch(SQL.tree_lots)]

    async def recompute(self, conn: Connection, subjects: list[str] | None) -> None:
        """Work out these lots (None: all) anew at every site, as of the sites' own today."""
        now = self._clock()
        today = await site_days(conn, now)
        await recompute(conn, subjects, today, outlooks=self._outlooks, computed_at=now)


async def _told_of(
    conn: Connection, outlooks: Outlooks, each: asyncpg.Record, today: date, version: int
) -> tuple[Any, ...]:
    """What is to be told of a lot at a site, from `phase` to `temperature_version`."""
    facts = LotFacts(
        each["lot"], each["crop"], each["graft_method"], each["grafted_on"], each["pushed_on"]
    )
    requirement = requirement_for(facts.crop, facts.graft_method)
    if requirement is None:
        crop = f"crop {facts.crop}" if facts.crop else "trees of unknown crop"
        why = f"No requirement of degree-days is known for {crop}."
        unknown = (None,) * 9
        phase = "pushed" if each["any_pushed"] else "grafted"
        start = facts.pushed_on or facts.grafted_on
        return (phase, start, *unknown, 0, 0, None, None, [why], today, version)
    since = _since(facts, today)
    seen = await outlooks.get(conn, each["site"], version, requirement.thresholds, since, today)
    got = ready_date(facts, seen, requirement)
    return (*_figures(got, _said_of_history(each, requirement)), today, version)


def _since(facts: LotFacts, today: date) -> date:
    """A year and a half back at least, so that lots one after the other find it kept."""
    days = [day for day in (facts.grafted_on, facts.pushed_on) if day is not None]
    return min([*days, today - timedelta(days=550)])


def _said_of_history(each: asyncpg.Record, requirement: Requirement) -> list[str]:
    said = []
    if each["any_pushed"] and each["pushed_on"] is None and requirement.pushed_to_ready:
        said.append("The trees are booked as pushed, but no count says since when.")
    if each["made_at"] != each["site"]:
        said.append(
            f"Grafted at {each['made_at']}: the days before the trees came are counted by the "
            f"temperatures of {each['site']}."
        )
    return said


def _figures(got: ReadyDate, said: list[str]) -> tuple[Any, ...]:
    return (
        *(got.phase, got.counted_from, got.expected, got.earliest, got.latest),
        *(got.method, got.cutoff, got.lower_c, got.upper_c, got.needed, got.accumulated),
        *(got.gap_days, got.n_years, got.basis, got.basis_n, [*got.remarks, *said]),
    )


class ReadyQuery(msgspec.Struct, frozen=True, kw_only=True):
    """Filters; `ready_from`, `ready_by`: expected between these days, both included. `after`:
    `next_after` of the page before."""

    site: str | None = None
    lot: str | None = None
    cultivar: str | None = None
    rootstock: str | None = None
    size: str | None = None
    ready_from: date | None = None
    ready_by: date | None = None
    asked: Asked = Asked()
    limit: int = 100
    after: list[Any] | None = None


class ReadyPage(msgspec.Struct, frozen=True, kw_only=True):
    """A page of ready dates, soonest first, those that cannot be told last."""

    clocks: Clocks
    rows: list[ReadyDateRow]
    next_after: list[Any] | None


async def ready_dates(
    pool: Pool,
    query: ReadyQuery,
    sites: list[str] | None,
    *,
    clock: Clock,
    outlooks: Outlooks | None = None,
) -> ReadyPage:
    """Ready dates at the sites that may be seen (None: all).

    Raises ValueError for a bad `after`, ClockError for clocks that can't be. Now is answered from
    the view, and reflects what that does; another moment from the log and the temperatures as known
    then, counted to that day.
    """
    day, lot, site = page_key(query.after, (date | None, str, str))  # type: ignore[arg-type]
    key = [None, None, None] if query.after is None else [day or LAST_DAY, lot, site]
    async with asking(pool, sites, query.asked, clock, view=ReadyDatesView.name) as (conn, clocks):
        if clocks.are_now:
            rows = await answer(
                conn,
                sites=_seen(query, sites),
                lot=query.lot,
                cultivar=query.cultivar,
                rootstock=query.rootstock,
                size=query.size,
                ready_from=query.ready_from,
                ready_by=query.ready_by,
                after=(day, lot, site),
                limit=query.limit + 1,
            )
        else:
            kept = outlooks or Outlooks()
            rows = await _page_then(conn, clocks, query, sites, kept, clock(), key)
    rows, more = cut_page(rows, query.limit, lambda row: (row.expected, row.lot, row.site))
    return ReadyPage(clocks=clocks, rows=rows, next_after=more)


async def answer(
    conn: Connection,
    *,
    sites: Sequence[str] | None = None,
    lot: str | None = None,
    cultivar: str | None = None,
    rootstock: str | None = None,
    size: str | None = None,
    ready_from: date | None = None,
    ready_by: date | None = None,
    after: tuple[date | None, str | None, str | None] = (None, None, None),
    limit: int = 100,
) -> list[ReadyDateRow]:
    """A page of the view's rows. `after` is the last row's expected day, lot and site."""
    days = (ready_from, ready_by)
    rows = await conn.fetch(SQL.page, sites, lot, cultivar, rootstock, size, *days, *after, limit)
    return [_told(dict(row)) for row in rows]


def _told(row: Mapping[str, Any]) -> ReadyDateRow:
    """A row as it is answered: what is unknown is null, where the table has empty text."""
    unknown = {name: row[name] or None for name in ("cultivar", "rootstock", "crop")}
    return ReadyDateRow(**{**row, **unknown})


async def _page_then(
    conn: Connection,
    clocks: Clocks,
    query: ReadyQuery,
    sites: list[str] | None,
    outlooks: Outlooks,
    now: datetime,
    key: list[Any],
) -> list[ReadyDateRow]:
    """All that were growing then, worked out anew; a page of them."""
    lots = None if query.lot is None else [query.lot]
    seen = _seen(query, sites)
    where = sorted(clocks.days if seen is None else seen)
    filters = (query.cultivar, query.rootstock)
    found = [
        row
        for row in await _rows(conn, outlooks, clocks, lots, where, now, filters)
        if (query.size is None or query.size in row["sizes"])
        and (query.ready_from is None or (row["expected"] or date.min) >= query.ready_from)
        and (query.ready_by is None or (row["expected"] or LAST_DAY) <= query.ready_by)
    ]
    return [_told(row) for row in page_of(found, _key, key, query.limit + 1)]


def _seen(query: ReadyQuery, sites: list[str] | None) -> list[str] | None:
    if query.site is None:
        return sites
    return [query.site] if sites is None or query.site in sites else []


def _key(row: dict[str, Any]) -> tuple[date, str, str]:
    return row["expected"] or LAST_DAY, row["lot"], row["site"]
