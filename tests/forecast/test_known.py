"""What a forecast is made from: read now, and as it was known at the end of past days."""

from collections.abc import AsyncIterator
from datetime import UTC, date, datetime, timedelta
from typing import Any

import msgspec
import pytest

from service.forecast.known import VIEWS, load_known
from service.forecast.records.temperatures import TemperatureDay, put_temperatures
from service.forecast.replay import Replay
from service.forecast.shapes import Known
from service.jobs.every_view import every_view
from service.log.append import Appender
from service.storage.pool import Database
from service.storage.walls import seeing
from service.views.runner import Runner
from tests.support.bench_side import BenchSide, entry, event

WALK = {"lot": "T1", "place": "C-T1"}
PUSHED = WALK | {"stage": "pushed"}
LAST = "2026-09-20"


class Telling(BenchSide):
    """The bench with a clock that goes from day to day, and the views that a forecast reads."""

    def __init__(self, database: Database) -> None:
        self.now = datetime(2026, 3, 1, 9, tzinfo=UTC)
        super().__init__(Appender(database, clock=lambda: self.now), database)
        views = [view for view in every_view() if view.name in VIEWS]
        self.runner = Runner(database, views)
        self.then: dict[str, Known] = {}

    async def on(self, day: str, *events: Any) -> list[Any]:
        """Told on a day, at nine by UTC: the same day at both sites."""
        self.now = datetime.fromisoformat(f"{day}T09:00:00+00:00")
        return await self.given(*events)

    async def night(self) -> None:
        """Keep what is known when the day ends; the sites' today is the next."""
        day = self.now.date()
        self.then[day.isoformat()] = await self.known(day)

    async def known(self, day: date) -> Known:
        await self.runner.catch_up()
        today = dict.fromkeys(("CORIN", "TARNA"), day + timedelta(days=1))
        async with seeing(self.database.reader, None) as conn:
            return await load_known(conn, today)

    async def replayed(self, *days: str) -> list[Known]:
        async with seeing(self.database.reader, None) as conn:
            replay = await Replay.load(conn)
            return [await replay.at(conn, date.fromisoformat(day)) for day in days]

    async def weather(self, *days: tuple[str, float, float]) -> None:
        """Told today, of these days."""
        told = [
            TemperatureDay(day=date.fromisoformat(day), min_c=low, max_c=high)
            for day, low, high in days
        ]
        async with self.database.writer.acquire() as conn:
            await put_temperatures(
                conn,
                site="CORIN",
                source="logger",
                days=told,
                today=self.now.date(),
                recorded_by="tester",
                recorded_at=self.now,
            )


@pytest.fixture
async def bench(database: Database) -> AsyncIterator[Telling]:
    made = Telling(database)
    await made.appender.start()
    yield made
    await made.appender.stop()


@pytest.fixture
async def season(bench: Telling) -> Telling:
    """A season of two lots with late, voided and held things; each night is kept as it was seen."""
    await bench.stocked()
    line = {**PUSHED, "size": "P9"}
    await bench.on("2026-03-02", event("tops.forced", "2026-03-02", lot="L1", technique="bent"))
    await bench.on(
        "2026-03-05",
        bench.graft(20, grafters=[{"person": "p-01", "count": 20}]),
        bench.graft(8, lot="T2", grown_for="cust-1"),
    )
    await bench.weather(("2026-03-03", 8, 18), ("2026-03-04", 9, 19))
    await bench.night()
    await bench.on(
        "2026-03-20",
        event("grafts.unwrapped", "2026-03-20", **WALK, alive=15, failed=1, left_wrapped=4),
    )
    (walk,) = await bench.on(
        "2026-03-31", event("push.counted", "2026-03-31", **WALK, pushed=12, waiting=7, failed=1)
    )
    await bench.weather(("2026-03-04", 9.5, 19.5), ("2026-03-06", 10, 20))
    await bench.night()
    # a walk that is told a week late, then one that was of another table
    await bench.on("2026-04-02", event("push.counted", "2026-03-26", **WALK, pushed=4, waiting=15))
    await bench.night()
    counting = {"crop": "citrus", "lower_c": 12.5, "upper_c": 35}
    await bench.on(
        "2026-04-03",
        entry("rule", "OWN-CITRUS", title="Citrus", value="12.5 to 35 C", source="our own logs",
              as_of="2026-04-03", degree_days=counting),
        event("event.voided", "2026-04-03", event=walk.id, reason="another table"),
        event("tops.forced", "2026-04-03", lot="T2", technique="lopped"),
        event("hold.placed", "2026-04-03", hold="H1", kind="quality", target="lot", code="T2",
              reason="spots"),
    )  # fmt: skip
    await bench.night()
    await bench.on(
        "2026-09-01",
        event("push.counted", "2026-09-01", **WALK, pushed=16, waiting=2,
              removed=[{"count": 1, "cause": "dead_scion"}]),
        event("trees.potted", "2026-09-01", **line, count=6,
              to_size="L2"),
    )  # fmt: skip
    await bench.on(
        "2026-09-10",
        event("trees.graded", "2026-09-09", **line,
              outcomes=[{"count": 4, "stage": "ready", "grade": "first"},
                        {"count": 6, "stage": "pushed"}]),
        event("consignment.sent", "2026-09-10", consignment="CON-1", to_site="TARNA",
              lines=[{**PUSHED, "size": "L2", "count": 5}]),
        event("hold.lifted", "2026-09-10", hold="H1", reason="clean"),
    )  # fmt: skip
    await bench.night()
    await bench.on(
        LAST,
        event("trees.lost", "2026-09-15", **PUSHED, size="P9", count=1, cause="frost"),
        event("trees.sold", LAST, customer="cust-2",
              lines=[{**WALK, "stage": "ready", "size": "P9", "grade": "first", "count": 1}]),
        event("hold.placed", LAST, hold="H2", kind="quality", target="place", code="C-T1",
              reason="spots"),
    )  # fmt: skip
    await bench.night()
    return bench


