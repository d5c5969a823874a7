"""The view of ready dates over the books of an invented nursery, in PostgreSQL.

The books are written here as the log writes them; dates are worked out on weather of one still
temperature, so that they can be counted by hand: at 28 C citrus gets 15 Cd a day.
"""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from service.forecast.ready_view import (
    Outlooks,
    ReadyDateRow,
    ReadyDatesView,
    answer,
    recompute,
)
from service.forecast.temperatures import TemperatureDay, put_temperatures
from service.storage.pool import Connection
from service.views.applying import Batch
from service.views.site_days import site_days

TODAY = date(2026, 3, 14)
NOW = datetime(2026, 3, 14, 9, 30, tzinfo=UTC)
DAY = timedelta(days=1)
NEEDED, PUSH = 2350, 400


class Nursery:
    """Writes the books: catalogue, lots, balances, events."""

    def __init__(self, conn: Connection) -> None:
        self.conn = conn
        self.position = 0
        self.lots = 0

    async def entry(self, kind: str, code: str, **body: Any) -> None:
        await self.conn.execute(
            "INSERT INTO catalogue VALUES ($1, $2, NULL, 1, $3)", kind, code, {"code": code, **body}
        )

    async def lot(
        self,
        code: str,
        grafted_on: date | None,
        *,
        cultivar: str | None = "ORANGE",
        method: str = "t_bud",
        site: str = "HOME",
    ) -> int:
        self.lots += 1
        await self.conn.execute(
            "INSERT INTO lots (lot_id, code, kind, site, cultivar, rootstock, method, day,"
            " parents, ancestry, position, changed_position)"
            " VALUES ($1, $2, 'tree', $3, $4, 'TRIFOL', $5, $6, '{}', '{}', 1, 1)",
            *(self.lots, code, site, cultivar, method, grafted_on),
        )
        return self.lots

    async def trees(
        self,
        lot: int,
        count: int,
        stage: str = "grafted",
        *,
        site: str = "HOME",
        place: str = "T1",
        size: str = "POT",
        kind: str = "trees",
    ) -> None:
        account = await self.conn.fetchval("SELECT count(*) + 1 FROM balances")
        await self.conn.execute(
            "INSERT INTO balances VALUES"
            " ($1, $2, $3, $4, $5, $6, $7, '', '', 'plants', $8, '2026-01-01')",
            *(lot, account, kind, site, place, stage, size, count),
        )

    async def event(self, kind: str, day: date, lot: str | None = None, **data: Any) -> int:
        self.position += 1
        at = datetime(day.year, day.month, day.day, 12, tzinfo=UTC)
        await self.conn.execute(
            "INSERT INTO events (position, id, type, version, site, sites, occurred, occurred_at,"
            " occurred_day, recorded_at, recorded_by, happened, unit, digest, remarks, data)"
            " VALUES ($1, gen_random_uuid(), $2, 1, 'HOME', '{HOME}', $3, $4, $5, $6, 'key', false,"
            " gen_random_uuid(), '', '[]', $7)",
            *(self.position, kind, day.isoformat(), at, day, NOW, data),
        )
        if lot is not None:
            await self.conn.execute(
                "INSERT INTO subjects VALUES ('lot', $1, $2, $3)", lot, at, self.position
            )
        await self.conn.execute("UPDATE log_head SET position = $1", self.position)
        return self.position

    async def weather(self, site: str, celsius: float, days: int = 800) -> None:
        record = [
            TemperatureDay(day=TODAY - n * DAY, min_c=celsius, max_c=celsius)
            for n in range(1, days + 1)
        ]
        await put_temperatures(
            self.conn,
            site=site,
            source="logger",
            days=record,
            today=TODAY,
            recorded_by="key",
            recorded_at=NOW,
        )


@pytest.fixture
async def nursery(writer: Connection) -> Nursery:
    """Two sites, one warm and one without a record; an orange, a fig."""
    made = Nursery(writer)
    await made.entry("site", "HOME", time_zone="Europe/Madrid")
    await made.entry("site", "FAR", time_zone="Pacific/Auckland")
    await made.entry("cultivar", "ORANGE", crop="citrus")
    await made.entry("cultivar", "FIG", crop="fig")
    await made.weather("HOME", 28)
    return made


