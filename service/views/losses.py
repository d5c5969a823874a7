"""Losses: how many plants (and buds) were lost, of what cause, at which stage, when.

Culled is a choice and no death: the two are told apart in every row.
"""

from datetime import date
from typing import Annotated, Any, Literal, get_args

import asyncpg
import msgspec
from msgspec import Meta

from service.storage.pool import Connection, Pool
from service.storage.sql import load
from service.storage.walls import seeing
from service.views.applying import ByCode, Table
from service.views.paging import cut_page, page_key
from service.views.positions import position

SQL = load(__package__, "losses.sql")
NAME = "losses"
Group = Literal["site", "cultivar", "rootstock", "stage", "cause", "year", "month", "day", "lot"]
GROUPS: tuple[str, ...] = get_args(Group)
Stage = Literal["budwood", "liners", "grafted", "pushed", "failed", "ready", "not_told"]


class Losses(ByCode):
    """The per-subject view; subjects are lots of any kind."""

    name: str = NAME
    kind: Literal["per_subject"] = "per_subject"
    follows: tuple[str, ...] = ()
    tables: tuple[Table, ...] = (Table("losses"),)
    finding = SQL

    async def recompute(self, conn: Connection, subjects: list[str]) -> None:
        await conn.execute(SQL.forget, subjects)
        await conn.execute(SQL.fill, subjects)


class LossesQuery(msgspec.Struct, frozen=True, kw_only=True):
    """What to group by and keep; `first` and `last` day of the losses, both included.

    `after`: `next_after` of the page before.
    """

    group_by: tuple[str, ...] = ("cause",)
    site: str | None = None
    cultivar: str | None = None
    rootstock: str | None = None
    lot: str | None = None
    stage: Stage | None = None
    cause: str | None = None
    first: date | None = None
    last: date | None = None
    limit: int = 100
    after: list[Any] | None = None


class LossRow(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One group: how many of `commodity` were lost. Parts that were not grouped by are left out."""

    commodity: Annotated[
        Literal["plants", "buds"], Meta(description="Plants and buds never add up.")
    ]
    dead: Annotated[int, Meta(description="Plants that died.")]
    culled: Annotated[int, Meta(description="Plants thrown away by choice: no deaths.")]
    discarded: Annotated[int, Meta(description="Buds that dried, spoilt or were thrown away.")]
    site: str | None = None
    cultivar: Annotated[str | None, Meta(description="Null for liners.")] = None
    rootstock: Annotated[str | None, Meta(description="Null for budwood.")] = None
    stage: Annotated[
        str | None,
        Meta(
            description="Of trees, else `liners` or `budwood`; `not_told` for what was taken away "
            "at a push count."
        ),
    ] = None
    cause: str | None = None
    year: Annotated[str | None, Meta(examples=["2026"])] = None
    month: Annotated[str | None, Meta(examples=["2026-03"])] = None
    day: Annotated[str | None, Meta(description="By the site's calendar.")] = None
    lot: str | None = None


class LossesPage(msgspec.Struct, frozen=True, kw_only=True):
    """A page in order of the groups. Reflects the log up to `position`."""

    position: int
    rows: list[LossRow]
    next_after: list[Any] | None


async def losses(pool: Pool, query: LossesQuery, sites: list[str] | None) -> LossesPage:
    """Losses by groups at the sites that may be seen (None: all). ValueError for a bad `after`."""
    key = page_key(query.after, (str,) * (len(GROUPS) + 1))
    async with seeing(pool, sites) as conn:
        reached = await position(conn, NAME)
        records = await conn.fetch(
            SQL.page,
            list(query.group_by),
            sites,
            query.site,
            query.cultivar,
            query.rootstock,
            query.lot,
            query.stage,
            query.cause,
            query.first,
            query.last,
            None if query.after is None else key,
            query.limit + 1,
        )
    records, more = cut_page(records, query.limit, lambda row: row["key"])
    rows = [_row(record, query.group_by) for record in records]
    return LossesPage(position=reached, rows=rows, next_after=more)


def _row(record: asyncpg.Record, groups: tuple[str, ...]) -> LossRow:
    *parts, commodity = record["key"]
    named = dict(zip(GROUPS, parts, strict=True))
    return LossRow(
        commodity=commodity,
        dead=record["dead"],
        culled=record["culled"],
        discarded=record["discarded"],
        **{name: value or None for name, value in named.items() if name in groups},
    )
