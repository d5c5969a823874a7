"""What calendars show: found in the books and views, and what programs are told of changes."""

from datetime import date, datetime, timedelta

import icalendar
import pytest

from service.reminders.calendar.days import bring_up, days
from service.reminders.calendar.entries import written
from service.storage.walls import seeing
from service.views.budwood import BudwoodOnHand
from service.views.checks import Checks
from service.views.runner import Runner
from tests.support.nursery import graft, nursery, season

BASE = "https://nursery.example"
EVERYTHING = ("checks", "orders", "bags")


class Wall:
    """A calendar on the wall of a nursery after its season."""

    def __init__(self, database, book) -> None:
        self.database, self.book = database, book
        self.runner = Runner(database, [Checks(), BudwoodOnHand()])

    async def at(self, moment: str) -> tuple[int, int]:
        await self.runner.catch_up()
        return await bring_up(self.database.writer, lambda: datetime.fromisoformat(moment))

    async def shown(self, moment: str, sites=("CORIN",), shows=EVERYTHING, language="en") -> dict:
        """Entries by what they say."""
        now = datetime.fromisoformat(moment)
        async with seeing(self.database.reader, sites) as connection:
            body = written(await days(connection, list(sites), shows, now), language, BASE)
        read = icalendar.Calendar.from_ical(body)
        return {str(event["summary"]): event for event in read.walk("VEVENT")}


@pytest.fixture
async def wall(database) -> Wall:
    book = await nursery(database.writer)
    await season(book)
    return Wall(database, book)


NOON = "2026-03-14T12:00:00+00:00"
TAKE = "Unwrap and read the take · C-T1 · TR1 · 10 trees"


async def test_a_check_stands_from_its_day_to_the_last_before_it_is_overdue(wall) -> None:
    await wall.at(NOON)
    shown = await wall.shown(NOON)
    take = shown[TAKE]
    row = await wall.database.writer.fetchrow(
        "SELECT due_on, overdue_on FROM checks_due WHERE lot = 'TR1' AND check_name = 'read_take'"
    )
    assert (take["dtstart"].dt, take["dtend"].dt) == (row["due_on"], row["overdue_on"])
    assert str(take["url"]) == f"{BASE}/table/C-T1"
    assert "Lote TR1" in str(
        (await wall.shown(NOON, language="es"))[
            "Quitar la cinta y leer el prendimiento · C-T1 · TR1 · 10 árboles"
        ]["description"]
    )
    assert "Last day to use bag BAG1 · 30 buds" in shown
    assert await wall.shown(NOON, ("TARNA",)) == {}
    assert not any("bag" in said for said in await wall.shown(NOON, shows=("checks",)))


async def test_what_is_recorded_is_cancelled_for_two_weeks_and_then_gone(wall) -> None:
    await wall.at(NOON)
    before = (await wall.shown(NOON))[TAKE]
    assert await wall.at(NOON) == (0, 0)
    told = {"lot": "TR1", "place": "C-T1", "size": "P9", "alive": 10}
    await wall.book.event("grafts.unwrapped", "CORIN", "2026-03-15", told)
    late = "2026-03-15T18:00:00+00:00"
    await wall.at(late)
    over = (await wall.shown(late))[f"Over: {TAKE}"]
    assert (over["uid"], over["status"]) == (before["uid"], "CANCELLED")
    assert int(over["sequence"]) == int(before["sequence"]) + 1
    await wall.at("2026-03-29T17:00:00+00:00")
    assert f"Over: {TAKE}" in await wall.shown(late)
    await wall.at("2026-03-29T19:00:00+00:00")
    assert f"Over: {TAKE}" not in await wall.shown(late)


async def test_a_count_that_changes_is_the_same_entry_and_a_day_that_changes_too(wall) -> None:
    await wall.at(NOON)
    before = (await wall.shown(NOON))[TAKE]
    lost = {"lot": "TR1", "place": "C-T1", "stage": "grafted", "size": "P9", "count": 1,
            "cause": "pest"}  # fmt: skip
    await wall.book.event("trees.lost", "CORIN", "2026-03-14", lost)
    await wall.at(NOON)
    fewer = (await wall.shown(NOON))[TAKE.replace("10", "9")]
    assert (fewer["uid"], fewer["sequence"]) == (before["uid"], before["sequence"])
    plan = {"crop": "citrus", "check": "read_take", "stage": "grafted", "after": "grafted",
            "due_days": 16, "overdue_days": 25, "source": "ours",
            "done_by": ["grafts.unwrapped"]}  # fmt: skip
    await wall.book.entry("check_plan", "OURS", **plan)
    await wall.at(NOON)
    moved = (await wall.shown(NOON))[TAKE.replace("10", "9")]
    assert moved["uid"] == before["uid"]
    assert moved["dtstart"].dt == date(2026, 3, 18)
    assert int(moved["sequence"]) == int(before["sequence"]) + 1


async def test_all_that_is_overdue_is_one_entry_on_the_sites_own_today(wall) -> None:
    # half past midnight in Madrid on the day of its spring hour: by UTC it is the day before
    moment = "2026-03-28T23:30:00+00:00"
    await wall.at(moment)
    late = next(
        event for said, event in (await wall.shown(moment)).items() if said.endswith("late")
    )
    assert late["dtstart"].dt == date(2026, 3, 29)
    # late counts from the first day after those on which it was due, as on pages and in mails
    assert str(late["description"]).endswith("13 days late, due since Mon 16 Mar.")
    after = datetime.fromisoformat(moment) + timedelta(days=1)
    moved = (await wall.shown(after.isoformat()))[str(late["summary"])]
    assert moved["uid"] == late["uid"]
    assert moved["dtstart"].dt == date(2026, 3, 30)
    assert int(moved["sequence"]) > int(late["sequence"])


async def test_bringing_up_twice_at_once_tells_each_once(wall) -> None:
    import asyncio

    await wall.runner.catch_up()
    await graft(wall.book, "TR3", "2026-03-12", count=5)
    await wall.runner.catch_up()
    clock = lambda: datetime.fromisoformat(NOON)  # noqa: E731
    told = await asyncio.gather(*(bring_up(wall.database.writer, clock) for _ in range(4)))
    assert sum(bool(new) for new, _ in told) == 1