async def computed(nursery: Nursery, lots: list[str] | None = None) -> dict[str, ReadyDateRow]:
    today = {"HOME": TODAY, "FAR": TODAY}
    await recompute(nursery.conn, lots, today, computed_at=NOW)
    return {f"{row.lot}@{row.site}": row for row in await answer(nursery.conn)}


async def test_a_lot_counted_from_grafting(nursery: Nursery) -> None:
    """100 days of 15 Cd are behind; 850 of 2350 Cd take 57 days more, today the first."""
    lot = await nursery.lot("L1", TODAY - 101 * DAY)
    await nursery.trees(lot, 20)
    await nursery.trees(lot, 4, place="T2", size="BIG")
    await nursery.trees(lot, 3, "failed")
    await nursery.event("trees.grafted", TODAY - 101 * DAY, "L1")
    row = (await computed(nursery))["L1@HOME"]
    assert (row.accumulated, row.needed, row.phase) == (pytest.approx(1500), NEEDED, "grafted")
    assert row.expected == TODAY + 56 * DAY
    assert (row.earliest, row.latest, row.n_years) == (row.expected, row.expected, 2)
    assert (row.trees, row.places, row.sizes) == (24, ["T1", "T2"], ["BIG", "POT"])
    assert (row.crop, row.cultivar, row.rootstock) == ("citrus", "ORANGE", "TRIFOL")
    assert (row.degree_day_method, row.cutoff, row.lower_c, row.upper_c) == (
        "single_sine",
        "horizontal",
        13,
        35,
    )
    assert (row.as_of, row.temperature_version, row.position) == (TODAY, 1, 1)
    assert (row.basis, row.basis_n, row.computed_at) == ("weak prior", 0, NOW)


async def test_the_first_push_that_stands_counts(nursery: Nursery) -> None:
    """Counts of nothing pushed and voided counts are passed over."""
    lot = await nursery.lot("L1", TODAY - 101 * DAY)
    await nursery.trees(lot, 10)
    await nursery.trees(lot, 10, "pushed")
    await nursery.event("push.counted", TODAY - 80 * DAY, "L1", pushed=0, waiting=20)
    wrong = await nursery.event("push.counted", TODAY - 70 * DAY, "L1", pushed=20)
    void = await nursery.event("event.voided", TODAY - 60 * DAY)
    await nursery.conn.execute("INSERT INTO voids VALUES ($1, $2)", wrong, void)
    await nursery.event("push.counted", TODAY - 40 * DAY, "L1", pushed=12)
    await nursery.event("push.counted", TODAY - 51 * DAY, "L1", pushed=5)
    row = (await computed(nursery))["L1@HOME"]
    assert (row.phase, row.counted_from) == ("pushed", TODAY - 51 * DAY)
    assert (row.accumulated, row.needed) == (pytest.approx(750), NEEDED - PUSH)
    assert row.expected == TODAY + 79 * DAY


async def test_trees_that_have_not_pushed_where_they_stand(nursery: Nursery) -> None:
    """A push elsewhere does not count for trees that are booked as not pushed at their own site."""
    await nursery.weather("FAR", 20)
    lot = await nursery.lot("L1", TODAY - 101 * DAY)
    await nursery.trees(lot, 10, "pushed")
    await nursery.trees(lot, 5, site="FAR", place="B1")
    await nursery.event("push.counted", TODAY - 51 * DAY, "L1", pushed=10)
    rows = await computed(nursery)
    assert rows["L1@HOME"].phase == "pushed"
    far = rows["L1@FAR"]
    assert (far.phase, far.accumulated) == ("grafted", pytest.approx(700))
    assert any("Grafted at HOME" in said for said in far.remarks)


async def test_pushed_trees_that_moved_keep_their_push(nursery: Nursery) -> None:
    await nursery.weather("FAR", 20)
    lot = await nursery.lot("L1", TODAY - 101 * DAY)
    await nursery.trees(lot, 5, "pushed", site="FAR", place="B1")
    await nursery.event("push.counted", TODAY - 51 * DAY, "L1", pushed=10)
    row = (await computed(nursery))["L1@FAR"]
    assert (row.phase, row.counted_from) == ("pushed", TODAY - 51 * DAY)