def _rows(columns: Any) -> list[tuple[Any, ...]]:
    """Rows of columns without their lot's number; days as text, none where they are not known."""
    names = [name for name in columns.__struct_fields__ if name != "lot"]
    return [
        tuple(_text(value) if name in ("after", "by") else value for name, value in row)
        for row in (
            list(zip(names, values, strict=True))
            for values in zip(*(getattr(columns, name) for name in names), strict=True)
        )
    ]


def _text(day: int) -> str:
    return date.fromordinal(day).isoformat()[5:] if day else ""


async def test_what_is_known_now(season: Telling) -> None:
    known = season.then[LAST]
    assert known.position == await season.database.writer.fetchval("SELECT position FROM log_head")
    lots = known.lots
    assert (lots.code, lots.crop, lots.grafter) == (["T1", "T2"], ["citrus"] * 2, ["p-01", ""])
    assert (lots.site, lots.attempt, lots.grown_for) == (["CORIN"] * 2, [1, 1], [False, True])
    assert [_text(day) for day in lots.grafted_on] == ["03-05", "03-05"]
    # bent as stocks, before they were grafted; what came after it changes nothing
    assert [_text(day) for day in lots.forced_on] == ["03-02", "03-02"]
    assert set(_rows(known.pushes)) == {
        ("CORIN", "pushed", "03-05", "03-26", 4),
        ("CORIN", "failed", "03-05", "03-20", 1),
        ("CORIN", "pushed", "03-26", "09-01", 12),
        ("CORIN", "lost", "03-26", "09-01", 1),
        ("CORIN", "waiting", "09-01", "", 2),
        ("CORIN", "waiting", "03-05", "", 8),
    }
    assert set(_rows(known.growths)) == {
        ("CORIN", "ready", "", "09-09", "P9", "P9", "first", 4),
        ("CORIN", "dead", "09-09", "09-15", "P9", "P9", "", 1),
        ("CORIN", "growing", "09-09", "", "P9", "P9", "", 5),
        ("CORIN", "growing", "", "", "P9", "L2", "", 1),
        ("TARNA", "growing", "", "", "P9", "L2", "", 5),
        ("CORIN", "ready_gone", "09-09", LAST[5:], "P9", "P9", "first", 1),
    }
    assert lots.counted_on == [0, 0]
    assert _rows(known.takes) == [(20, 15, 1, 3, 1), (8, 0, 0, 8, 0)]
    assert _rows(known.standing) == [
        ("CORIN", "grafted", "P9", "", 2, 2, True),
        ("CORIN", "pushed", "L2", "", 1, 0, True),
        ("CORIN", "pushed", "P9", "", 5, 0, True),
        ("CORIN", "ready", "P9", "first", 3, 0, True),
        # on the way to where nothing is held
        ("TARNA", "pushed", "L2", "", 5, 0, False),
        ("CORIN", "grafted", "P9", "", 8, 8, True),
    ]
    corin = known.sites[0]
    assert (corin.site, corin.version, _text(corin.first)) == ("CORIN", 2, "03-03")
    assert corin.low[1] == 9.5


