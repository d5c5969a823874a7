"""What was known at the end of a past day: for forecasts made as if on that day, and scored.

The whole log of tree lots is loaded once; each past day is then a walk over what it changed. Both
clocks hold: what had happened and been recorded by then, with voids, temperatures and holds as they
were known. Three things are as known now: what a lot is (cultivar, rootstock, method), which crop a
cultivar is of, and where trees stand apart that came back.
"""

from collections import defaultdict
from collections.abc import Mapping
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from service.forecast.observed import Fact, LotStory, Observed, Said
from service.forecast.records.site_weather import site_weather
from service.forecast.records.ways import ways as stated_ways
from service.forecast.requirements import Thresholds
from service.forecast.shapes import Known
from service.log.loading import load_holds
from service.storage.pool import Connection
from service.storage.sql import load
from service.trade.lot_walk import TYPES
from service.views import clocks, site_days, tree_lots
from service.views.holding import places_apart

SQL = load(__package__, "replay.sql")
# The history of lots as the views have it, with what was voided since.
_UNVOIDED = "  AND NOT EXISTS (SELECT FROM voids v WHERE v.voided_position = e.position)\n"
_HISTORY = tree_lots.SQL.history.replace(_UNVOIDED, "").replace(
    "SELECT s.code AS lot,", "SELECT s.code AS lot, e.position,"
)


class Replay:
    """The log of tree lots in memory, to be asked what was known on past days.

    Ask days in their order: then each costs what changed since the one before.
    """

    def __init__(self, observed: Observed, zones: Mapping[str, ZoneInfo]) -> None:
        self._observed, self._zones = observed, zones

    @classmethod
    async def load(cls, conn: Connection) -> "Replay":
        """All of the log up to now. The connection sees every site."""
        voids = {row["voided_position"]: row["by_position"] for row in await conn.fetch(SQL.voids)}
        forced: dict[str, list[Fact]] = defaultdict(list)
        for row in await conn.fetch(SQL.forced):
            forced[row["lot"]].append(Fact(row["position"], row["voided_by"], row["day"]))
        lots = await conn.fetch(SQL.lots)
        said: dict[str, list[Said]] = defaultdict(list)
        for row in await conn.fetch(_HISTORY, [lot["code"] for lot in lots], list(TYPES)):
            position = row["position"]
            fact = Fact(position, voids.get(position), row["occurred_day"])
            said[row["lot"]].append(Said(fact, tree_lots.event_of(row)))
        stories = []
        for lot in lots:
            facts = dict(lot)
            stocks = [token.removeprefix("lot:") for token in facts.pop("parents")]
            of_stocks = [one for code in stocks for one in forced[code] if _before(one, lot["day"])]
            facts["ancestry"] = frozenset(facts["ancestry"])
            tops = forced[lot["code"]] + of_stocks
            stories.append(LotStory(**facts, said=said[lot["code"]], forced=tops))
        holds = await load_holds(conn)
        zones = await conn.fetch(site_days.SQL.zones)
        return cls(
            Observed(stories, holds.values(), await places_apart(conn)),
            {row["code"]: site_days.zone(row["time_zone"]) for row in zones},
        )

    async def at(
        self,
        conn: Connection,
        day: date,
        *,
        ways: Mapping[str, Thresholds] | None = None,
        draws: int = 200,
        seed: int = 1,
    ) -> Known:
        """What was known when `day` had ended at every site; each site's today is the day after.

        `position` is the last one recorded by then. `ways`: how degree-days are counted, by crop
        (None: as the nursery said then).
        """
        moment = self.end_of(day)
        ways = await stated_ways(conn, moment) if ways is None else ways
        known = int(await conn.fetchval(clocks.SQL.position_at, moment))
        today = dict.fromkeys(self._zones, day + timedelta(days=1))
        columns = self._observed.at(known, day, today)
        return Known(
            position=known,
            sites=[await site_weather(conn, site, on, moment, ways) for site, on in today.items()],
            lots=columns.lots,
            pushes=columns.pushes,
            growths=columns.growths,
            takes=columns.takes,
            standing=columns.standing,
            ways=dict(ways),
            draws=draws,
            seed=seed,
        )

    def end_of(self, day: date) -> datetime:
        """The moment at which a day had ended at every site; by UTC where there is none."""
        midnight = datetime.combine(day + timedelta(days=1), time())
        ends = [midnight.replace(tzinfo=zone).astimezone(UTC) for zone in self._zones.values()]
        # A microsecond less: what is told at midnight itself belongs to the day after.
        return max(ends, default=midnight.replace(tzinfo=UTC)) - timedelta(microseconds=1)


def _before(fact: Fact, grafted_on: date | None) -> bool:
    return grafted_on is not None and fact.day <= grafted_on