async def test_what_cannot_be_told_says_why(nursery: Nursery) -> None:
    for code, day, cultivar, site in [
        ("NOWEATHER", TODAY - 9 * DAY, "ORANGE", "FAR"),
        ("FIGS", TODAY - 9 * DAY, "FIG", "HOME"),
        ("NOBODY", TODAY - 9 * DAY, None, "HOME"),
        ("NODAY", None, "ORANGE", "HOME"),
    ]:
        lot = await nursery.lot(code, day, cultivar=cultivar, site=site)
        await nursery.trees(lot, 5, site=site, place=code)
    lot = await nursery.lot("OPENED", TODAY - 9 * DAY)
    await nursery.trees(lot, 5, "pushed", place="OPENED")
    rows = await computed(nursery)
    said = {row.lot: row.remarks[-1] for row in rows.values()}
    assert said["NOWEATHER"] == "Site FAR has no temperatures on record."
    assert said["FIGS"] == "No requirement of degree-days is known for crop fig."
    assert said["NOBODY"] == "No requirement of degree-days is known for trees of unknown crop."
    assert said["NODAY"].startswith("The day of grafting is not known")
    assert said["OPENED"] == "The trees are booked as pushed, but no count says since when."
    unknown = {row.lot for row in rows.values() if row.expected is None}
    assert unknown == {"NOWEATHER", "FIGS", "NOBODY", "NODAY"}


async def test_only_growing_trees_have_a_row(nursery: Nursery) -> None:
    for number, (stage, kind, count) in enumerate(
        [
            ("ready", "trees", 5),
            ("failed", "trees", 5),
            ("grafted", "trees", 0),
            ("grafted", "transit", 5),
            ("pushed", "trees", 1),
        ]
    ):
        lot = await nursery.lot(f"L{number}", TODAY - 9 * DAY)
        await nursery.trees(lot, count, stage, kind=kind)
    assert list(await computed(nursery)) == ["L4@HOME"]


async def test_only_the_lots_asked_for_are_touched_and_rows_go_with_the_trees(
    nursery: Nursery,
) -> None:
    for code in ("L1", "L2"):
        await nursery.trees(await nursery.lot(code, TODAY - 9 * DAY), 5)
    before = await computed(nursery)
    await nursery.conn.execute("UPDATE balances SET balance = 0")
    after = await computed(nursery, ["L1"])
    assert after == {"L2@HOME": before["L2@HOME"]}
    assert await computed(nursery) == {}


async def test_new_temperatures_are_taken_up_and_twice_changes_nothing(nursery: Nursery) -> None:
    await nursery.trees(await nursery.lot("L1", TODAY - 101 * DAY), 5)
    kept, today = Outlooks(), {"HOME": TODAY}
    assert await recompute(nursery.conn, None, today, outlooks=kept, computed_at=NOW) == 1
    (first,) = await answer(nursery.conn)
    await recompute(nursery.conn, None, today, outlooks=kept, computed_at=NOW)
    assert await answer(nursery.conn) == [first]
    await nursery.weather("HOME", 33)
    await recompute(nursery.conn, None, today, outlooks=kept, computed_at=NOW)
    (second,) = await answer(nursery.conn)
    assert (first.temperature_version, second.temperature_version) == (1, 2)
    assert second.accumulated == pytest.approx(2000)


async def test_the_next_day_is_another_day(nursery: Nursery) -> None:
    await nursery.trees(await nursery.lot("L1", TODAY - 101 * DAY), 5)
    kept = Outlooks()
    for shift in (0, 1):
        today = {"HOME": TODAY + shift * DAY}
        await recompute(nursery.conn, None, today, outlooks=kept, computed_at=NOW)
        (row,) = await answer(nursery.conn)
        assert row.accumulated == pytest.approx(1500 + shift * 15)
        assert row.gap_days == shift


