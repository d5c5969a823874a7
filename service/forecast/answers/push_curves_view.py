"""How pushes come with the heat: what the counts alone say, and what was fitted to them."""

from collections.abc import Sequence
from datetime import datetime
from itertools import zip_longest
from typing import Any, Literal

import msgspec

from service.forecast.answers.ready_view import NAME
from service.forecast.answers.telling import figure, many
from service.storage.pool import Pool
from service.storage.sql import load
from service.storage.walls import seeing
from service.views.paging import cut_page, page_key
from service.views.positions import position

SQL = load(__package__, "push_curves_view.sql")
Since = Literal["grafting", "forcing"]
_KEY = ("crop", "method", "since", "counting")


class PushCurvePoint(msgspec.Struct, frozen=True, kw_only=True):
    """By `degree_days` (Cd) a `share` of the grafts had pushed as counted, `fitted` as fitted."""

    degree_days: float
    share: float
    fitted: float | None


class PushCurveRow(msgspec.Struct, frozen=True, kw_only=True):
    """How the share of grafts that have pushed rises with the heat: an estimate.

    `points`: of the non-parametric estimate of Turnbull (1976), which assumes no form. A count
    tells only that trees pushed since the one before, so the share is known at these degree-days,
    and between two of them it is not known where it rises; it ends where hardly any were still
    watched. `fitted` is what the forecast goes by, null where nothing was fitted to this clock:
    where the two part, trust the counts. Degree-days are counted `since` the grafting (or the end
    of the rest of buds set in summer) or the forcing, as `counting` says. Of `trees` in `lots` so
    many are known to have `pushed`. So many `failed` or were `lost` first: they count as not pushed
    while they were seen, and are in `trees` where somebody saw them waiting. Shares are from 0 to
    1. Over all sites that count so.
    """

    crop: str
    method: str
    since: Since
    words: str
    counting: str
    points: list[PushCurvePoint]
    trees: int
    lots: int
    pushed: int
    failed: int
    lost: int
    position: int
    made_at: datetime


class PushCurvesQuery(msgspec.Struct, frozen=True, kw_only=True):
    """Filters."""

    crop: str | None = None
    method: str | None = None
    since: Since | None = None
    limit: int = 100
    after: list[Any] | None = None


class PushCurvesPage(msgspec.Struct, frozen=True, kw_only=True):
    """A page, by crop, method, since, counting."""

    position: int
    rows: list[PushCurveRow]
    next_after: list[Any] | None


async def push_curves(
    pool: Pool, query: PushCurvesQuery, sites: list[str] | None
) -> PushCurvesPage:
    """Curves over all sites, for who may see any (`sites`; None: all).

    Raises ValueError for a bad `after`.
    """
    after = page_key(query.after, (str, str, str, str))
    asked = (query.crop, query.method, query.since)
    async with seeing(pool, sites, timeout=10) as conn:
        at = await position(conn, NAME)
        found = await conn.fetch(SQL.page, *asked, *after, query.limit + 1)
    page, more = cut_page(list(found), query.limit, lambda row: [row[name] for name in _KEY])
    return PushCurvesPage(position=at, rows=[_told(dict(row)) for row in page], next_after=more)


def _told(row: dict[str, Any]) -> PushCurveRow:
    words = _words(row)
    columns = (row.pop("degree_days"), row.pop("share"), row.pop("fitted"))
    points = [
        PushCurvePoint(degree_days=heat, share=share, fitted=fitted)
        for heat, share, fitted in zip_longest(*columns)
    ]
    return PushCurveRow(**row, points=points, words=words)


def _words(row: dict[str, Any]) -> str:
    heat, share = row["degree_days"], row["share"]
    half = next((at for at, so_far in zip(heat, share, strict=True) if so_far >= 0.5), None)
    most = f"{figure(100 * share[-1])} in 100 by {figure(heat[-1])} Cd after {row['since']}"
    said = f"half of the grafts had pushed by {figure(half)} Cd, " if half else ""
    died = row["failed"] + row["lost"]
    counted = f"Counted on {many(row['trees'], 'tree')} in {many(row['lots'], 'lot')}"
    pushed = f"{row['pushed']:,} of them had pushed when last seen"
    before = f" Others, {died:,} in all, failed or were lost first." if died else ""
    end = f"{_apart(share, row['fitted'])} {counted}; {pushed}.{before}"
    return f"An estimate: {said or 'not half of the grafts had pushed, '}{most}.{end}"


def _apart(share: Sequence[float], fitted: Sequence[float]) -> str:
    """How well the fit tells what was counted; nothing where there is none."""
    if not fitted:
        return ""
    worst = max(abs(a - b) for a, b in zip(share, fitted, strict=True))
    return f" The fit is off by {figure(100 * worst)} in 100 at most."
