"""What works: take and survival by method, grafter, rootstock, cultivar, month or site."""

from datetime import datetime
from typing import Annotated, Any, Literal, get_args

import msgspec
from msgspec import Meta

from service.forecast.answers.ready_view import NAME, seen
from service.forecast.answers.telling import LIKELY, figure, many
from service.storage.pool import Pool
from service.storage.sql import load
from service.storage.walls import seeing
from service.trade.promising import sure
from service.views.paging import cut_page, page_key
from service.views.positions import position

SQL = load(__package__, "take_rates_view.sql")
Factor = Literal["method", "grafter", "rootstock", "cultivar", "month", "site"]
FACTORS: tuple[str, ...] = get_args(Factor)
Measure = Literal["take", "survival"]
GRAFTER = "grafter"
# Compared over all crops, and sites over all of them.
WITHOUT: dict[str, tuple[str, ...]] = {"grafter": ("crop",), "site": ("crop", "site")}
CAUTION = (
    "Grafters get different wood, rootstocks and days. What is known of these is taken into "
    "account; what is not may explain the rest. Only lots that one person grafted alone count."
)
_NOUN = {"take": "grafts took", "survival": "pushed trees became ready"}
_KEY = ("measure", "site", "crop", "level")


class TakeRateRow(msgspec.Struct, frozen=True, kw_only=True):
    """Take, or survival from push to ready, of one level of a factor.

    `survival` is of pushed trees whose fate is known: dead and culled ones did not become ready.
    `hits` of `n` trees in `lots`. `low` to `high` is Wilson's 95 % interval (1927) of `share`; it
    takes trees for independent, and trees of a lot are not. `adjusted` answers what the share would
    be had all lots that are compared been this level's, with all else as it was; the few borrow
    from the many. It lies within `adjusted_low` to `adjusted_high` with probability 0.8. Shares
    are from 0 to 1. All of it is an estimate.
    """

    measure: Measure
    by: Factor
    level: Annotated[str, Meta(description="Of `by`. A month is that of the grafting: 01 to 12.")]
    crop: Annotated[str | None, Meta(description="Null: over all crops, adjusted for the crop.")]
    site: Annotated[
        str | None,
        Meta(description="Where it was grafted. Null: all sites, for keys that see them all."),
    ]
    words: str
    hits: int
    n: int
    lots: int
    share: float
    low: float
    high: float
    adjusted: float
    adjusted_low: float
    adjusted_high: float
    rank: Annotated[
        int | None,
        Meta(
            description="By `adjusted`, 1 the best; null with fewer than 100 trees, or where no "
            "other level has so many."
        ),
    ]
    caution: str | None
    position: int
    made_at: datetime


class TakeRatesQuery(msgspec.Struct, frozen=True, kw_only=True):
    """`by`: the factor whose levels are compared; the others are filters."""

    by: Factor = "method"
    measure: Measure | None = None
    site: str | None = None
    crop: str | None = None
    limit: int = 100
    after: list[Any] | None = None


class TakeRatesPage(msgspec.Struct, frozen=True, kw_only=True):
    """A page, by measure, site (all together first), crop, level."""

    position: int
    rows: list[TakeRateRow]
    next_after: list[Any] | None


async def take_rates(pool: Pool, query: TakeRatesQuery, sites: list[str] | None) -> TakeRatesPage:
    """Rates at the sites that may be seen (None: all, and all together).

    Raises ValueError for a bad `after`.
    """
    after = page_key(query.after, (str, str, str, str))
    asked = (query.by, query.measure, seen(query.site, sites), query.crop)
    async with seeing(pool, sites, timeout=10) as conn:
        at = await position(conn, NAME)
        found = await conn.fetch(SQL.page, *asked, *after, query.limit + 1)
    page, more = cut_page(list(found), query.limit, lambda row: [row[name] for name in _KEY])
    return TakeRatesPage(position=at, rows=[_told(dict(row)) for row in page], next_after=more)


def _told(row: dict[str, Any]) -> TakeRateRow:
    factor, rank = row.pop("factor"), row.pop("rank")
    told = {**row, "crop": row["crop"] or None, "site": row["site"] or None, "by": factor}
    return TakeRateRow(
        **told,
        words=_words(row),
        share=row["hits"] / row["n"],
        rank=rank or None,
        caution=CAUTION if factor == GRAFTER else None,
    )


def _words(row: dict[str, Any]) -> str:
    names = ("adjusted", "adjusted_low", "adjusted_high")
    middle, low, high = (figure(100 * row[name]) for name in names)
    noun = _NOUN[row["measure"]]
    counted = f"{row['hits']:,} of {row['n']:,} {noun}, in {many(row['lots'], 'lot')}."
    wide = f"{sure(LIKELY)} sure {low} to {high}"
    return f"{counted} With all else equal {middle} in 100: an estimate, {wide}."
