"""The view of ready dates: worked out per tree lot and site, stored, answered in pages.

Recomputed for the lots that events touched, for a site whose temperatures changed, and for all
once a day, since the passing of a day changes what is behind and what is ahead.
"""

from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any, Literal
from zoneinfo import ZoneInfo

import asyncpg
import msgspec

from service.clock import Clock
from service.forecast.ready import LotFacts, ReadyDate, ready_date
from service.forecast.requirements import Requirement, Thresholds, requirement_for
from service.forecast.temperatures import load_version, version_known_at
from service.forecast.weather import Outlook, outlook
from service.storage.pool import Connection
from service.storage.sql import load
from service.views.applying import Batch, Table

SQL = load(__package__, "ready_view.sql")


class ReadyDateRow(msgspec.Struct, frozen=True, kw_only=True):
    """When the trees of a lot at a site are expected to be ready, and what that rests on.

    An estimate. `expected`, `earliest` and `latest` are null where they cannot be told; `remarks`
    say why in words. `needed` and `accumulated` are degree-days (Cd) from `counted_from` to the end
    of the day before `as_of`, by `degree_day_method` with `cutoff` between `lower_c` and `upper_c`
    (degrees Celsius). `basis` and `basis_n` say what the requirement rests on; `n_years` past years
    made the range; `gap_days` were filled. `position` is that of the log, `temperature_version`
    that of the site's record, that the figure reflects. `trees` stand there not yet ready. The
    fields are the table's columns.
    """

    lot: str
    site: str
    cultivar: str
    rootstock: str
    crop: str
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
    """Outlooks already worked out, by site and way of counting; kept while they are still true.

    Hold one for as long as the process runs: a record of years is then not read and summed anew
    for every event.
    """

    def __init__(self) -> None:
        self._kept: dict[tuple[str, Thresholds], tuple[int, Outlook]] = {}

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
        kept = self._kept.get((site, thresholds))
        if (
            kept is not None
            and kept[0] == version
            and kept[1].today == today
            and kept[1].behind.first <= since
        ):
            return kept[1]
        history = await load_version(conn, site, version)
        seen = outlook(site, history, thresholds, since=since, today=today)
        self._kept[site, thresholds] = (version, seen)
        return seen


async def today_by_site(conn: Connection, now: datetime) -> dict[str, date]:
    """The calendar day of every site of the catalogue at a moment."""
    rows = await conn.fetch(SQL.sites_with_zones)
    return {row["code"]: now.astimezone(ZoneInfo(row["time_zone"])).date() for row in rows}


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
        found = await conn.fetch(SQL.lots_growing_on, lots, sites)
        versions = {site: await version_known_at(conn, site) for site in sites}
        rows = [
            await _row(conn, outlooks, each, today[each["site"]], versions[each["site"]])
            + (position, at)
            for each in found
        ]
        await conn.execute(SQL.clear, lots, sites)
        names = ReadyDateRow.__struct_fields__
        await conn.execute(SQL.put, [dict(zip(names, row, strict=True)) for row in rows])
    return len(rows)


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
        today = await today_by_site(conn, now)
        await recompute(conn, subjects, today, outlooks=self._outlooks, computed_at=now)


async def _row(
    conn: Connection, outlooks: Outlooks, each: asyncpg.Record, today: date, version: int
) -> tuple[Any, ...]:
    facts = LotFacts(
        each["lot"], each["crop"], each["graft_method"], each["grafted_on"], each["pushed_on"]
    )
    requirement = requirement_for(facts.crop, facts.graft_method)
    head = (
        *(each["lot"], each["site"], each["cultivar"], each["rootstock"], facts.crop),
        *(each["places"], each["sizes"], each["trees"], facts.graft_method, facts.grafted_on),
    )
    if requirement is None:
        crop = f"crop {facts.crop}" if facts.crop else "trees of unknown crop"
        why = f"No requirement of degree-days is known for {crop}."
        unknown = (None,) * 9
        phase = "pushed" if each["any_pushed"] else "grafted"
        rest = (phase, facts.pushed_on or facts.grafted_on, *unknown, 0, 0, None, None, [why])
        return (*head, *rest, today, version)
    seen = await outlooks.get(
        conn, each["site"], version, requirement.thresholds, _since(facts, today), today
    )
    got = ready_date(facts, seen, requirement)
    return (*head, *_figures(got, _said_of_history(each, requirement)), today, version)


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


async def answer(
    conn: Connection,
    *,
    sites: Sequence[str] | None = None,
    lot: str | None = None,
    cultivar: str | None = None,
    rootstock: str | None = None,
    size: str | None = None,
    ready_by: date | None = None,
    after: tuple[date | None, str, str] | None = None,
    limit: int = 100,
) -> list[ReadyDateRow]:
    """A page of ready dates, soonest first, those that cannot be told last.

    `sites` are those the asker may see (None: all). `after` is the last row's expected day, lot
    and site. Ask for one row more than the page to learn whether there is a next.
    """
    expected, last_lot, last_site = after or (None, None, None)
    rows = await conn.fetch(
        *(SQL.page, sites, lot, cultivar, rootstock, size, ready_by),
        *(expected, last_lot, last_site, limit),
    )
    return [ReadyDateRow(**dict(row)) for row in rows]
