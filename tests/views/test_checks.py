"""Checks as people ask for them: by the site's own day, late and voided events, rebuild."""

from datetime import UTC, date, datetime, timedelta

import pytest

from service.views.checks import CheckRow, Checks, ChecksQuery, checks
from service.views.runner import Runner
from tests.support.ledger_rows import Ledger
from tests.support.nursery import graft, nursery, season


def _clock(text: str):
    at = datetime.fromisoformat(text)
    assert at.tzinfo is not None
    return lambda: at


async def _checks(database, at: str, sites=None, **filters) -> list[CheckRow]:
    page = await checks(database.reader, ChecksQuery(**filters), sites, clock=_clock(at))
    return page.rows


async def _table(database) -> list[tuple]:
    rows = await database.writer.fetch("SELECT * FROM checks_due ORDER BY lot, place, check_name")
    return [tuple(row) for row in rows]


async def _unwrapped(book: Ledger, lot: str, place: str, day: str, alive: int = 10) -> int:
    data = {"lot": lot, "place": place, "size": "P9", "alive": alive}
    return await book.event("grafts.unwrapped", "CORIN", day, data)


async def _same_after_rebuild(database, runner: Runner) -> None:
    incremental = await _table(database)
    assert incremental
    await runner.rebuild("checks")
    assert await _table(database) == incremental


async def test_a_graft_makes_its_take_due_and_unwrapping_moves_on(database) -> None:
    book = await nursery(database.writer)
    await season(book)
    runner = Runner(database, [Checks()])
    await runner.catch_up()
    rows = await _checks(database, "2026-03-24T12:00:00Z", lot="TR1")
    assert [(r.check, r.place, r.trees, r.state, r.days_overdue) for r in rows] == [
        ("read_take", "C-T1", 10, "overdue", 1)
    ]
    assert (rows[0].cultivar, rows[0].due_on) == ("NAVEL", date(2026, 3, 14))
    await _unwrapped(book, "TR1", "C-T1", "2026-03-24")
    await runner.catch_up()
    rows = await _checks(database, "2026-03-24T12:00:00Z", lot="TR1")
    assert {(r.check, r.state) for r in rows} == {("force", "due"), ("push_walk", "upcoming")}
    await _same_after_rebuild(database, runner)


async def test_trees_gone_no_check(database) -> None:
    book = await nursery(database.writer)
    await season(book)
    runner = Runner(database, [Checks()])
    await runner.catch_up()
    line = {"lot": "TR1", "place": "C-T1", "stage": "grafted", "size": "P9", "count": 10}
    await book.event("trees.sold", "CORIN", "2026-03-20", {"customer": "cust-1", "lines": [line]})
    await runner.catch_up()
    assert await _checks(database, "2026-03-24T12:00:00Z", lot="TR1") == []
    # nothing lives on the table any more, so nobody need look at it
    assert await _checks(database, "2026-06-24T12:00:00Z", place="C-T1") == []
    await _same_after_rebuild(database, runner)


async def test_late_and_voided_events_come_out_as_if_told_in_time(database) -> None:
    book = await nursery(database.writer)
    await season(book)
    runner = Runner(database, [Checks()])
    await runner.catch_up()
    untold = await _table(database)
    walked = await book.event(
        "push.counted",
        "CORIN",
        "2026-04-10",
        {
            "lot": "TR1",
            "place": "C-T1",
            "size": "P9",
            "waiting": 10,
            "book": {"grafted": 10, "pushed": 0, "failed": 0},
        },
    )
    # told after the walk, but done before it
    unwrapped = await _unwrapped(book, "TR1", "C-T1", "2026-03-16")
    await runner.catch_up()
    walk = await _checks(database, "2026-04-10T12:00:00Z", lot="TR1", check="push_walk")
    assert [(r.last_done, r.due_on) for r in walk] == [(date(2026, 4, 10), date(2026, 4, 17))]
    await _same_after_rebuild(database, runner)
    await book.void(walked, "CORIN", "2026-04-11")
    await runner.catch_up()
    walk = await _checks(database, "2026-04-10T12:00:00Z", lot="TR1", check="push_walk")
    assert [(r.last_done, r.due_on) for r in walk] == [(None, date(2026, 3, 23))]
    await book.void(unwrapped, "CORIN", "2026-04-11")
    await runner.catch_up()
    assert await _table(database) == untold
    await _same_after_rebuild(database, runner)