async def test_an_older_lot_reaches_further_back(nursery: Nursery) -> None:
    """Outlooks that were kept for younger lots do not do for an older one."""
    kept, today = Outlooks(), {"HOME": TODAY}
    await nursery.trees(await nursery.lot("L1", TODAY - 9 * DAY), 5)
    await recompute(nursery.conn, None, today, outlooks=kept, computed_at=NOW)
    await nursery.trees(await nursery.lot("L2", TODAY - 700 * DAY), 5)
    await recompute(nursery.conn, None, today, outlooks=kept, computed_at=NOW)
    rows = {row.lot: row for row in await answer(nursery.conn)}
    assert rows["L2"].expected == TODAY - 700 * DAY + 157 * DAY


async def test_pages_in_order_unknown_last_with_filters(nursery: Nursery) -> None:
    for number in range(7):
        grafted = None if number in (2, 5) else TODAY - (10 + number % 3) * DAY
        lot = await nursery.lot(f"L{number}", grafted)
        await nursery.trees(lot, 5, size="BIG" if number == 6 else "POT")
    whole = list((await computed(nursery)).values())
    assert [row.lot for row in whole] == ["L1", "L4", "L0", "L3", "L6", "L2", "L5"]
    pages: list[ReadyDateRow] = []
    after: Any = (None, None, None)
    while page := await answer(nursery.conn, after=after, limit=2):
        pages += page
        after = (page[-1].expected, page[-1].lot, page[-1].site)
    assert pages == whole
    conn = nursery.conn
    assert [row.lot for row in await answer(conn, size="BIG")] == ["L6"]
    assert [row.lot for row in await answer(conn, lot="L3")] == ["L3"]
    assert await answer(conn, sites=["FAR"]) == []
    assert len(await answer(conn, sites=["HOME"], cultivar="ORANGE", rootstock="TRIFOL")) == 7
    assert await answer(conn, cultivar="FIG") == []
    soonest = whole[0].expected
    assert [row.lot for row in await answer(conn, ready_by=soonest)] == ["L1", "L4"]
    later = {row.lot for row in await answer(conn, ready_from=soonest + timedelta(days=1))}
    assert later.isdisjoint({"L1", "L4"})
    assert later, "those expected later, without those whose day is not known"


async def test_today_is_the_sites_own(nursery: Nursery) -> None:
    assert await site_days(nursery.conn, datetime(2026, 3, 14, 11, 30, tzinfo=UTC)) == {
        "HOME": date(2026, 3, 14),
        "FAR": date(2026, 3, 15),
    }


async def test_as_a_view_of_the_log(nursery: Nursery) -> None:
    view = ReadyDatesView(lambda: NOW)
    lot = await nursery.lot("L1", TODAY - 101 * DAY)
    await nursery.trees(lot, 5)
    await nursery.lot("L2", TODAY)
    await nursery.event("work.done", TODAY, "L1")
    counted = await nursery.event("push.counted", TODAY, "L2", pushed=1)
    assert await view.touched(nursery.conn, Batch(0, 1)) == ["L1"]
    assert await view.touched(nursery.conn, Batch(1, 2)) == ["L2"]
    assert await view.everything(nursery.conn) == ["L1", "L2"]
    await view.recompute(nursery.conn, ["L1", "L2"])
    assert [row.lot for row in await answer(nursery.conn)] == ["L1"]

    void = await nursery.event("event.voided", TODAY)
    await nursery.conn.execute("INSERT INTO voids VALUES ($1, $2)", counted, void)
    assert await view.touched(nursery.conn, Batch(void - 1, void)) == ["L2"]
    await nursery.conn.execute(
        "INSERT INTO legs VALUES ($1, 1, $2, $3, 9, 'HOME', 5)", lot, TODAY, NOW
    )
    assert await view.touched(nursery.conn, Batch(8, 9)) == ["L1"]
    for kind, code in (("cultivar", "ORANGE"), ("site", "HOME")):
        entry = {"kind": kind, "code": code}
        at = await nursery.event("catalogue.changed", TODAY, entry=entry)
        assert await view.touched(nursery.conn, Batch(at - 1, at)) == ["L1"]
