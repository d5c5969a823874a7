"""Looking back on a log: days, what was known, what came; and the command as a person runs it."""

from collections.abc import AsyncIterator
from datetime import date, timedelta
from pathlib import Path

import httpx
import msgspec
import pytest

from seed_scenario.generator import scenario
from seed_scenario.load import load
from service.application import build
from service.forecast.backtest.hindsight import middle_day
from service.forecast.backtest.outcomes import by_lot
from service.forecast.backtest.past import NoPastError, Past, Wanted
from service.log.keys import create_key
from service.settings import Settings
from service.storage.pool import Connection, Database
from service.storage.walls import seeing
from tests.api.conftest import listening
from tests.support.commands import graftlog
from tests.support.story_known import StoryKnown

LAST = date(2026, 11, 20)
STORY = scenario(LAST, lots=30, years=1)


@pytest.fixture
async def loaded(database: Database, settings: Settings) -> Settings:
    """A database that holds the whole story."""
    async with database.writer.acquire() as one:
        key = await create_key(one, name="loader", role="history")
    app = build(settings, run_views=False, run_jobs=False, database=database)
    async with listening(app) as url:
        headers = {"Authorization": f"Bearer {key.token}"}
        async with httpx.AsyncClient(base_url=url, headers=headers, trust_env=False) as client:
            await load(client, STORY)
    return settings


@pytest.fixture
async def conn(database: Database) -> AsyncIterator[Connection]:
    async with seeing(database.reader, None) as one:
        yield one


async def test_an_empty_log_has_no_past(conn: Connection) -> None:
    with pytest.raises(NoPastError, match="holds no events"):
        await Past.load(conn, Wanted(), by_log=False)


async def test_a_log_is_looked_back_on_as_it_was_known(
    loaded: Settings, conn: Connection, tmp_path: Path
) -> None:
    """The log and the story in memory tell the same of past days; the outcomes that the log tells
    by its gradings are the true ones within the days between two looks."""
    days = Wanted(first=date(2026, 3, 1), last=date(2026, 9, 1), every=61)
    past = await Past.load(conn, days, by_log=True)
    assert past.days[-1] == date(2026, 9, 1)
    story = StoryKnown(STORY)
    seen = [known async for known in past.known(days)]
    for day, known in zip(past.days, seen, strict=True):
        ours = story.at(day)
        assert known.lots == ours.lots
        assert (known.pushes, known.growths, known.takes) == (ours.pushes, ours.growths, ours.takes)
        assert known.standing == ours.standing
    assert len(seen[-1].lots.code) > 40
    assert STORY.truth is not None
    true, told = by_lot(STORY.truth.outcomes), await past.outcomes()
    assert len(told) >= 5
    off = []
    for lot, fates in told.items():
        days_of = [middle_day(each, days.first.toordinal()) for each in (fates, true.get(lot, []))]
        if None not in days_of:
            off.append(abs(days_of[0] - days_of[1]))  # type: ignore[operator]
    assert len(off) >= 5
    assert sorted(off)[len(off) // 2] <= 14

    chosen = await Past.load(conn, Wanted(), by_log=True)
    assert LAST - timedelta(days=125) <= chosen.days[-1] <= LAST - timedelta(days=119)
    for wanted, said in (
        (Wanted(last=date(2027, 1, 1)), "last told something of 2026-11-20"),
        (Wanted(first=date(2026, 9, 2), last=date(2026, 9, 1)), "no day to look at"),
    ):
        with pytest.raises(NoPastError, match=said):
            await Past.load(conn, wanted, by_log=False)

    await _the_command_prints_draws_and_writes(loaded, tmp_path)


async def _the_command_prints_draws_and_writes(loaded: Settings, tmp_path: Path) -> None:
    # Loading the story takes longest, so it is done once.
    assert STORY.truth is not None
    assert loaded.database_url is not None
    STORY.truth.write(tmp_path / "truth.json")
    drawing, cases = tmp_path / "chart.svg", tmp_path / "cases.ndjson"
    words = ["--outcomes", str(tmp_path / "truth.csv"), "--every", "60", "--draws", "50"]
    words += ["--chart", str(drawing), "--cases", str(cases)]
    done = await graftlog("backtest", *words, DATABASE_URL=loaded.database_url)
    assert done.code == 0, done.err
    assert "4 past days from 2026-05-24 to 2026-11-20" in done.out
    assert "Promises of an item at one site" in done.out
    assert drawing.read_text().startswith("<svg ")
    written = [msgspec.json.decode(line) for line in cases.read_bytes().splitlines()]
    lots = [one for one in written if "lot" in one]
    assert len(lots) > 20
    assert all(one["p20"] <= one["p50"] <= one["p80"] for one in lots)
    (tmp_path / "bad.csv").write_text("lot,day\n")
    bad = ["backtest", "--outcomes", str(tmp_path / "bad.csv")]
    refused = await graftlog(*bad, DATABASE_URL=loaded.database_url)
    assert refused.code == 1
    assert "the first line must read lot,size" in refused.err
    late = await graftlog("backtest", "--to", "2027-01-01", DATABASE_URL=loaded.database_url)
    assert late.code == 1
    assert "last told something of 2026-11-20" in late.err