async def test_each_past_night_is_known_again_as_it_was(season: Telling) -> None:
    """Late, voided, lifted and lost things since then make no difference."""
    nights = list(season.then)
    for night, known in zip(nights, await season.replayed(*nights), strict=True):
        for name in Known.__struct_fields__:
            told, then = (_plain(getattr(one, name)) for one in (known, season.then[night]))
            assert told == then, (night, name)
    first, walked, late, voided = (season.then[night] for night in nights[:4])
    assert _rows(first.pushes) == [
        ("CORIN", "waiting", "03-05", "", 20),
        ("CORIN", "waiting", "03-05", "", 8),
    ]
    assert ("CORIN", "pushed", "03-05", "03-31", 12) in _rows(walked.pushes)
    assert ("CORIN", "pushed", "03-26", "03-31", 8) in _rows(late.pushes)
    assert [row[1:5] for row in _rows(voided.pushes) if row[1] == "pushed"] == [
        ("pushed", "03-05", "03-26", 4)
    ]
    assert [held for *_, held in _rows(voided.standing)] == [False, False, True]
    assert [one.version for one in (first.sites[0], walked.sites[0])] == [1, 2]
    assert [one.ways["citrus"].lower_c for one in (late, voided)] == [13, 12.5]


def _plain(value: Any) -> bytes:
    """As it crosses to the numerics; so that days without a temperature equal each other."""
    return msgspec.msgpack.encode(value)


async def test_what_a_count_does_not_find_is_missing(season: Telling) -> None:
    """Three ready and five growing by the books; each account is counted, one of them twice."""
    ready = {**WALK, "stage": "ready", "size": "P9", "grade": "first"}
    growing = {**PUSHED, "size": "P9"}

    def count(day: str, *lines: dict[str, Any]) -> Any:
        return event("stock.counted", day, lines=list(lines), reason="quarterly count")

    await season.on("2026-09-22", count("2026-09-22", growing | {"counted": 3}))
    await season.night()
    (mistaken,) = await season.on("2026-09-24", count("2026-09-24", ready | {"counted": 0}))
    await season.on(
        "2026-09-25", event("event.voided", "2026-09-25", event=mistaken.id, reason="x")
    )
    await season.night()
    await season.on("2026-09-28", count("2026-09-27", ready | {"counted": 1}))
    await season.night()
    for night, counted in (("2026-09-22", ""), ("2026-09-25", ""), ("2026-09-28", "09-27")):
        (known,) = await season.replayed(night)
        assert _plain(known) == _plain(season.then[night]), night
        assert [_text(day) for day in known.lots.counted_on] == [counted, ""]
    assert {row for row in _rows(known.growths) if "missing" in row[1]} == {
        ("CORIN", "missing", "09-09", "09-22", "P9", "P9", "", 2),
        ("CORIN", "ready_missing", "09-09", "09-27", "P9", "P9", "first", 2),
    }


async def test_trees_that_came_back_are_not_there_to_sell(season: Telling) -> None:
    """The writer promises none of them either."""
    back = {"lot": "T1", "size": "P9", "grade": "first", "count": 1, "place": "C-RET"}
    await season.on(
        "2026-09-22",
        event("trees.returned", "2026-09-22", customer="cust-2", reason="spare", lines=[back]),
        event("hold.lifted", "2026-09-22", hold="H2", reason="clean"),
    )
    await season.night()
    (replayed,) = await season.replayed("2026-09-22")
    assert _plain(replayed) == _plain(season.then["2026-09-22"])
    ready = [row for row in _rows(replayed.standing) if row[1] == "ready"]
    assert ready == [
        ("CORIN", "ready", "P9", "first", 3, 0, False),
        ("CORIN", "ready", "P9", "first", 1, 0, True),
    ]


async def test_days_in_any_order_and_days_between(season: Telling) -> None:
    days = ["2026-09-05", "2026-03-05", "2026-04-01", "2026-09-09", "2026-03-05"]
    told = await season.replayed(*days)
    assert _plain(told[1]) == _plain(told[4])
    # graded on the ninth and told on the tenth: on the ninth nobody knew
    assert "ready" not in told[3].growths.outcome
    assert told[3].position == told[0].position
    assert told[2].lots.code == ["T1", "T2"]
    (before,) = await season.replayed("2026-02-25")
    assert (before.lots.code, before.standing.trees) == ([], [])


async def test_nothing_is_known_of_an_empty_log(bench: Telling) -> None:
    async with seeing(bench.database.reader, None) as conn:
        known = await load_known(conn, {})
        replayed = await (await Replay.load(conn)).at(conn, date(2026, 1, 1))
    assert known == replayed
    assert (known.position, known.lots.code, known.standing.lot) == (0, [], [])


async def test_trees_of_a_lost_label_stand_and_tell_nothing_else(season: Telling) -> None:
    line = {**PUSHED, "size": "P9", "count": 2}
    await season.on("2026-09-22", event("label.lost", "2026-09-22", lot="U1", lines=[line]))
    await season.night()
    known = season.then["2026-09-22"]
    (replayed,) = await season.replayed("2026-09-22")
    assert _plain(known) == _plain(replayed)
    number = known.lots.code.index("U1")
    assert number not in {*known.pushes.lot, *known.growths.lot, *known.takes.lot}
    assert [
        known.standing.trees[n] for n, lot in enumerate(known.standing.lot) if lot == number
    ] == [2]
