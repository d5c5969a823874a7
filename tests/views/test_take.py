"""Take, losses and push observations by what the real writer wrote; late and voided events."""

from collections.abc import AsyncIterator
from datetime import date
from typing import Any

import pytest

from service.jobs.every_view import every_view
from service.log.append import Appender
from service.views.losses import LossesQuery, losses
from service.views.push import PushQuery, push_observations
from service.views.runner import Runner
from service.views.take import TakeQuery, TakeRow, take
from tests.support.bench_side import NOW, BenchSide, event


class Season(BenchSide):
    """The bench with its views."""

    def __init__(self, appender: Appender, database) -> None:
        super().__init__(appender, database)
        self.runner = Runner(database, every_view())

    async def take(self, *groups: str, sites=None, **filters: Any) -> list[TakeRow]:
        await self.runner.catch_up()
        query = TakeQuery(group_by=groups, **filters)
        return (await take(self.database.reader, query, sites)).rows

    async def losses(self, *groups: str, sites=None, **filters: Any) -> list[tuple]:
        await self.runner.catch_up()
        query = LossesQuery(group_by=groups, **filters)
        found = (await losses(self.database.reader, query, sites)).rows
        return [
            (
                *(getattr(row, group) for group in groups),
                row.commodity,
                row.dead,
                row.culled,
                row.discarded,
            )
            for row in found
        ]

    async def graft_by(self, lot: str, *grafters: tuple[str, int], day: str = "2026-03-05") -> None:
        told = [{"person": person, "count": count} for person, count in grafters]
        count = sum(part["count"] for part in told)
        await self.given(self.graft(count, day, lot=lot, grafters=told))

    async def read(self, lot: str, day: str, alive: int, failed: int) -> None:
        await self.given(
            event("grafts.unwrapped", day, lot=lot, place="C-T1", alive=alive, failed=failed)
        )


@pytest.fixture
async def season(database) -> AsyncIterator[Season]:
    appender = Appender(database, clock=lambda: NOW)
    await appender.start()
    made = Season(appender, database)
    await made.stocked()
    yield made
    await appender.stop()


async def test_take_by_site_with_its_interval_and_honest_denominators(season: Season) -> None:
    await season.graft_by("T1", ("p-01", 20))
    await season.graft_by("T2", ("p-02", 10))
    await season.given(
        event("trees.lost", "2026-03-10", lot="T1", count=1, cause="breakage"),
    )
    await season.read("T1", "2026-03-20", 17, 2)
    (row,) = await season.take("site")
    assert (row.site, row.lots, row.grafted, row.not_read) == ("CORIN", 2, 30, 10)
    assert (row.take.hits, row.take.n) == (17, 19)
    assert row.gone_before_reading == {"breakage": 1}
    assert row.take.share == pytest.approx(17 / 19)
    # by the formula that tests/trade/test_take.py holds to published values
    assert (row.take.low, row.take.high) == pytest.approx((0.6860, 0.9706), abs=0.0001)
    assert (row.saleable.hits, row.saleable.n, row.growing) == (0, 30, 27)
    unread = await season.take("lot", lot="T2")
    assert (unread[0].take.n, unread[0].take.share, unread[0].take.low) == (0, None, None)


async def test_groups_and_filters(season: Season) -> None:
    await season.graft_by("T1", ("p-01", 12))
    await season.graft_by("T2", ("p-01", 8), day="2026-06-02")
    await season.read("T1", "2026-03-20", 10, 2)
    again = event(
        "trees.regrafted",
        "2026-06-01",
        lot="T3",
        of="T1",
        from_=[{"bag": "B1"}],
        method="chip_bud",
        count=2,
        place="C-T1",
    )
    await season.given(again)
    rows = await season.take("season", "month", "method", "attempt")
    assert [(r.season, r.month, r.method, r.attempt, r.grafted) for r in rows] == [
        ("2026-summer", "2026-06", "chip_bud", 2, 2),
        ("2026-spring", "2026-03", "t_bud", 1, 12),
        ("2026-summer", "2026-06", "t_bud", 1, 8),
    ]
    rows = await season.take("rootstock", "cultivar", attempt=1, grafted_to=date(2026, 3, 31))
    assert [(r.rootstock, r.cultivar, r.grafted, r.lot) for r in rows] == [
        ("CARRIZO", "NAVEL", 12, None)
    ]
    assert await season.take("site", sites=["TARNA"]) == []
    assert await season.take("site", method="patch_bud") == []


async def test_pages_of_groups(season: Season) -> None:
    for number in range(5):
        await season.graft_by(f"T{number}", ("p-01", 3))
    await season.runner.catch_up()
    found, after = [], None
    while True:
        query = TakeQuery(group_by=("lot",), limit=2, after=after)
        page = await take(season.database.reader, query, None)
        found += [row.lot for row in page.rows]
        if (after := page.next_after) is None:
            break
    assert found == ["T0", "T1", "T2", "T3", "T4"]


