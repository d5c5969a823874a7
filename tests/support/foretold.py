"""Puts a forecast into its tables as the refresh does: answers can be tested without one."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any

from service.trade.promising import ALL_SITES, LEVELS, STEPS

MADE_AT = datetime(2026, 6, 30, 5, tzinfo=UTC)
# Nine quantities more than the one a step is told by: surer is fewer.
FEWER = (0, 2, 4, 5, 6, 7, 8, 10, 12, 14)


def spread(middle: int) -> list[int]:
    """Quantities of one day at all levels around the one that is as likely as not."""
    return [max(0, middle - fewer) for fewer in FEWER]


async def tell_supply(
    pool: Any,
    item: tuple[str, str, str],
    site: str,
    first: date,
    middles: Sequence[int],
    *,
    grade: str = "",
    certain: bool = False,
    position: int = 0,
) -> None:
    """The supply of an item (cultivar, rootstock, size) at a site: `middles` by each day told.

    The last one holds to the end. `certain`: as many at each level.
    """
    days = [*middles, *[middles[-1]] * (STEPS - len(middles))]
    flat = [q for middle in days for q in ([middle] * len(LEVELS) if certain else spread(middle))]
    await pool.execute(
        "INSERT INTO supply (cultivar, rootstock, size, grade, site, first, step_days, levels, "
        "quantities, mean, trees, went_out, position, made_at) "
        "SELECT $1, $2, $3, $4, $5, $6, 7, $7, $8, $9, $10, coalesce((SELECT sum(total) "
        "FROM item_out o WHERE (o.cultivar, o.rootstock, o.size) = ($1, $2, $3) "
        "AND $4 IN ('', o.grade) AND $5 IN ('', o.site)), 0), $11, $12",
        *(*item, grade, site, first, list(LEVELS), flat, [float(one) for one in days]),
        *(max(middles), position, MADE_AT),
    )


async def tell_supplies(
    pool: Any, item: tuple[str, str, str], first: date, by_site: dict[str, Sequence[int]]
) -> None:
    """The same for several sites, and all together as their sum (drawn as if they went as one)."""
    for site, middles in by_site.items():
        await tell_supply(pool, item, site, first, middles)
    together = [sum(each) for each in zip(*by_site.values(), strict=True)]
    await tell_supply(pool, item, ALL_SITES, first, together)


async def tell_lead_times(
    pool: Any,
    site: str,
    crop: str,
    method: str,
    first: date,
    days: Sequence[int | None],
    *,
    mean: float = 0.8,
    correlation: float = 0.03,
    fallback: str = "",
) -> None:
    """Lead times of grafts on `first` and each seventh day after it, until nine in ten are ready.

    A surer one takes a day more for each level.
    """
    levels = range(len(LEVELS))
    for week, told in enumerate(days):
        nearly = [None if told is None else told + n for n in levels]
        await pool.execute(
            "INSERT INTO lead_times (site, crop, method, grafted_on, days, nearly, levels, take, "
            "push, survival, fit, mean, correlation, lots, fallback, position, made_at) "
            "VALUES ($1, $2, $3, $4, $5, $5, $6, 0.9, 0.95, 0.95, 0.985, $7, $8, 12, $9, 0, $10)",
            *(site, crop, method, first + timedelta(days=7 * week), nearly, list(LEVELS)),
            *(mean, correlation, fallback, MADE_AT),
        )
