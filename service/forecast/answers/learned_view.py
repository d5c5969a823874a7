"""What the nursery's own counts taught of each crop, with what it rests on."""

from datetime import datetime
from typing import Any, Literal

import msgspec

from service.forecast.answers.ready_view import NAME
from service.forecast.answers.telling import learned_in_words, rests_on
from service.storage.pool import Pool
from service.storage.sql import load
from service.storage.walls import seeing
from service.views.paging import cut_page, page_key
from service.views.positions import position

SQL = load(__package__, "learned_view.sql")
What = Literal["push", "push_from_forcing", "ready", "take", "never_pushes", "survival", "unfit"]


class LearnedRow(msgspec.Struct, frozen=True, kw_only=True):
    """One thing learned of a crop: an estimate, how wide it is, and what it rests on.

    `push`, `push_from_forcing` and `ready` are degree-days (Cd) of the middle tree of a lot from
    grafting, from forcing and from the lot's middle push; the others are shares from 0 to 1: `take`
    of all grafts, `never_pushes` of those that took, `survival` (not dead) from push to ready,
    `unfit` of those that live. `low` to `high` holds the true `middle` with probability 0.8; a
    single lot lies within `lot_low` to `lot_high` with 0.8 (of `never_pushes` and `unfit` it is not
    known how lots differ: both are alike). `spread`: of the trees of one lot, the standard
    deviation of the logarithm (times) or the correlation within a lot (shares). `method`, `site`
    null: all. Sites that count degree-days in another way are learned of apart: `counting`.
    `trees` in `lots` were counted; `fallback` says from whom it borrows, null where they carry it.
    """

    crop: str
    what: str
    method: str | None
    site: str | None
    words: str
    middle: float
    low: float
    high: float
    lot_low: float
    lot_high: float
    spread: float
    family: str | None
    counting: str
    trees: int
    lots: int
    fallback: str | None
    position: int
    made_at: datetime


class LearnedQuery(msgspec.Struct, frozen=True, kw_only=True):
    """Filters."""

    crop: str | None = None
    what: str | None = None
    method: str | None = None
    site: str | None = None
    limit: int = 100
    after: list[Any] | None = None


class LearnedPage(msgspec.Struct, frozen=True, kw_only=True):
    """A page, by crop, what, method, site, counting."""

    position: int
    rows: list[LearnedRow]
    next_after: list[Any] | None


async def learned(pool: Pool, query: LearnedQuery, sites: list[str] | None) -> LearnedPage:
    """What was learned, at the sites that may be seen (None: all) and over all together.

    Raises ValueError for a bad `after`.
    """
    after = page_key(query.after, (str, str, str, str, str))
    asked = (query.crop, query.what, query.method, query.site)
    async with seeing(pool, sites, timeout=10) as conn:
        at = await position(conn, NAME)
        found = await conn.fetch(SQL.page, sites, *asked, *after, query.limit + 1)
    page, more = cut_page(list(found), query.limit, lambda row: [row[name] for name in _KEY])
    return LearnedPage(position=at, rows=[_told(dict(row)) for row in page], next_after=more)


_KEY = ("crop", "what", "method", "site", "counting")
_RANGE = ("what", "middle", "low", "high", "lot_low", "lot_high")


def _told(row: dict[str, Any]) -> LearnedRow:
    said = [learned_in_words(*(row[name] for name in _RANGE)), rests_on(row["trees"], row["lots"])]
    unknown = {name: row[name] or None for name in (*_KEY[2:], "family", "fallback")}
    return LearnedRow(**{**row, **unknown}, words=" ".join(said))
