"""Push observations: for each graft, between which days it pushed, or since when it is waited for.

Input for a fit of the time to push: interval-censored (`after_day`, `by_day`), left-censored where
`after_day` is null, right-censored where `by_day` is null.
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
from service.trade.lot_walk import Told
from service.trade.push import Observation, Outcome, observations
from service.views.applying import Table
from service.views.paging import cut_page, page_key
from service.views.positions import position
from service.views.tree_lots import RowsOfLots

SQL = load(__package__, "push.sql")
NAME = "push_observations"


class PushObservations(RowsOfLots):
    """The per-subject view; subjects are tree lots."""

    name: str = NAME
    tables: tuple[Table, ...] = (Table("push_observations"),)
    stored = SQL

    def observed(self, lot: asyncpg.Record, history: list[Told]) -> Sequence[Observation]:
        return observations(lot["code"], history, lot["day"])


class PushQuery(msgspec.Struct, frozen=True, kw_only=True):
    """Filters. `grafted_from` and `grafted_to`: days of grafting, both included.

    `after`: `next_after` of the page before.
    """

    site: str | None = None
    place: str | None = None
    lot: str | None = None
    cultivar: str | None = None
    rootstock: str | None = None
    method: str | None = None
    outcome: Outcome | None = None
    grafted_from: date | None = None
    grafted_to: date | None = None
    limit: int = 100
    after: list[Any] | None = None


class PushRow(msgspec.Struct, frozen=True, kw_only=True):
    """So many trees of a lot that went the same way between the same days at one place.

    Days are calendar days of the site, numbers of days whole days from the day of grafting: summer
    time changes neither. A tree of outcome `pushed` did so after the end of `after_day` and by the
    end of `by_day`.
    """

    lot: str
    site: str
    place: Annotated[str, Meta(description="Where they waited; the consignment while on the way.")]
    crop: str | None
    cultivar: str | None
    rootstock: str | None
    method: str | None
    attempt: int
    grafted_on: date | None
    outcome: Annotated[
        Outcome,
        Meta(
            description="`pushed`: interval-censored. `waiting`: not pushed at the end of "
            "`after_day` (right-censored). `failed` (scion dead), `lost`: found so on `by_day` "
            "before any push. `gone`: left unpushed (right-censored)."
        ),
    ]
    cause: Annotated[
        str | None,
        Meta(
            description="Of `lost`: the cause. Of `gone`: sold, regrafted, grafted_onto, "
            "label_lost, not_found."
        ),
    ]
    after_day: Annotated[
        date | None,
        Meta(
            description="Last day on which they were counted as not pushed, else the day of "
            "grafting. Null where neither is known (left-censored)."
        ),
    ]
    by_day: Annotated[date | None, Meta(description="Day on which the outcome was seen.")]
    seen_before: Annotated[
        bool,
        Meta(description="False: nobody counted them before, so they may have pushed long ago."),
    ]
    after_days: Annotated[
        int | None, Meta(description="`after_day` in days from grafting.", examples=[14])
    ]
    by_days: Annotated[
        int | None, Meta(description="`by_day` in days from grafting.", examples=[21])
    ]
    trees: int


class PushPage(msgspec.Struct, frozen=True, kw_only=True):
    """A page in order of lot, the oldest outcomes first. Reflects the log up to `position`."""

    position: int
    rows: list[PushRow]
    next_after: list[Any] | None


async def push_observations(pool: Pool, query: PushQuery, sites: list[str] | None) -> PushPage:
    """Observations at the sites that may be seen (None: all). Raises ValueError for a bad `after`.

    Over all pages the trees of a lot sum to all that were grafted of it.
    """
    key = page_key(query.after, (str, int))
    async with seeing(pool, sites) as conn:
        reached = await position(conn, NAME)
        records = await conn.fetch(
            SQL.page,
            sites,
            query.site,
            query.place,
            query.lot,
            query.cultivar,
            query.rootstock,
            query.method,
            query.outcome,
            query.grafted_from,
            query.grafted_to,
            *key,
            query.limit + 1,
        )
    records, more = cut_page(records, query.limit, lambda row: (row["lot"], row["number"]))
    rows = [
        PushRow(**{name: record[name] for name in PushRow.__struct_fields__}) for record in records
    ]
    return PushPage(position=reached, rows=rows, next_after=more)
