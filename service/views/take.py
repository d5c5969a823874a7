"""Take: how the grafts of each lot were read at unwrapping, and how many became saleable.

Who grafted how many is told too. The take is read per lot: of a lot that several people grafted
nobody can say whose grafts took, so it is attributed to none of them.
"""

from datetime import date
from typing import Annotated, Any, Literal, get_args

import asyncpg
import msgspec
from msgspec import Meta

from service.storage.pool import Connection, Pool
from service.storage.sql import load
from service.storage.walls import seeing
from service.trade.take import take_of, wilson
from service.views.applying import Table
from service.views.paging import cut_page, page_key
from service.views.positions import position
from service.views.tree_lots import TreeLots, facts_of, histories

SQL = load(__package__, "take.sql")
NAME = "take"
Group = Literal[
    "site",
    "cultivar",
    "rootstock",
    "method",
    "season",
    "month",
    "lot",
    "attempt",
    "grafter",
]
GROUPS: tuple[str, ...] = get_args(Group)
GRAFTER = "grafter"


class TakeView(TreeLots):
    """The per-subject view; subjects are tree lots."""

    name: str = NAME
    kind: Literal["per_subject"] = "per_subject"
    follows: tuple[str, ...] = ()
    tables: tuple[Table, ...] = (Table("take"), Table("take_gone"), Table("take_grafters"))

    async def recompute(self, conn: Connection, subjects: list[str]) -> None:
        takes: list[dict[str, Any]] = []
        gone: list[dict[str, Any]] = []
        grafters: list[dict[str, Any]] = []
        for lot, history in await histories(conn, subjects):
            found = take_of(lot["code"], history)
            if not found.grafted:
                continue
            known = {"lot": lot["code"], "site": lot["site"]}
            counts = msgspec.structs.asdict(found) | {"gone": sum(found.gone.values())}
            takes.append(facts_of(lot) | known | counts)
            gone += [known | {"reason": w, "trees": n} for w, n in found.gone.items()]
            grafters += [
                known | {"grafter": who, "grafted": n, "alone": found.alone}
                for who, n in found.grafters.items()
            ]
        await conn.execute(SQL.forget, subjects)
        await conn.execute(SQL.forget_gone, subjects)
        await conn.execute(SQL.forget_grafters, subjects)
        if takes:
            await conn.execute(SQL.put, takes)
        if gone:
            await conn.execute(SQL.put_gone, gone)
        if grafters:
            await conn.execute(SQL.put_grafters, grafters)


class TakeQuery(msgspec.Struct, frozen=True, kw_only=True):
    """What to group by and keep. `grafted_from` and `grafted_to`: days of grafting, both included.

    `after`: `next_after` of the page before.
    """

    group_by: tuple[str, ...] = ("site",)
    site: str | None = None
    cultivar: str | None = None
    rootstock: str | None = None
    method: str | None = None
    lot: str | None = None
    attempt: int | None = None
    grafter: str | None = None
    grafted_from: date | None = None
    grafted_to: date | None = None
    limit: int = 100
    after: list[Any] | None = None


class Share(msgspec.Struct, frozen=True, kw_only=True):
    """`hits` of `n`, as a share from 0 to 1, with Wilson's 95 % interval (1927).

    The interval takes trees for independent; trees of one lot share their luck, so over few lots
    the truth may lie further off. `share`, `low` and `high` are null when `n` is 0.
    """

    hits: int
    n: int
    share: float | None
    low: float | None
    high: float | None