async def test_a_place_nobody_looked_at(database) -> None:
    book = await nursery(database.writer)
    await season(book)
    runner = Runner(database, [Checks()])
    await runner.catch_up()
    rows = await _checks(database, "2026-03-16T12:00:00Z", check="look")
    # trees stand at C-T1 since 2 March, at C-T2 since 11 March; the norm is 14 days
    assert [(r.place, r.lot, r.due_on, r.state, r.trees) for r in rows] == [
        ("C-T1", None, date(2026, 3, 16), "due", 10),
        ("C-T2", None, date(2026, 3, 25), "upcoming", 20),
    ]
    look = await book.event("place.checked", "CORIN", "2026-03-17", {"place": "C-T1"})
    await runner.catch_up()
    rows = await _checks(database, "2026-03-17T12:00:00Z", check="look", place="C-T1")
    assert [(r.last_done, r.due_on) for r in rows] == [(date(2026, 3, 17), date(2026, 3, 31))]
    await book.void(look, "CORIN", "2026-03-18")
    await runner.catch_up()
    rows = await _checks(database, "2026-03-18T12:00:00Z", check="look", place="C-T1")
    assert [(r.last_done, r.state, r.days_overdue) for r in rows] == [(None, "overdue", 2)]
    await _same_after_rebuild(database, runner)


async def test_opening_starts_the_clocks_of_lots_and_places(database) -> None:
    book = await nursery(database.writer)
    await book.lot("OLD", "tree", "CORIN", "2024-05-01", cultivar="NAVEL", rootstock="CARRIZO")
    line = {
        "kind": "trees",
        "lot": "OLD",
        "grafted_on": "2024-05-01",
        "stage": "grafted",
        "size": "P9",
        "place": "C-T1",
        "count": 8,
    }
    await book.event("stock.opened", "CORIN", "2026-09-01", {"lines": [line]})
    runner = Runner(database, [Checks()])
    await runner.catch_up()
    rows = await _checks(database, "2026-09-01T12:00:00Z")
    assert {(r.check, r.due_on, r.state) for r in rows} == {
        ("read_take", date(2026, 9, 13), "upcoming"),
        ("look", date(2026, 9, 15), "upcoming"),
    }


async def test_a_plan_of_the_catalogue_recomputes_every_lot(database) -> None:
    book = await nursery(database.writer)
    await season(book)
    runner = Runner(database, [Checks()])
    await runner.catch_up()
    await book.entry(
        "check_plan",
        "OWN-TAKE",
        check="read_take",
        crop="citrus",
        after="grafted",
        due_days=5,
        overdue_days=6,
        done_by=["grafts.unwrapped"],
        source="ours",
    )
    await runner.catch_up()
    rows = await _checks(database, "2026-03-10T12:00:00Z", check="read_take")
    assert {(r.lot, r.plan, r.due_on) for r in rows} == {
        ("TR1", "OWN-TAKE", date(2026, 3, 7)),
        ("TR2", "OWN-TAKE", date(2026, 3, 15)),
    }
    await _same_after_rebuild(database, runner)


@pytest.mark.parametrize(
    ("moment", "corin_overdue", "tarna_overdue"),
    [
        # The first day overdue is 24 March 2026: Madrid is at UTC+1, Auckland at UTC+13.
        ("2026-03-23T10:59:59+00:00", False, False),
        ("2026-03-23T11:00:00+00:00", False, True),
        ("2026-03-23T22:59:59+00:00", False, True),
        ("2026-03-23T23:00:00+00:00", True, True),
    ],
)
async def test_each_site_has_its_own_midnight(
    database, moment: str, corin_overdue: bool, tarna_overdue: bool
) -> None:
    book = await nursery(database.writer)
    await season(book)
    await _opened_at_tarna(book, "2026-03-02")
    await Runner(database, [Checks()]).catch_up()
    rows = await _checks(database, moment, check="read_take", state="overdue")
    assert {r.lot for r in rows} == ({"TR1"} if corin_overdue else set()) | (
        {"FAR"} if tarna_overdue else set()
    )


