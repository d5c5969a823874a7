"""Alerts: raised once, said of by people, ended by recording, the same after a rebuild."""

import asyncio
from datetime import date, datetime
from uuid import UUID

import pytest

from service.reminders.alerts import AlertRow, Alerts, AlertsQuery, alert, alerts
from service.reminders.raising import alert_id
from service.reminders.watch import look_at_calendar
from service.views.checks import Checks
from service.views.runner import Runner
from tests.support.ledger_rows import Ledger
from tests.support.nursery import graft, nursery, season


def _clock(text: str):
    return lambda: datetime.fromisoformat(text)


class Desk:
    """A nursery after its season, with checks and alerts kept up."""

    def __init__(self, database, book: Ledger) -> None:
        self.database, self.book = database, book
        self.runner = Runner(database, [Checks(), Alerts()])

    async def at(self, moment: str) -> int:
        await self.runner.catch_up()
        return await look_at_calendar(self.database.writer, _clock(moment))

    async def alerts(self, moment: str, sites=None, **filters) -> list[AlertRow]:
        await self.runner.catch_up()
        query = AlertsQuery(**filters)
        return (await alerts(self.database.reader, query, sites, clock=_clock(moment))).rows

    async def say(self, type_: str, about: str, **data) -> int:
        whole = {"alert": about, **data}
        return await self.book.event(type_, "CORIN", "2026-03-25T09:00:00+01:00", whole)


@pytest.fixture
async def desk(database) -> Desk:
    book = await nursery(database.writer)
    await season(book)
    return Desk(database, book)


FIRST_DAY = "2026-03-24T12:00:00+00:00"


async def test_an_overdue_check_raises_one_alert_however_often_it_is_looked_at(desk) -> None:
    # the place nobody looked at, overdue since 17 March; on its eighth day it gets louder
    assert await desk.at("2026-03-23T12:00:00+00:00") == 1
    assert await desk.at(FIRST_DAY) == 2
    assert await desk.at(FIRST_DAY) == 0
    found = await desk.alerts(FIRST_DAY, kind="overdue_check")
    assert [(a.lot, a.place, a.check, a.due_on, a.level, a.state) for a in found] == [
        ("TR1", "C-T1", "read_take", date(2026, 3, 14), 1, "open")
    ]
    assert found[0].id == alert_id("overdue_check/TR1/C-T1/read_take/2026-03-14/1")
    assert UUID(found[0].id).version == 5
    looks = await desk.alerts(FIRST_DAY, kind="place_not_looked_at", state="open")
    assert [(a.place, a.lot, a.level) for a in looks] == [("C-T1", None, 2)]


async def test_two_at_once_raise_one(desk) -> None:
    await desk.runner.catch_up()
    pool = desk.database.writer
    raised = await asyncio.gather(
        *(look_at_calendar(pool, _clock(FIRST_DAY)) for _ in range(4)), return_exceptions=True
    )
    assert all(isinstance(each, int) for each in raised), raised
    assert len(await desk.alerts(FIRST_DAY, kind="overdue_check")) == 1


async def test_recording_the_check_ends_the_alert_and_voiding_brings_it_back(desk) -> None:
    await desk.at(FIRST_DAY)
    unwrapped = {"lot": "TR1", "place": "C-T1", "size": "P9", "alive": 10}
    done = await desk.book.event("grafts.unwrapped", "CORIN", "2026-03-24", unwrapped)
    found = await desk.alerts(FIRST_DAY, kind="overdue_check", lot="TR1")
    assert [a.state for a in found] == ["closed"]
    assert found[0].closed_at is not None
    await desk.book.void(done, "CORIN", "2026-03-25")
    await desk.at("2026-03-25T12:00:00+00:00")
    found = await desk.alerts("2026-03-25T12:00:00+00:00", kind="overdue_check", lot="TR1")
    assert [(a.state, a.closed_because) for a in found] == [("open", None)]


async def test_a_look_ends_the_alert_of_the_place(desk) -> None:
    await desk.at(FIRST_DAY)
    await desk.book.event("place.checked", "CORIN", "2026-03-24", {"place": "C-T1"})
    found = await desk.alerts(FIRST_DAY, kind="place_not_looked_at", place="C-T1")
    assert [(a.state, a.closed_because) for a in found] == [("closed", "done")]


async def test_long_overdue_gets_louder_once(desk) -> None:
    await desk.at(FIRST_DAY)
    louder = "2026-03-31T12:00:00+00:00"  # the eighth day overdue
    await desk.at("2026-03-30T12:00:00+00:00")
    assert [a.level for a in await desk.alerts(FIRST_DAY, lot="TR1", state="open")] == [1]
    await desk.at(louder)
    await desk.at(louder)
    found = await desk.alerts(louder, lot="TR1", kind="overdue_check")
    assert {(a.level, a.state, a.closed_because) for a in found} == {
        (2, "open", None),
        (1, "closed", "louder_one_raised"),
    }


async def test_what_people_say_of_an_alert(desk) -> None:
    await desk.at(FIRST_DAY)
    (one,) = await desk.alerts(FIRST_DAY, kind="overdue_check")
    await desk.say("alert.acknowledged", one.id, note="on it")
    (one,) = await desk.alerts(FIRST_DAY, kind="overdue_check")
    assert (one.state, one.acknowledged_by, one.note) == ("acknowledged", "p-01", "on it")
    data = {"alert": one.id, "on": "2026-03-28"}
    await desk.book.event("alert.remind_on", "CORIN", "2026-03-26T09:00:00+01:00", data)
    # 22:59:59 UTC on 27 March is still that day in Madrid; a second later it is the 28th
    (one,) = await desk.alerts("2026-03-27T22:59:59+00:00", kind="overdue_check")
    assert (one.state, one.remind_on) == ("remind_on", date(2026, 3, 28))
    (one,) = await desk.alerts("2026-03-27T23:00:00+00:00", kind="overdue_check")
    assert one.state == "open"
    assert await desk.alerts("2026-03-27T23:00:00+00:00", state="acknowledged") == []


