"""How the degree-days of each crop are counted: by the nursery's own rule, else as we came with."""

from datetime import datetime

import msgspec

from service.forecast.degree_days import Cutoff, Method
from service.forecast.requirements import REQUIREMENTS, Thresholds
from service.storage.pool import Connection
from service.storage.sql import load
from service.storage.walls import past_the_wall
from service.trade.events.catalogue import Rule

SQL = load(__package__, "ways.sql")


async def own_rules(conn: Connection, known_until: datetime | None = None) -> dict[str, Rule]:
    """The nursery's rules of counting known by a moment (None: now), by crop."""
    # A rule is the nursery's, whichever site told it: the answer is the same for all.
    async with past_the_wall(conn):
        rows = await conn.fetch(SQL.rules, known_until)
    rules = [msgspec.convert(row["entry"], Rule) for row in rows]
    return {rule.degree_days.crop: rule for rule in rules if rule.degree_days is not None}


def thresholds_of(rule: Rule) -> Thresholds:
    """The way of counting that a rule states."""
    told = rule.degree_days
    assert told is not None
    return Thresholds(told.lower_c, told.upper_c, Method(told.method), Cutoff(told.cutoff))


async def ways(conn: Connection, known_until: datetime | None = None) -> dict[str, Thresholds]:
    """How each crop's degree-days are counted by minimum and maximum, as known by a moment."""
    own = await own_rules(conn, known_until)
    return {
        **{one.crop: one.thresholds for one in REQUIREMENTS.values()},
        **{crop: thresholds_of(rule) for crop, rule in own.items()},
    }


async def crops_grown(conn: Connection) -> list[str]:
    """The crops that the catalogue's cultivars are of."""
    return [row["crop"] for row in await conn.fetch(SQL.crops)]