class TakeRow(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One group, all numbers in trees. Parts that were not grouped by are left out.

    grafted = read + not_read + all in `gone_before_reading`.
    """

    lots: int
    grafted: Annotated[int, Meta(description="All grafts, whatever became of them.")]
    opened: Annotated[
        int,
        Meta(
            description="Of `grafted`: those that stood as grafts, pushed or not, when the books "
            "were opened, or were bought in so. What was lost of them before is not known."
        ),
    ]
    take: Annotated[
        Share, Meta(description="Alive of those read at unwrapping. A push is not yet a take.")
    ]
    not_read: Annotated[int, Meta(description="Still there, their take not read yet.")]
    not_read_pushed: Annotated[
        int, Meta(description="Of `not_read`: pushed, by a push count, before anybody read them.")
    ]
    not_read_failed: Annotated[
        int, Meta(description="Of `not_read`: scion found dead by a push count.")
    ]
    gone_before_reading: Annotated[
        dict[str, int],
        Meta(
            description="Went before their take was read: by cause of loss, or `sold`, "
            "`regrafted`, `grafted_onto` (as a stock), `label_lost`, `not_found` (by a count)."
        ),
    ]
    saleable: Annotated[
        Share,
        Meta(description="Those that reached `ready` of all grafted. Compare `growing`."),
    ]
    growing: Annotated[
        int, Meta(description="Alive and not ready yet: `saleable` may still rise by so many.")
    ]
    site: Annotated[str | None, Meta(description="Where it was grafted.")] = None
    cultivar: str | None = None
    rootstock: str | None = None
    method: str | None = None
    season: Annotated[
        str | None,
        Meta(
            description="Of grafting, by the months at the site's half of the earth: spring is "
            "March to May in the north. The season over New Year has the year of its end.",
            examples=["2026-spring"],
        ),
    ] = None
    month: Annotated[str | None, Meta(examples=["2026-03"])] = None
    lot: str | None = None
    attempt: Annotated[
        int | None, Meta(description="1 for the first grafting, 2 for a regraft of failed trees …")
    ] = None
    grafter: Annotated[
        str | None,
        Meta(description="All counts are of lots that this person grafted alone. Null: not told."),
    ] = None
    shared_lots: Annotated[
        int | None,
        Meta(description="By grafter: lots that this person grafted together with others."),
    ] = None
    shared_grafted: Annotated[
        int | None,
        Meta(
            description="This person's grafts in them. Their take was read for the whole lot and "
            "is attributed to nobody: none of the other counts holds them."
        ),
    ] = None


class TakePage(msgspec.Struct, frozen=True, kw_only=True):
    """A page in order of the groups. Reflects the log up to `position`."""

    position: int
    rows: list[TakeRow]
    next_after: list[Any] | None


async def take(pool: Pool, query: TakeQuery, sites: list[str] | None) -> TakePage:
    """Take by groups, of grafts made at the sites that may be seen (None: all).

    Raises ValueError for a bad `after`.
    """
    key = page_key(query.after, (str,) * len(GROUPS))
    by_grafter = GRAFTER in query.group_by or query.grafter is not None
    async with seeing(pool, sites) as conn:
        reached = await position(conn, NAME)
        records = await conn.fetch(
            SQL.page,
            list(query.group_by),
            by_grafter,
            sites,
            query.site,
            query.cultivar,
            query.rootstock,
            query.method,
            query.lot,
            query.attempt,
            query.grafter,
            query.grafted_from,
            query.grafted_to,
            None if query.after is None else key,
            query.limit + 1,
        )
    records, more = cut_page(records, query.limit, lambda row: row["key"])
    rows = [_row(record, query.group_by, by_grafter) for record in records]
    return TakePage(position=reached, rows=rows, next_after=more)


def _row(record: asyncpg.Record, groups: tuple[str, ...], by_grafter: bool) -> TakeRow:
    named: dict[str, Any] = {
        name: value or None for name, value in zip(GROUPS, record["key"], strict=True)
    }
    named = {name: value for name, value in named.items() if name in groups}
    if named.get("attempt") is not None:
        named["attempt"] = int(named["attempt"])
    return TakeRow(
        lots=record["lots"],
        grafted=record["grafted"],
        opened=record["opened"],
        take=share(record["alive"], record["alive"] + record["failed"]),
        not_read=record["not_read"],
        not_read_pushed=record["not_read_pushed"],
        not_read_failed=record["not_read_failed"],
        gone_before_reading=record["gone"] or {},
        saleable=share(record["ready"], record["grafted"]),
        growing=record["growing"],
        shared_lots=record["shared_lots"] if by_grafter else None,
        shared_grafted=record["shared_grafted"] if by_grafter else None,
        **named,
    )


def share(hits: int, n: int) -> Share:
    """A proportion with its interval; nulls when there is nothing to divide by."""
    interval = wilson(hits, n)
    low, high = interval or (None, None)
    return Share(hits=hits, n=n, share=hits / n if n else None, low=low, high=high)
