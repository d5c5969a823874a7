"""Stock now, then, and as known then; stock by day."""

from datetime import UTC, date, datetime

import pytest

from service.clock import system_clock
from service.views.clocks import Asked
from service.views.runner import Runner
from service.views.stock import StockQuery, StockRow, stock
from service.views.stock_by_day import StockByDay, StockByDayQuery, stock_by_day
from tests.support.ledger_rows import Ledger
from tests.support.nursery import nursery, season


async def _rows(database, query: StockQuery, sites: list[str] | None = None) -> list[StockRow]:
    return (await stock(database.reader, query, sites, clock=system_clock)).rows


async def _losses(book: Ledger) -> tuple[int, int]:
    """Four trees of TR1 lost on 20 March, told late, and that telling voided."""
    lost = await book.event(
        "trees.lost",
        "CORIN",
        "2026-03-20",
        {
            "lot": "TR1",
            "place": "C-T1",
            "stage": "grafted",
            "size": "P9",
            "count": 4,
            "cause": "frost",
        },
    )
    return lost, await book.void(lost, "CORIN", "2026-04-02")


async def test_stock_groups_and_keeps_kinds_apart(database) -> None:
    book = await nursery(database.writer)
    await season(book)
    rows = await _rows(database, StockQuery(group_by=("site", "place", "lot")))
    assert {(r.kind, r.place, r.lot, r.commodity, r.quantity) for r in rows} == {
        ("bag", "C-BOX", "BW1", "buds", 45),
        ("liners", "C-T1", "LN1", "plants", 30),
        ("trees", "C-T1", "TR1", "plants", 10),
        ("trees", "C-T2", "TR2", "plants", 20),
    }
    assert await _rows(database, StockQuery(kind="trees", place="C-T2", group_by=())) == [
        StockRow(kind="trees", commodity="plants", quantity=20)
    ]
    assert await _rows(database, StockQuery(), ["TARNA"]) == []


async def test_as_of_and_known_at_combine(database) -> None:
    book = await nursery(database.writer)
    await season(book)
    lost, voided = await _losses(book)
    trees = StockQuery(group_by=("lot",), kind="trees", lot="TR1")

    async def quantity(**clocks) -> int:
        query = StockQuery(group_by=("lot",), kind="trees", lot="TR1", asked=Asked(**clocks))
        return sum(row.quantity for row in await _rows(database, query))

    assert [r.quantity for r in await _rows(database, trees)] == [10]
    # the day of grafting is in, the day before is not
    assert await quantity(as_of=date(2026, 3, 1)) == 0
    assert await quantity(as_of=date(2026, 3, 2)) == 10
    # before the void was known, the loss stood from its day on
    assert await quantity(as_of=date(2026, 3, 19), known_at=lost) == 10
    assert await quantity(as_of=date(2026, 3, 20), known_at=lost) == 6
    assert await quantity(known_at=lost - 1) == 10
    assert await quantity(as_of=date(2026, 3, 20), known_at=voided) == 10
    # by the time of recording: the helper records one event a minute from 1 January 2026
    assert await quantity(known_at=datetime(2026, 1, 1, 0, lost, 30, tzinfo=UTC)) == 6
    assert await quantity(known_at=datetime(2025, 1, 1, tzinfo=UTC)) == 0


async def test_known_time_is_found_at_every_position(database) -> None:
    book = await nursery(database.writer)
    await season(book)
    for position in range(book.position + 1):
        at = datetime(2026, 1, 1, 0, position, 30, tzinfo=UTC)
        answer = await stock(
            database.reader, StockQuery(asked=Asked(known_at=at)), None, clock=system_clock
        )
        assert answer.known_at == position


@pytest.mark.parametrize("query", [StockQuery(group_by=("colour",)), StockQuery(kind="plants")])
async def test_unknown_words_are_named(database, query: StockQuery) -> None:
    with pytest.raises(ValueError, match="there are"):
        await stock(database.reader, query, None, clock=system_clock)


async def test_stock_by_day_matches_the_books_on_every_day(database) -> None:
    book = await nursery(database.writer)
    await season(book)
    await _losses(book)
    runner = Runner(database, [StockByDay()])
    await runner.catch_up()
    first, last = date(2026, 3, 1), date(2026, 3, 31)
    query = StockByDayQuery(first=first, last=last, group_by=("site", "stage"), kind="trees")
    answer = await stock_by_day(database.reader, query, None)
    assert answer.position == book.position
    assert [(r.day, r.quantity, r.change) for r in answer.rows] == [
        (date(2026, 3, 2), 10, 10),
        (date(2026, 3, 10), 30, 20),
    ]
    for day in (date(2026, 3, 1), date(2026, 3, 2), date(2026, 3, 15), last):
        then = await _rows(database, StockQuery(kind="trees", asked=Asked(as_of=day)))
        shown = [r.quantity for r in answer.rows if r.day <= day]
        assert (shown[-1] if shown else 0) == sum(r.quantity for r in then)


async def test_the_first_day_tells_its_own_change(database) -> None:
    book = await nursery(database.writer)
    await season(book)
    await Runner(database, [StockByDay()]).catch_up()
    for first, told in (
        (date(2026, 3, 10), [(date(2026, 3, 10), 30, 20)]),
        (date(2026, 3, 5), [(date(2026, 3, 5), 10, 0), (date(2026, 3, 10), 30, 20)]),
    ):
        query = StockByDayQuery(first=first, last=date(2026, 3, 31), kind="trees")
        answer = await stock_by_day(database.reader, query, None)
        assert [(r.day, r.quantity, r.change) for r in answer.rows] == told


async def test_rebuild_gives_the_same_days(database) -> None:
    book = await nursery(database.writer)
    await season(book)
    runner = Runner(database, [StockByDay()])
    await runner.catch_up()
    await _losses(book)
    await runner.catch_up()
    incremental = await database.writer.fetch(
        "SELECT * FROM stock_by_day ORDER BY 1,2,3,4,5,6,7,8,9"
    )
    assert incremental
    await runner.rebuild("stock_by_day")
    rebuilt = await database.writer.fetch("SELECT * FROM stock_by_day ORDER BY 1,2,3,4,5,6,7,8,9")
    assert rebuilt == incremental