async def _opened_at_tarna(book: Ledger, day: str) -> None:
    await book.lot("FAR", "tree", "TARNA", day, cultivar="NAVEL", rootstock="CARRIZO")
    line = {
        "kind": "trees",
        "lot": "FAR",
        "stage": "grafted",
        "size": "P9",
        "place": "T-T1",
        "count": 8,
    }
    await book.event("stock.opened", "TARNA", day, {"lines": [line]})


@pytest.mark.parametrize(
    ("moment", "day"),
    [
        # Spain's clocks went from 02:00 to 03:00 on 29 March 2026 and back on 25 October 2026.
        ("2026-03-28T22:59:59+00:00", date(2026, 3, 28)),
        ("2026-03-28T23:00:00+00:00", date(2026, 3, 29)),
        ("2026-03-29T21:59:59+00:00", date(2026, 3, 29)),
        ("2026-03-29T22:00:00+00:00", date(2026, 3, 30)),
        ("2026-10-25T22:59:59+00:00", date(2026, 10, 25)),
        ("2026-10-25T23:00:00+00:00", date(2026, 10, 26)),
    ],
)
async def test_the_day_turns_right_where_clocks_change(database, moment: str, day: date) -> None:
    book = await nursery(database.writer)
    await season(book)
    await Runner(database, [Checks()]).catch_up()
    rows = await _checks(database, moment, lot="TR1")
    assert [r.today for r in rows] == [day]
    assert rows[0].days_overdue == max((day - date(2026, 3, 24)).days + 1, 0)


async def test_pages_and_sites(database) -> None:
    book = await nursery(database.writer)
    await season(book)
    for n in range(7):
        await graft(book, f"TX{n}", "2026-03-12", count=1)
    await _opened_at_tarna(book, "2026-03-02")
    await Runner(database, [Checks()]).catch_up()
    clock = _clock("2026-03-20T12:00:00Z")
    whole = (await checks(database.reader, ChecksQuery(), None, clock=clock)).rows
    assert [r.due_on for r in whole] == sorted(r.due_on for r in whole)
    paged: list[CheckRow] = []
    after = None
    while True:
        query = ChecksQuery(limit=3, after=after)
        page = await checks(database.reader, query, None, clock=clock)
        paged += page.rows
        after = page.next_after
        if after is None:
            break
    assert paged == whole
    only = (await checks(database.reader, ChecksQuery(), ["TARNA"], clock=clock)).rows
    assert {r.site for r in only} == {"TARNA"}
    with pytest.raises(ValueError, match="no key"):
        await checks(database.reader, ChecksQuery(after=["x"]), None, clock=clock)


async def test_one_unreadable_history_does_not_stop_the_others(database) -> None:
    book = await nursery(database.writer)
    await season(book)
    # a fact of a type this program does not know, as after a step back to an older version
    await database.writer.execute(
        "INSERT INTO events SELECT position + 1, gen_random_uuid(), 'trees.sung_to', version, "
        "site, sites, occurred, occurred_at, occurred_day, recorded_at, recorded_by, actor, "
        "happened, replaces, gen_random_uuid(), digest, remarks, data FROM events "
        "ORDER BY position DESC LIMIT 1"
    )
    await database.writer.execute(
        "INSERT INTO subjects SELECT 'lot', 'TR1', $1, max(position) FROM events",
        datetime(2026, 3, 20, tzinfo=UTC) + timedelta(hours=12),
    )
    await database.writer.execute("UPDATE log_head SET position = position + 1")
    await Runner(database, [Checks()]).catch_up()
    rows = await _checks(database, "2026-03-24T12:00:00Z", check="read_take")
    assert {r.lot for r in rows} == {"TR2"}
    assert await database.writer.fetchval("SELECT subject FROM view_faults") == "lot:TR1"
