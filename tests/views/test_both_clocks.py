"""Every question on both clocks, over random histories, against answers worked out by hand.

Histories are those of the ledger's own tests: every type of event at two sites, in Madrid and in
Sydney around both their changes of the clock; late, counted, moved, sent, voided. Beside the fold
by hand, each answer of now is kept as it was given after every event: asked again later as known
then, it must be the same.

`GRAFTLOG_TEST_DEEP=1` looks longer.
"""

import asyncio
import copy
import os
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from service.log.append import Appender
from service.storage.pool import Database, open_database
from service.trade.keeping import KEEPING_DAYS
from service.views.budwood import BudwoodOnHand, BudwoodQuery, budwood_on_hand
from service.views.check_spells import CheckSpells
from service.views.checks import Checks, ChecksQuery, checks
from service.views.clocks import Asked
from service.views.lots_then import LotsQuery, lots
from service.views.runner import Runner
from service.views.stock import StockQuery, stock
from service.views.stock_by_day import StockByDay
from tests.ledger.choosing import DAYS, INSPECTED, PLACES
from tests.ledger.drawing import Nursery
from tests.ledger.model import Ledger, Site
from tests.ledger.world import CATALOGUE
from tests.support.bench_side import BenchSide
from tests.support.database import TestServer
from tests.views.by_hand import Exported, Then

NOW = datetime(2025, 4, 20, 12, tzinfo=UTC)
ZONES = {"C": ZoneInfo("Europe/Madrid"), "V": ZoneInfo("Australia/Sydney")}
DEEP = os.environ.get("GRAFTLOG_TEST_DEEP") == "1"
STEPS = 25 if DEEP else 14
PARTS = ("site", "place", "lot", "stage", "size", "grade")
EXPORT = """
SELECT position, id::text AS id, type, site, occurred, data FROM events
WHERE position > $1 ORDER BY position
"""


@dataclass
class World:
    """One database that all examples share: each has its own codes and sites."""

    loop: asyncio.Runner
    database: Database
    bench: BenchSide
    runner: Runner
    spells: Runner
    examples: int = 0


@pytest.fixture
def world(server: TestServer) -> Iterator[World]:
    name = asyncio.run(server.create())

    async def opened() -> World:
        database = await open_database(server.settings_for(name))
        appender = Appender(database, clock=lambda: NOW)
        await appender.start()
        bench = BenchSide(appender, database)
        await bench.given(*CATALOGUE[:1])
        await bench.given(*CATALOGUE[1:])
        views = [Checks(), BudwoodOnHand()]
        spells = Runner(database, [CheckSpells(), StockByDay()])
        return World(loop, database, bench, Runner(database, views), spells)

    async def closed() -> None:
        await made.bench.appender.stop()
        await made.database.close()

    with asyncio.Runner() as loop:
        made = loop.run(opened())
        yield made
        loop.run(closed())
    asyncio.run(server.drop(name))


