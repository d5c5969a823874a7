"""What became of pushed trees: between which gradings they became ready, or what took them before.

Input for a fit of the time from push to ready, and of survival: interval-censored (`after_day`,
`by_day`) for `ready`, right-censored at `after_day` for all that ended otherwise or still grow.
"""

from collections.abc import Sequence
from datetime import date
from typing import Annotated, Any

import asyncpg
import msgspec
from msgspec import Meta

from service.storage.pool import Pool
from service.storage.sql import load
from service.storage.walls import seeing
from service.trade.growth import Growth, Outcome, growths
from service.trade.lot_walk import Told
from service.views.applying import Table
from service.views.paging import cut_page, page_key
from service.views.positions import position
from service.views.tree_lots import RowsOfLots

SQL = load(__package__, "growth.sql")
NAME = "growth"


class Growing(RowsOfLots):
    """The per-subject view; subjects are tree lots."""

    name: str = NAME
    tables: tuple[Table, ...] = (Table("growth"),)
    stored = SQL

    def observed(self, lot: asyncpg.Record, history: list[Told]) -> Sequence[Growth]:
        return growths(lot["code"], history)


class GrowthQuery(msgspec.Struct, frozen=True, kw_only=True):
    """Filters. `grafted_from` and `grafted_to`: days of grafting, both included.

    `after`: `next_after` of the page before.
    """

    site: str | None = None
    lot: str | None = None
    cultivar: str | None = None
    rootstock: str | None = None
    method: str | None = None
    outcome: Outcome | None = None
    size: str | None = None
    grade: str | None = None
    grafted_from: date | None = None
    grafted_to: date | None = None
    limit: int = 100
    after: list[Any] | None = None


class GrowthRow(msgspec.Struct, frozen=True, kw_only=True):
    """So many pushed trees of a lot that went the same way between the same days.

    Every pushed tree is in one row of the first five outcomes; `ready_dead` and `ready_gone` say
    of trees that are in a row `ready` what became of them later. Days are calendar days of the
    site.
    """

    lot: str
    site: Annotated[str, Meta(description="Where they ended, or stand.")]
    crop: str | None
    cultivar: str | None
    rootstock: str | None
    method: str | None
    attempt: int
    grafted_on: date | None
    outcome: Annotated[
        Outcome,
        Meta(
            description="`ready`: graded so on `by_day`, not ready on `after_day` "
            "(interval-censored). `growing`: not ready on `after_day` (right-censored). `dead`, "
            "`culled`, `gone`: left on `by_day` before they were ready. `ready_dead` (culled too), "
            "`ready_gone`: graded ready on `after_day`, left on `by_day`."
        ),
    ]
    cause: Annotated[
        str | None,
        Meta(
            description="Of `dead`, `culled`, `ready_dead`: the cause of loss, null where the "
            "scion died and the stock still stands. Of `gone`, `ready_gone`: sold, regrafted, "
            "grafted_onto, label_lost, not_found."
        ),
    ]
    after_day: Annotated[
        date | None,
        Meta(
            description="The last day on which a grading left them among the pushed; null where "
            "none had. A push count is no look at whether they are fit for sale."
        ),
    ]
    by_day: Annotated[date | None, Meta(description="Day on which the outcome was seen.")]
    started: Annotated[str, Meta(description="The size they pushed in.", examples=["P9"])]
    size: Annotated[str, Meta(description="The size as they ended, or stand.", examples=["P4"])]
    grade: Annotated[str | None, Meta(description="The grade that they were given first.")]
    trees: int


class GrowthPage(msgspec.Struct, frozen=True, kw_only=True):
    """A page in order of lot, the oldest outcomes first. Reflects the log up to `position`."""

    position: int
    rows: list[GrowthRow]
    next_after: list[Any] | None


async def growth(pool: Pool, query: GrowthQuery, sites: list[str] | None) -> GrowthPage:
    """Rows at the sites that may be seen (None: all). Raises ValueError for a bad `after`."""
    key = page_key(query.after, (str, int))
    async with seeing(pool, sites) as conn:
        reached = await position(conn, NAME)
        records = await conn.fetch(
            SQL.page,
            sites,
            query.site,
            query.lot,
            query.cultivar,
            query.rootstock,
            query.method,
            query.outcome,
            query.size,
            query.grade,
            query.grafted_from,
            query.grafted_to,
            *key,
            query.limit + 1,
        )
    records, more = cut_page(records, query.limit, lambda row: (row["lot"], row["number"]))
    rows = [
        GrowthRow(
            **{name: record[name] for name in GrowthRow.__struct_fields__ if name != "grade"},
            grade=record["grade"] or None,
        )
        for record in records
    ]
    return GrowthPage(position=reached, rows=rows, next_after=more)
