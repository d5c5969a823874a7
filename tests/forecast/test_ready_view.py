"""Answers about ready dates, numbers ready and what was learned: filters, pages, walls, words."""

from collections.abc import AsyncIterator
from datetime import date, datetime
from typing import Any

import msgspec
import pytest

from service.forecast.answers.counts_view import CountsQuery, ready_counts
from service.forecast.answers.learned_view import LearnedQuery, learned
from service.forecast.answers.ready_view import ReadyQuery, ready_dates
from service.forecast.refresh import refresh
from service.forecast.shapes import Foretold, Known, LotTold, Supply
from service.jobs.every_view import every_view
from service.log.append import Appender
from service.storage.pool import Database
from service.trade.promising import LEVELS, STEPS
from service.views.clocks import ClockError
from service.views.runner import Runner
from tests.support import foretelling
from tests.support.bench_side import NOW, BenchSide

TODAY = date(2026, 6, 30)


def clock() -> datetime:
    return NOW


@pytest.fixture
async def seven(database: Database) -> AsyncIterator[Database]:
    """Seven lots of 3 trees; of two no day can be told; two sites, one of them without trees."""
    appender = Appender(database, clock=clock)
    await appender.start()
    bench = BenchSide(appender, database)
    await bench.stocked()
    await bench.given(*(bench.graft(3, lot=f"T{number}") for number in range(7)))
    await Runner(database, every_view()).catch_up()

    async def some_undated(known: Known) -> Foretold:
        told = foretelling.forecast(known)
        told.lots = [_changed(one, known.lots.code[one.lot]) for one in told.lots]
        told.supply = [*_supply("CORIN", 10), *_supply("TARNA", 20), *_supply("", 25)]
        return told

    await refresh(database, clock, forecast=some_undated)
    yield database
    await appender.stop()


def _changed(one: LotTold, code: str) -> LotTold:
    if code in ("T2", "T5"):
        return msgspec.structs.replace(one, p20=0, p50=0, p80=0, why="no temperatures")
    return msgspec.structs.replace(one, p50=TODAY.toordinal() + 10 + int(code[1]) % 3)


def _supply(site: str, trees: int) -> list[Supply]:
    """Five more each week at the surest level, one tree fewer for each level surer."""
    rows = [[5 * step + trees - n for n in range(len(LEVELS))] for step in range(STEPS)]
    item = {"cultivar": "NAVEL", "rootstock": "CARRIZO", "size": "P9", "site": site}
    return [
        Supply(**item, grade=grade, first=TODAY.toordinal(), quantities=rows, mean=[0.5] * STEPS,
               trees=trees)
        for grade in ("", "first")
    ]  # fmt: skip


async def _lots(database: Database, sites: list[str] | None = None, **asked: Any) -> list[str]:
    page = await ready_dates(database.reader, ReadyQuery(**asked), sites, clock=clock)
    return [row.lot for row in page.rows]


async def test_soonest_first_unknown_last_in_pages(seven: Database) -> None:
    whole = await _lots(seven)
    assert whole == ["T0", "T3", "T6", "T1", "T4", "T2", "T5"]
    after, seen = None, []
    while True:
        query = ReadyQuery(limit=2, after=after)
        page = await ready_dates(seven.reader, query, None, clock=clock)
        seen += [row.lot for row in page.rows]
        after = page.next_after
        if after is None:
            break
    assert seen == whole
    with pytest.raises(ValueError, match="no key of a page"):
        await _lots(seven, after=["2026-06-30", "T1"])


async def test_filters(seven: Database) -> None:
    assert await _lots(seven, lot="T3") == ["T3"]
    assert await _lots(seven, size="P9", cultivar="NAVEL", rootstock="CARRIZO", lot="T1") == ["T1"]
    assert await _lots(seven, size="C2") == []
    # the middle day lies between, both included; without a day, in neither
    assert await _lots(seven, ready_by=date(2026, 7, 10)) == ["T0", "T3", "T6"]
    assert await _lots(seven, ready_from=date(2026, 7, 11)) == ["T1", "T4"]
    assert await _lots(seven, site="TARNA") == []


async def test_only_sites_that_may_be_seen(seven: Database) -> None:
    assert await _lots(seven, ["TARNA"]) == []
    assert await _lots(seven, ["TARNA"], site="CORIN") == []
    assert len(await _lots(seven, ["CORIN"])) == 7
    page = await ready_counts(seven.reader, CountsQuery(), ["TARNA"], clock=clock)
    assert {row.site for row in page.rows} == {"TARNA"}