async def test_a_lot_of_several_grafters_is_attributed_to_none(season: Season) -> None:
    await season.graft_by("T1", ("p-01", 12))
    await season.graft_by("T2", ("p-01", 6), ("p-02", 4))
    await season.given(season.graft(5, lot="T3"))
    await season.read("T1", "2026-03-20", 11, 1)
    await season.read("T2", "2026-03-20", 5, 5)
    await season.read("T3", "2026-03-20", 4, 1)
    rows = await season.take("grafter")
    assert [
        (r.grafter, r.lots, r.grafted, r.take.hits, r.take.n, r.shared_lots, r.shared_grafted)
        for r in rows
    ] == [
        (None, 1, 5, 4, 5, 0, 0),
        ("p-01", 1, 12, 11, 12, 1, 6),
        ("p-02", 0, 0, 0, 0, 1, 4),
    ]
    # without grafters every lot counts once
    (whole,) = await season.take("site")
    assert (whole.lots, whole.grafted, whole.take.hits, whole.take.n) == (3, 27, 20, 27)
    (one,) = await season.take("site", grafter="p-02")
    assert (one.grafted, one.shared_grafted) == (0, 4)


async def test_late_and_voided_events_come_out_as_if_told_in_time(season: Season) -> None:
    await season.graft_by("T1", ("p-01", 20))
    await season.read("T1", "2026-03-20", 20, 0)
    assert (await season.take("lot"))[0].take.n == 20
    lost = event("trees.lost", "2026-03-10", lot="T1", count=3, cause="heat")
    (verdict,) = await season.given(lost)
    (row,) = await season.take("lot")
    assert (row.take.hits, row.take.n, row.gone_before_reading) == (17, 17, {"heat": 3})
    await season.given(event("event.voided", "2026-04-01", event=verdict.id, reason="another lot"))
    (row,) = await season.take("lot")
    assert (row.take.hits, row.take.n, row.gone_before_reading) == (20, 20, {})
    assert await season.losses("cause") == []


async def test_losses_by_cause_stage_and_time_with_culled_apart(season: Season) -> None:
    await season.graft_by("T1", ("p-01", 20))
    await season.given(
        event("liners.discarded", "2026-03-04", lot="L1", count=4, cause="dead_stock"),
        event("budwood.discarded", "2026-03-30", lines=[{"bag": "B1", "buds": 5}], cause="dried"),
        event("trees.lost", "2026-03-08", lot="T1", count=2, cause="frost"),
        event("trees.lost", "2026-04-08", lot="T1", count=1, cause="culled"),
        event(
            "push.counted",
            "2026-04-10",
            lot="T1",
            place="C-T1",
            pushed=10,
            waiting=6,
            removed=[{"count": 1, "cause": "frost"}],
        ),
    )
    assert await season.losses("cause") == [
        ("culled", "plants", 0, 1, 0),
        ("dead_stock", "plants", 4, 0, 0),
        ("dried", "buds", 0, 0, 5),
        ("frost", "plants", 3, 0, 0),
    ]
    assert await season.losses("stage", "month", cause="frost") == [
        ("grafted", "2026-03", "plants", 2, 0, 0),
        ("not_told", "2026-04", "plants", 1, 0, 0),
    ]
    assert await season.losses("cultivar", "site", stage="liners") == [
        (None, "CORIN", "plants", 4, 0, 0)
    ]
    assert await season.losses("year", first=date(2026, 4, 1)) == [("2026", "plants", 1, 1, 0)]
    assert await season.losses("cause", sites=["TARNA"]) == []


async def test_losses_on_the_way_are_the_receivers(season: Season) -> None:
    await season.graft_by("T1", ("p-01", 20))
    await season.given(
        event(
            "consignment.sent",
            "2026-03-12",
            consignment="CON-1",
            to_site="TARNA",
            lines=[{"lot": "T1", "place": "C-T1", "stage": "grafted", "count": 8}],
        ),
        event(
            "consignment.received",
            "2026-03-14",
            "TARNA",
            consignment="CON-1",
            lines=[{"lot": "T1", "place": "T-T1", "stage": "grafted", "count": 6, "dead": 2}],
        ),
    )
    assert await season.losses("site", "stage", "cause") == [
        ("TARNA", "grafted", "dead_on_arrival", "plants", 2, 0, 0)
    ]
    (row,) = await season.take("site")
    assert (row.gone_before_reading, row.not_read) == ({"dead_on_arrival": 2}, 18)


async def test_push_observations_with_what_a_fit_needs(season: Season) -> None:
    await season.graft_by("T1", ("p-01", 20))
    walk = {"lot": "T1", "place": "C-T1"}
    await season.given(event("push.counted", "2026-03-31", **walk, pushed=12, waiting=8))
    # a walk that is told late parts the interval of what came after it
    await season.given(event("push.counted", "2026-03-26", **walk, pushed=4, waiting=16))
    await season.runner.catch_up()
    page = await push_observations(season.database.reader, PushQuery(lot="T1"), None)
    assert [
        (r.outcome, r.after_day, r.after_days, r.by_days, r.seen_before, r.trees) for r in page.rows
    ] == [
        ("pushed", date(2026, 3, 5), 0, 21, False, 4),
        # the night of 29 March has no hour between two and three at Madrid: still five days
        ("pushed", date(2026, 3, 26), 21, 26, True, 8),
        ("waiting", date(2026, 3, 31), 26, None, True, 8),
    ]
    assert {(r.crop, r.method, r.cultivar, r.place) for r in page.rows} == {
        ("citrus", "t_bud", "NAVEL", "C-T1")
    }
    page = await push_observations(season.database.reader, PushQuery(limit=2), None)
    assert (len(page.rows), page.next_after) == (2, ["T1", 2])
    again = PushQuery(after=page.next_after, outcome="waiting")
    assert len((await push_observations(season.database.reader, again, None)).rows) == 1
    assert (await push_observations(season.database.reader, PushQuery(), ["TARNA"])).rows == []
