"""Alerts about promises that may not be kept: raised when the risk is past a limit."""

from datetime import datetime
from itertools import product
from typing import NamedTuple

from service.forecast.answers.promise_rows import risk_in_words
from service.forecast.answers.promise_view import ItemNow, PromiseQuery
from service.forecast.answers.promises import Risk, risk
from service.reminders.raising import SHORTFALL_RISK, SQL, Raised, by_watch, keep
from service.storage.pool import Connection
from service.trade.promising import ALL_SITES, PROMISED_AT, level_of


class RiskLimits(NamedTuple):
    """How sure the nursery promises, and the risk of a shortfall past which it is told."""

    confidence: float = PROMISED_AT
    risk: float = 0.2


USUAL = RiskLimits()


async def tell_risks(conn: Connection, limits: RiskLimits, now: datetime) -> int:
    """Have an alert open for each item at a site whose promises are at risk, and for no other.

    An alert of all sites together, seen by those who see them all, is raised where no single site
    falls short. Returns how many were raised.
    """
    wanted = []
    for row in await conn.fetch(SQL.claimed_items, now):
        query = PromiseQuery(
            cultivar=row["cultivar"],
            rootstock=row["rootstock"],
            size=row["size"],
            confidence=limits.confidence,
        )
        item = ItemNow(query, None, now)
        await item.load(conn, every_set=True)
        found = _at_risk(item, limits)
        sites = set(found) - {ALL_SITES} or set(found)
        wanted += [_raised(query, site, found[site], now) for site in sorted(sites)]
    return await keep(conn, SHORTFALL_RISK, wanted, now, "covered")


def _at_risk(item: ItemNow, limits: RiskLimits) -> dict[str, Risk]:
    """The worst risk at each site, and at all together, where it is past the limit."""
    level = level_of(limits.confidence)
    found: dict[str, Risk] = {}
    grades = sorted({"", *(row["grade"] for row in item.claimed)})
    sites = sorted({ALL_SITES, *(row["site"] or ALL_SITES for row in item.claimed)})
    for site, grade in product(sites, grades):
        one = risk([item.stock(grade, site)], level, item.today(site).toordinal())
        if one.probability > limits.risk and one.probability > _of(found, site):
            found[site] = one
    return found


def _of(found: dict[str, Risk], site: str) -> float:
    return found[site].probability if site in found else 0.0


def _raised(query: PromiseQuery, site: str, one: Risk, now: datetime) -> Raised:
    item = "/".join(query.item)
    what = f"{query.cultivar} on {query.rootstock}, {query.size}"
    where = f"at {site}" if site else "over all sites"
    return by_watch(
        SHORTFALL_RISK,
        f"{item}/{site}",
        [site] if site else [],
        f"{what} {where}: {risk_in_words(one)} It is an estimate.",
        now,
        numbers={
            "item": item,
            "probability": one.probability,
            "promised": one.promised,
            "by": str(one.day),
            "short_by": one.short_by,
        },
        subject=item,
    )