async def _remarked(desk: Desk, lot: str = "TX1") -> int:
    await graft(desk.book, lot, "2026-03-12", count=1)
    return await desk.book.event(
        "tops.forced",
        "CORIN",
        "2026-03-13",
        {"lot": lot, "place": "C-T1"},
        remarks=[
            {"kind": "early_push", "detail": "Early."},
            {"kind": "breach", "detail": "A hold blocks it.", "numbers": {"rule": "held"}},
        ],
    )


async def test_remarks_raise_alerts_and_end_with_their_event(desk) -> None:
    written = await _remarked(desk)
    found = await desk.alerts(FIRST_DAY, lot="TX1")
    assert [(a.kind, a.detail, a.numbers, a.state) for a in found] == [
        ("breach", "A hold blocks it.", {"rule": "held"}, "open")
    ]
    assert found[0].event is not None
    await desk.book.void(written, "CORIN", "2026-03-14")
    found = await desk.alerts(FIRST_DAY, lot="TX1")
    assert [(a.state, a.closed_because) for a in found] == [("closed", "voided")]


async def test_a_rebuild_keeps_ids_words_and_what_the_calendar_raised(desk) -> None:
    written = await _remarked(desk)
    await _remarked(desk, "TX2")
    await desk.at(FIRST_DAY)
    for each in await desk.alerts(FIRST_DAY):
        await desk.say("alert.acknowledged", each.id)
    await desk.book.void(written, "CORIN", "2026-03-26")
    before = await desk.alerts(FIRST_DAY)
    assert {a.state for a in before} == {"acknowledged", "closed"}
    await desk.runner.rebuild("alerts")
    assert await desk.alerts(FIRST_DAY) == before


async def test_faults_and_what_waits_to_be_put_right(desk) -> None:
    await desk.runner.catch_up()
    writer = desk.database.writer
    await writer.execute(
        "INSERT INTO view_faults (view, generation, subject, position, error) "
        "VALUES ('checks', 1, 'lot:TR9', 7, 'no such stage')"
    )
    await writer.execute(
        "INSERT INTO to_put_right (principal, site, sites, raw, reasons, first_at, last_at) "
        "VALUES ('desk', 'TARNA', '{TARNA}', '{}', '[]', now(), now())"
    )
    await desk.at(FIRST_DAY)
    await desk.at(FIRST_DAY)
    (fault,) = await desk.alerts(FIRST_DAY, kind="view_fault")
    (refused,) = await desk.alerts(FIRST_DAY, kind="to_put_right")
    assert (fault.subject, fault.state) == ("lot:TR9", "open")
    assert (refused.site, refused.state) == ("TARNA", "open")
    assert [a.kind for a in await desk.alerts(FIRST_DAY, ["TARNA"])] == ["to_put_right"]
    await writer.execute("DELETE FROM view_faults")
    await writer.execute("UPDATE to_put_right SET state = 'discarded'")
    await desk.at(FIRST_DAY)
    states = {a.state for a in await desk.alerts(FIRST_DAY, kind="view_fault")}
    assert states == {a.state for a in await desk.alerts(FIRST_DAY, site="TARNA")} == {"closed"}


async def test_pages_and_one_alert(desk) -> None:
    for n in range(5):
        await _remarked(desk, f"TX{n}")
    await desk.at("2026-04-24T12:00:00+00:00")
    whole = await desk.alerts(FIRST_DAY)
    assert len(whole) > 7
    paged: list[AlertRow] = []
    after = None
    while True:
        query = AlertsQuery(limit=3, after=after)
        page = await alerts(desk.database.reader, query, None, clock=_clock(FIRST_DAY))
        paged += page.rows
        after = page.next_after
        if after is None:
            break
    assert paged == whole
    reader, clock = desk.database.reader, _clock(FIRST_DAY)
    assert await alert(reader, whole[0].id, None, clock=clock) == whole[0]
    assert await alert(reader, whole[0].id, ["TARNA"], clock=clock) is None
    assert await alert(reader, "no-id", None, clock=clock) is None
    with pytest.raises(ValueError, match="no key"):
        await alerts(reader, AlertsQuery(after=["2026-01-01", "x"]), None, clock=clock)


async def test_a_count_settles_what_was_read_at_unwrapping(desk) -> None:
    """An earlier walk does not, and a count's own difference stays for somebody to look at."""
    differs = {"kind": "count_differs", "detail": "x", "numbers": {"lot": "TR1", "place": "C-T1"}}
    read = {"lot": "TR1", "place": "C-T1", "size": "P9", "alive": 9, "failed": 0}
    walk = {"lot": "TR1", "place": "C-T1", "size": "P9", "pushed": 0, "waiting": 10, "failed": 0}
    book = {"book": {"grafted": 10, "pushed": 0, "failed": 0}}
    await desk.book.event("grafts.unwrapped", "CORIN", "2026-03-20", read, remarks=[differs])

    await desk.book.event("push.counted", "CORIN", "2026-03-19", walk | book, remarks=[differs])
    found = await desk.alerts(FIRST_DAY, kind="count_differs", state="open")
    assert len(found) == 2

    await desk.book.event("push.counted", "CORIN", "2026-03-21", walk | book)
    found = await desk.alerts(FIRST_DAY, kind="count_differs")
    assert sorted((a.state, a.closed_because) for a in found) == [
        ("closed", "counted"),
        ("open", None),
    ]