async def test_a_lot_says_how_wide_its_estimate_is_and_why(seven: Database) -> None:
    page = await ready_dates(seven.reader, ReadyQuery(lot="T0"), None, clock=clock)
    (row,) = page.rows
    assert row.words.startswith("An estimate: 8 in 10 sure")
    assert "It rests on what was counted of 40 trees in 1 lot." in row.reasons
    assert "Few lots: the rest is borrowed from a weak prior." in row.reasons
    page = await ready_dates(seven.reader, ReadyQuery(lot="T2"), None, clock=clock)
    assert page.rows[0].words == "It cannot be told when they will be ready. No temperatures."


async def test_numbers_ready_by_a_day(seven: Database) -> None:
    """A day between two that are told counts as the earlier one."""
    for by, told, surest in (
        (date(2026, 6, 30), date(2026, 6, 30), 10),
        (date(2026, 7, 6), date(2026, 6, 30), 10),
        (date(2026, 7, 7), date(2026, 7, 7), 15),
    ):
        query = CountsQuery(site="CORIN", by=by)
        any_grade, first = (await ready_counts(seven.reader, query, None, clock=clock)).rows
        assert (any_grade.grade, first.grade) == (None, "first")
        (count,) = any_grade.counts
        assert (count.day, count.expected) == (told, 0.5)
        # LEVELS: 0.5 is the first, 0.8 the fifth, 0.9 the seventh
        assert (count.sure_5_in_10, count.sure_8_in_10, count.sure_9_in_10) == (
            surest,
            surest - 4,
            surest - 6,
        )
    assert any_grade.words == (
        "An estimate: by 7 July 2026 8 in 10 sure at least 11, 9 in 10 sure at least 9, as likely "
        "as not 15."
    )


async def test_numbers_ready_week_by_week_and_in_pages(seven: Database) -> None:
    query = CountsQuery(weeks=26, limit=4)
    page = await ready_counts(seven.reader, query, None, clock=clock)
    assert [row.site for row in page.rows] == [None, "CORIN", "TARNA", None]
    assert [count.day for count in page.rows[0].counts] == [
        date(2026, 6, 30),
        date(2026, 12, 29),
        date(2027, 6, 29),
        date(2027, 12, 28),
    ]
    query = CountsQuery(weeks=26, limit=4, after=page.next_after)
    page = await ready_counts(seven.reader, query, None, clock=clock)
    assert [(row.grade, row.site) for row in page.rows] == [("first", "CORIN"), ("first", "TARNA")]
    assert page.next_after is None


async def test_days_that_no_number_is_told_of(seven: Database) -> None:
    for by, kind in ((date(2026, 6, 29), "in_the_past"), (date(2028, 2, 1), "in_the_future")):
        with pytest.raises(ClockError) as refused:
            await ready_counts(seven.reader, CountsQuery(by=by), None, clock=clock)
        assert (refused.value.clock, refused.value.kind) == ("by", kind)


async def test_what_was_learned_with_what_it_rests_on(seven: Database) -> None:
    page = await learned(seven.reader, LearnedQuery(), None)
    assert [(row.what, row.method, row.site) for row in page.rows] == [
        ("push", None, None),
        ("take", None, "CORIN"),
        ("take", None, "TARNA"),
        ("take", "t_bud", None),
    ]
    push = page.rows[0]
    assert (push.middle, push.low, push.high, push.fallback) == (410, 380, 440, "few lots")
    assert push.words.endswith("It rests on what was counted of 40 trees in 1 lot.")
    assert page.position > 0

    async def those(sites: list[str] | None, **asked: Any) -> list[tuple[str, str | None]]:
        rows = (await learned(seven.reader, LearnedQuery(**asked), sites)).rows
        return [(row.what, row.site) for row in rows]

    # what all sites taught together is shown to whoever sees any of them
    assert await those(["TARNA"], what="take") == [("take", "TARNA"), ("take", None)]
    assert await those(None, crop="citrus", method="t_bud") == [("take", None)]
    assert await those(None, crop="mango") == []
    rest = LearnedQuery(limit=3)
    page = await learned(seven.reader, rest, None)
    again = await learned(seven.reader, LearnedQuery(after=page.next_after), None)
    assert len(again.rows) == 1