@dataclass
class Story:
    """A random history, told to the service and to the model; and what was answered meanwhile."""

    world: World
    data: st.DataObject
    nursery: Nursery = field(init=False)
    start: int = 0
    models: dict[int, Ledger] = field(default_factory=dict)
    answered: dict[int, dict[str, Any]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.world.examples += 1
        prefix = f"X{self.world.examples}-"
        sites = {
            prefix + "C": Site(
                ZONES["C"], inspected=INSPECTED, for_returns=frozenset({prefix + "RET"})
            ),
            prefix + "V": Site(ZONES["V"], returns_allowed=False, regraft_same_source=False),
        }
        for site, places in PLACES.items():
            sites[prefix + site].places = {prefix + place: False for place in places}
        model = Ledger(sites=sites, source_trees={prefix + "ST"})
        self.nursery = Nursery(prefix, model)

    @property
    def sites(self) -> list[str]:
        return list(self.nursery.model.sites)

    async def tell(self, event: dict[str, Any]) -> None:
        """To the service; what it takes is told to the model too."""
        verdict = await self.world.bench.when(event)
        if verdict.verdict != "accepted":
            return
        (same,) = self.nursery.model.all_or_nothing([event])
        assert same.word == "accepted", (same, event)
        assert verdict.position is not None
        self.models[verdict.position] = copy.deepcopy(self.nursery.model)
        await self.world.runner.catch_up()
        if self.data.draw(st.booleans()):
            # Now and then only: old questions come out right whether it has come far or not.
            await self.world.spells.catch_up()
        self.answered[verdict.position] = await self.answers(Asked())

    async def lived(self) -> None:
        """Books are opened, then whatever Hypothesis thinks of."""
        for part in self.nursery.catalogue():
            await self.world.bench.given(*part)
        reader = self.world.database.writer
        self.start = await reader.fetchval("SELECT position FROM log_head")
        event, code = self.nursery.event, self.nursery.code
        fill = {"bag": code("B1"), "buds": 30, "place": code("BOX")}
        wood = {"lot": code("W1"), "cultivar": code("CV"), "source_tree": code("ST")}
        onto = {"liner_lot": code("L1"), "place": code("TB1"), "size": "P9"}
        graft = {"lot": code("T1"), "from": [{"bag": code("B1"), "buds": 8, "place": code("BOX")}]}
        graft |= {"onto": onto, "method": "t_bud", "count": 8, "place": code("TB1")}
        await self.tell(event("liners.received", DAYS[0], self.nursery.liners("L1", 24)))
        await self.tell(event("budwood.cut", DAYS[0], wood | {"bags": [fill]}))
        await self.tell(event("trees.grafted", DAYS[1], graft))
        for _ in range(STEPS):
            await self.tell(self.nursery.draw(self.data))

    async def answers(self, asked: Asked) -> dict[str, Any]:
        """All four questions, of the example's sites."""
        reader, sites = self.world.database.reader, self.sites

        def clock() -> datetime:
            return NOW

        query = StockQuery(group_by=PARTS, asked=asked)
        summed = StockQuery(group_by=("site", "stage", "size"), asked=asked)
        bags = BudwoodQuery(asked=asked, limit=1000)
        due = ChecksQuery(asked=asked, limit=1000)
        found: dict[str, Any] = {
            "stock": (await stock(reader, query, sites, clock=clock)).rows,
            "sums": (await stock(reader, summed, sites, clock=clock)).rows,
            "budwood": (await budwood_on_hand(reader, bags, sites, clock=clock)).rows,
            "checks": (await checks(reader, due, sites, clock=clock)).rows,
        }
        for kind in ("budwood", "liner", "tree"):
            of_kind = LotsQuery(kind=kind, asked=asked, limit=1000)
            found[f"{kind} lots"] = (await lots(reader, of_kind, sites, clock=clock)).rows
        return found

    async def exported(self) -> list[Exported]:
        rows = await self.world.database.writer.fetch(EXPORT, self.start)
        return [Exported(row["position"], dict(row)) for row in rows]

    def then(self, exported: list[Exported], known: int, days: dict[str, date]) -> Then:
        code = self.nursery.code
        return Then(exported, self.models[known], {code(s): day for s, day in days.items()})


def _same_as_by_hand(found: dict[str, Any], by_hand: Then) -> None:
    kept = Counter()
    for row in found["stock"]:
        parts = (getattr(row, part) or "" for part in ("site", "place", "lot", "stage", "size"))
        kept[row.kind, *parts, row.grade or ""] += row.quantity
    assert kept == by_hand.stock()
    sums, in_all = Counter(), Counter()
    for row in found["sums"]:
        sums[row.kind, row.site, row.stage or "", row.size or ""] += row.quantity
    for (kind, site, _, _, stage, size, _), count in kept.items():
        in_all[kind, site, stage, size] += count
    assert sums == in_all
    bags = {(r.bag, r.place, r.lot, r.site, r.buds, r.age_days, r.use_by) for r in found["budwood"]}
    assert bags == by_hand.budwood(KEEPING_DAYS["citrus"])
    for kind in ("budwood", "liner", "tree"):
        there = {
            row.code: (row.on_hand, row.failed, row.in_transit) for row in found[f"{kind} lots"]
        }
        assert there == by_hand.lots(kind), kind
    due = {
        (r.lot, r.place, r.check, r.due_on, r.last_done, r.trees) for r in found["checks"] if r.lot
    }
    assert due == by_hand.checks()
    looks = {(r.place, r.due_on, r.last_done, r.trees) for r in found["checks"] if not r.lot}
    assert looks == by_hand.looks()


days = st.sampled_from([date.fromisoformat(day) for day in DAYS])
# Midnights of either site come between: 13:00 and 14:00 UTC in Sydney, 22:00 and 23:00 in Madrid.
moments = st.builds(
    lambda day, minutes: datetime(2025, 3, 28, tzinfo=UTC) + timedelta(days=day, minutes=minutes),
    st.integers(0, 11),
    st.sampled_from([0, 779, 780, 839, 840, 1319, 1320, 1379, 1380]),
)


@settings(
    max_examples=int(os.environ.get("GRAFTLOG_TEST_EXAMPLES", "40" if DEEP else "5")),
    deadline=None,
    database=None,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=list(HealthCheck),
)
@given(data=st.data())
def test_every_answer_is_the_fold_of_what_was_known_of_what_had_happened(
    world: World, data: st.DataObject
) -> None:
    async def told() -> None:
        story = Story(world, data)
        await story.lived()
        exported = await story.exported()
        for known, answered in story.answered.items():
            assert await story.answers(Asked(known_at=known)) == answered, known
        for _ in range(12):
            known = data.draw(st.sampled_from(list(story.models)))
            as_of = data.draw(days | moments)
            if isinstance(as_of, datetime):
                each = {site: as_of.astimezone(zone).date() for site, zone in ZONES.items()}
            else:
                each = dict.fromkeys(ZONES, as_of)
            found = await story.answers(Asked(as_of=as_of, known_at=known))
            _same_as_by_hand(found, story.then(exported, known, each))

    world.loop.run(told())
