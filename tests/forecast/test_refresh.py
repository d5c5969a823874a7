"""A forecast made anew: what is given to it, what is told, and what stays when it fails."""

import asyncio
import subprocess
import sys
from collections.abc import AsyncIterator, Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import msgspec
import pytest

from service.forecast import refresh as refreshing
from service.forecast.answers.ready_view import NAME, ReadyPage, ReadyQuery, ready_dates
from service.forecast.records.temperatures import TemperatureDay, put_temperatures
from service.forecast.refresh import ForecastError, in_child, refresh, wanted
from service.forecast.shapes import Foretold, Growths, Known, Lots, Pushes, Standing, Takes
from service.jobs.every_view import every_view
from service.log.append import Appender
from service.storage.pool import Database
from service.views.clocks import Asked
from service.views.positions import position
from service.views.runner import Runner
from tests.support import foretelling
from tests.support.bench_side import BenchSide, event
from tests.support.commands import graftlog

MORNING = datetime(2026, 6, 30, 5, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
GRAFTED = date(2026, 3, 5)


def frost(day: str, count: int, stage: str = "grafted") -> Any:
    """Some of the trees die."""
    return event("trees.lost", day, lot="T1", stage=stage, count=count, cause="frost")


class Desk:
    """A nursery whose clock is moved by hand."""

    def __init__(self, database: Database) -> None:
        self.database, self.now = database, MORNING
        self.bench: BenchSide
        self.runner = Runner(database, every_view())

    def clock(self) -> datetime:
        return self.now

    async def told(self, *events: Any) -> None:
        """Recorded, and seen by the views."""
        await self.bench.given(*events)
        await self.runner.catch_up()

    async def refreshed(self, forecast: Any = foretelling.stand_in) -> refreshing.Done:
        return await refresh(self.database, self.clock, forecast=forecast)

    async def wanted(self, morning: datetime = MORNING - timedelta(days=1)) -> refreshing.Wanted:
        async with self.database.writer.acquire() as conn:
            return await wanted(conn, morning)

    async def ready(self, **asked: Any) -> ReadyPage:
        query = ReadyQuery(asked=Asked(**asked))
        return await ready_dates(self.database.reader, query, None, clock=self.clock)

    async def warm(self, celsius: float) -> None:
        days = [TemperatureDay(day=date(2026, 6, 1), min_c=celsius, max_c=celsius)]
        async with self.database.writer.acquire() as conn:
            await put_temperatures(
                conn, site="CORIN", source="logger 1", days=days, today=self.now.date(),
                recorded_by="key", recorded_at=self.now,
            )  # fmt: skip


@pytest.fixture
async def desk(database: Database) -> AsyncIterator[Desk]:
    """24 trees on liners, 10 of them pushed at CORIN, and nothing foretold yet."""
    made = Desk(database)
    appender = Appender(database, clock=made.clock)
    await appender.start()
    made.bench = BenchSide(appender, database)
    await made.bench.grafted(24)
    await made.told(
        event("grafts.unwrapped", "2026-04-01", lot="T1", alive=22, failed=2),
        event("push.counted", "2026-04-20", lot="T1", pushed=10, waiting=12, failed=2),
    )
    yield made
    await appender.stop()


async def test_what_is_told_of_a_lot(desk: Desk) -> None:
    done = await desk.refreshed()
    head = await desk.database.writer.fetchval("SELECT position FROM log_head")
    assert (done.position, done.lots, done.undated, done.told) == (head, 1, 0, True)
    (row,) = (await desk.ready()).rows
    assert (row.lot, row.site, row.trees, row.phase) == ("T1", "CORIN", 22, "pushed")
    assert (row.cultivar, row.rootstock, row.crop) == ("NAVEL", "CARRIZO", "citrus")
    assert (row.places, row.sizes, row.method) == (["C-T1"], ["P9"], "t_bud")
    days = [GRAFTED + timedelta(days=n) for n in (80, 100, 120)]
    assert [row.p20, row.p50, row.p80] == days
    assert (row.ready_expected, row.ready_low, row.ready_high) == (16.5, 11, 22)
    # no temperature is on record: NaN of the numerics is unknown here
    assert (row.counted, row.needed, row.temperature_version) == (None, 2350, 0)
    assert (row.as_of, row.made_at, row.position) == (desk.now.date(), desk.now, head)


async def test_supply_with_what_had_gone_out(desk: Desk) -> None:
    ready = {"count": 9, "stage": "ready", "grade": "first"}
    line = {"lot": "T1", "stage": "ready", "size": "P9", "grade": "first", "count": 4}
    await desk.told(
        event("trees.graded", "2026-06-01", lot="T1", stage="pushed", outcomes=[ready]),
        event("trees.sold", "2026-06-02", customer="c-1", lines=[line]),
    )
    await desk.refreshed()
    rows = await desk.database.writer.fetch("SELECT * FROM supply ORDER BY site")
    assert [(row["site"], row["trees"], row["went_out"]) for row in rows] == [
        ("", 18, 4),
        ("CORIN", 18, 4),
    ]
    # 18 x (1.3 - level): levels stand side by side, day after day
    assert rows[1]["quantities"][:10] == [14, 12, 10, 9, 9, 8, 7, 6, 5, 5]
    assert len(rows[1]["quantities"]) == 79 * 10
    leads = await desk.database.writer.fetch("SELECT days, nearly FROM lead_times")
    assert {(row["days"][-1], row["nearly"][-2]) for row in leads} == {(None, None)}


async def test_a_forecast_is_wanted_when_something_that_matters_came(desk: Desk) -> None:
    async def noted() -> int:
        return await position(desk.database.reader, NAME)

    assert await desk.wanted() == refreshing.Wanted(True, "the first")
    await desk.refreshed()
    assert not (await desk.wanted()).now
    # what moves no tree is noted as reflected
    await desk.told(event("place.checked", "2026-06-20", place="C-T1"))
    head = await desk.database.writer.fetchval("SELECT position FROM log_head")
    assert await noted() == head - 1
    assert not (await desk.wanted()).now
    assert await noted() == head
    await desk.told(frost("2026-06-21", 1))
    assert await desk.wanted() == refreshing.Wanted(True, "trees were recorded")
    await desk.refreshed()
    assert not (await desk.wanted()).now
    await desk.warm(24)
    assert await desk.wanted() == refreshing.Wanted(True, "temperatures changed")
    await desk.refreshed()
    assert not (await desk.wanted(MORNING)).now
    assert (await desk.wanted(MORNING + MINUTE)).words == "a new morning"


async def test_no_forecast_of_half_of_what_happened(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(refreshing, "MOST_BEHIND", 1)
    lost = [frost("2026-06-21", 1) for _ in range(2)]
    await desk.bench.given(*lost)
    assert await desk.wanted() == refreshing.Wanted(False, "waits for the views, 2 events behind")
    await desk.runner.catch_up()
    assert (await desk.wanted()).now


async def test_rows_go_with_the_trees(desk: Desk) -> None:
    await desk.refreshed()
    await desk.told(frost("2026-06-21", 12), frost("2026-06-21", 10, "pushed"))
    desk.now += MINUTE
    await desk.refreshed()
    assert (await desk.ready()).rows == []


async def test_past_days_are_told_as_they_were_told(desk: Desk) -> None:
    """Two forecasts of one day: the later one is kept. Asked on both clocks, days later."""
    await desk.refreshed()
    first = (await desk.ready()).rows
    desk.now += 60 * MINUTE
    await desk.told(frost("2026-06-30", 2))
    await desk.refreshed()
    (second,) = (await desk.ready()).rows
    known = second.position
    desk.now += timedelta(days=3)
    await desk.told(frost("2026-07-02", 5))
    await desk.refreshed()
    (now,) = (await desk.ready()).rows
    assert [first[0].trees, second.trees, now.trees] == [22, 20, 15]

    async def trees(**asked: Any) -> list[int]:
        return [row.trees for row in (await desk.ready(**asked)).rows]

    assert (await desk.ready(as_of=date(2026, 6, 30))).rows == [second]
    # no forecast was made on the two days between: the last one still stood
    assert await trees(as_of=date(2026, 7, 2)) == [20]
    assert await trees(as_of=date(2026, 7, 3)) == [15]
    assert await trees(as_of=date(2026, 6, 29)) == []
    assert await trees(known_at=known) == [20]
    assert await trees(known_at=known - 1) == []
    assert await trees(known_at=MORNING + 61 * MINUTE) == [20]
    assert await trees(as_of=date(2026, 7, 3), known_at=known) == [20]
    # 22:30 UTC on the 2nd is the 3rd in Madrid
    assert await trees(as_of=datetime(2026, 7, 2, 21, 30, tzinfo=UTC)) == [20]
    assert await trees(as_of=datetime(2026, 7, 2, 22, 30, tzinfo=UTC)) == [15]


async def test_what_was_told_is_kept_for_400_days(desk: Desk) -> None:
    await desk.refreshed()
    days = "SELECT DISTINCT day FROM foretold_before WHERE site = 'CORIN' ORDER BY day"
    for later, kept in ((400, 2), (401, 2)):
        desk.now = MORNING + timedelta(days=later)
        await desk.refreshed()
        found = [row["day"] for row in await desk.database.writer.fetch(days)]
        assert len(found) == kept
        assert found[-1] == desk.now.date()
    assert found[0] == date(2026, 6, 30) + timedelta(days=400)


async def test_an_older_forecast_never_takes_the_place_of_a_newer_one(desk: Desk) -> None:
    """Two processes: the one that began first ends last."""
    go_on, began = asyncio.Event(), asyncio.Event()

    async def slow(known: Known) -> Foretold:
        began.set()
        await go_on.wait()
        return foretelling.forecast(known)

    older = asyncio.create_task(desk.refreshed(slow))
    await began.wait()
    await desk.told(frost("2026-06-21", 2))
    desk.now += MINUTE
    assert (await desk.refreshed()).told
    go_on.set()
    assert not (await older).told
    (row,) = (await desk.ready()).rows
    assert row.trees == 20


async def test_a_clock_that_once_ran_ahead_does_not_end_all_forecasts(desk: Desk) -> None:
    today, desk.now = desk.now, desk.now + timedelta(days=3650)
    await desk.refreshed()
    desk.now = today
    # of the same position the one made later stands
    assert not (await desk.refreshed()).told
    await desk.told(frost("2026-06-21", 2))
    assert (await desk.refreshed()).told
    (row,) = (await desk.ready()).rows
    assert (row.trees, row.made_at) == (20, today)


async def test_an_answer_to_another_question_is_refused(desk: Desk) -> None:
    async def other(known: Known) -> Foretold:
        return foretelling.forecast(msgspec.structs.replace(known, position=known.position - 1))

    with pytest.raises(ForecastError, match="answers for position"):
        await desk.refreshed(other)
    assert await desk.database.writer.fetchval("SELECT count(*) FROM forecasts") == 0


async def test_the_site_catalogue_may_be_empty(database: Database) -> None:
    done = await refresh(database, lambda: MORNING, forecast=foretelling.stand_in)
    assert (done.position, done.lots, done.told) == (0, 0, True)


async def test_a_given_forecast_is_told_with_its_days(desk: Desk) -> None:
    async def ahead(known: Known) -> Foretold:
        (corin,) = [site for site in known.sites if site.site == "CORIN"]
        corin.ahead_low, corin.ahead_high = [float("nan"), 12.0, 13.0], [float("nan"), 22.0, 23.0]
        corin.ahead_source = "the valley's weather service"
        return foretelling.forecast(known)

    await desk.refreshed(ahead)
    (row,) = (await desk.ready()).rows
    assert row.weather_ahead == "the valley's weather service, 2 days"
    assert any("given: the valley's weather service" in reason for reason in row.reasons)


# The child process -----------------------------------------------------------


@pytest.fixture
def tests_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """A child knows what is installed; these have it call functions of the tests."""
    monkeypatch.setenv("PYTHONPATH", str(Path(__file__).parents[2]))


def _nothing() -> Known:
    return Known(
        position=7, sites=[], lots=Lots(), pushes=Pushes(), growths=Growths(), takes=Takes(),
        standing=Standing(),
    )  # fmt: skip


def _function(one: Callable[[Known], Foretold]) -> str:
    return f"{one.__module__}:{one.__name__}"


@pytest.mark.usefixtures("tests_found")
async def test_a_process_of_its_own_works_it_out_whatever_it_prints() -> None:
    foretold = await in_child(_nothing(), function=_function(foretelling.talkative))
    assert foretold == foretelling.forecast(_nothing())


@pytest.mark.usefixtures("tests_found")
async def test_a_child_runs_nothing_that_lies_where_the_service_was_started(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "msgspec.py").write_text("raise SystemExit('not this one')")
    monkeypatch.chdir(tmp_path)
    foretold = await in_child(_nothing(), function=_function(foretelling.talkative))
    assert foretold == foretelling.forecast(_nothing())


@pytest.mark.usefixtures("tests_found")
async def test_a_child_that_fails_says_why_and_the_old_answers_stand(desk: Desk) -> None:
    await desk.refreshed()
    before = (await desk.ready()).rows

    async def failing(known: Known) -> Foretold:
        return await in_child(known, function=_function(foretelling.broken))

    with pytest.raises(ForecastError, match="ended with 1: ValueError: singular matrix"):
        await desk.refreshed(failing)
    assert (await desk.ready()).rows == before


@pytest.mark.usefixtures("tests_found")
async def test_a_child_that_hangs_is_ended() -> None:
    with pytest.raises(ForecastError, match="it took longer than"):
        await in_child(
            _nothing(),
            function=_function(foretelling.too_slow),
            limit=timedelta(milliseconds=500),
        )


@pytest.mark.usefixtures("tests_found")
async def test_a_child_is_ended_with_who_waits_for_it(monkeypatch: pytest.MonkeyPatch) -> None:
    started: list[asyncio.subprocess.Process] = []
    start = asyncio.create_subprocess_exec

    async def noting(*arguments: Any, **options: Any) -> asyncio.subprocess.Process:
        started.append(await start(*arguments, **options))
        return started[0]

    monkeypatch.setattr(asyncio, "create_subprocess_exec", noting)
    waiting = asyncio.create_task(in_child(_nothing(), function=_function(foretelling.too_slow)))
    while not started:
        await asyncio.sleep(0)
    waiting.cancel()
    with pytest.raises(asyncio.CancelledError):
        await waiting
    assert started[0].returncode == -9


def test_what_serves_and_what_works_loads_no_numerics() -> None:
    """Asked of a fresh process: this one has loaded all there is."""
    modules = "service.application, service.api.routes, service.jobs, service.cli, service.cli_demo"
    looked = f"import sys, {modules}; print(*sorted({{'numpy', 'scipy'}} & sys.modules.keys()))"
    found = subprocess.run(
        [sys.executable, "-c", looked], capture_output=True, text=True, check=True, timeout=60
    )
    assert found.stdout.strip() == ""


async def test_the_whole_way_with_all_its_numerics(desk: Desk) -> None:
    """The whole way: records, the child with numpy and scipy, tables, words."""
    first = date(2024, 6, 1)
    record = [TemperatureDay(day=first + timedelta(days=n), min_c=18, max_c=30) for n in range(759)]
    async with desk.database.writer.acquire() as conn:
        await put_temperatures(
            conn, site="CORIN", source="logger 1", days=record, today=MORNING.date(),
            recorded_by="key", recorded_at=MORNING,
        )  # fmt: skip
    done = await refresh(desk.database, desk.clock)
    assert (done.lots, done.undated, done.items) == (1, 0, 1)
    row = await desk.database.writer.fetchrow("SELECT * FROM ready_dates")
    assert row["p20"] <= row["p50"] <= row["p80"]
    assert (row["trees"], row["temperature_version"]) == (22, 1)
    assert 0 < row["needed_low"] < row["needed"] < row["needed_high"]
    assert 0 < row["ready_low"] <= row["ready_expected"] <= row["ready_high"] <= 22
    rows = await desk.database.writer.fetch("SELECT * FROM supply WHERE site = 'CORIN'")
    assert rows
    for supply in rows:
        sure = supply["quantities"]
        # the surer, the fewer
        assert all(sure[n] >= sure[n + 1] for n in range(0, 790, 10))
    assert await desk.database.writer.fetchval("SELECT count(*) FROM lead_times") > 0


async def test_the_command_makes_one_and_says_what_it_tells(database: Database) -> None:
    here = {"DATABASE_URL": database.dsn, "DATA_DIR": "/nonexistent"}
    done = await graftlog("forecast", **here)
    assert done.code == 0, done.err
    assert done.out.startswith("Forecast of position 0: 0 lots (0 without a day), 0 items, ")
