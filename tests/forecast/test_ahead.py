"""Forecasts given for a site's next days: checked, kept in versions, the newest in force."""

from datetime import UTC, date, datetime, timedelta

import pytest

from service.forecast.records.ahead import (
    AheadDay,
    AheadPut,
    AheadReport,
    check,
    days_of,
    in_force,
    put_ahead,
)
from service.forecast.records.sent import NotRecordedError
from service.storage.pool import Connection

TODAY = date(2026, 3, 14)
AT = datetime(2026, 3, 14, 6, 30, tzinfo=UTC)
HOUR = timedelta(hours=1)


def given(*days: tuple[int, float, float], **more: str | datetime) -> AheadPut:
    """A forecast of days from today on: how many days ahead, minimum, maximum."""
    told = [AheadDay(day=TODAY + timedelta(days=n), min_c=lo, max_c=hi) for n, lo, hi in days]
    return AheadPut(**{"source": "local forecast", "days": told, **more})  # type: ignore[arg-type]


async def put(
    conn: Connection, what: AheadPut, at: datetime = AT, *, told: bool = False
) -> AheadReport:
    return await put_ahead(
        conn, site="HOME", given=what, today=TODAY, recorded_by="key:test", recorded_at=at,
        told=told,
    )  # fmt: skip


def test_each_fault_is_named() -> None:
    what = given(
        (0, 9, 8), (1, 8, 20), (1, 8, 20), (-1, 8, 20), (15, 8, 20), (16, 8, 20),
        issued_at=AT + HOUR,
    )  # fmt: skip
    with pytest.raises(NotRecordedError) as refused:
        check(what, TODAY, AT)
    assert [(one.pointer, one.kind, one.detail) for one in refused.value.faults] == [
        ("/issued_at", "in_the_future", "2026-03-14T07:30:00+00:00 is still to come"),
        ("/days/0", "not_together", "2026-03-14: the minimum 9 C is above the maximum 8 C"),
        ("/days/2/day", "not_together", "2026-03-15 was given before, at /days/1"),
        (
            "/days/3/day",
            "in_the_past",
            "2026-03-13 is over: it is 2026-03-14 at the site; send what was measured instead",
        ),
        (
            "/days/5/day",
            "in_the_future",
            "2026-03-30 is beyond 2026-03-29, the last of 16 days from 2026-03-14",
        ),
    ]


async def test_the_newest_is_in_force_whole(writer: Connection) -> None:
    first = await put(writer, given((1, 9, 22), (0, 8.004, 21)))
    assert first == AheadReport(version=1, first=TODAY, last=TODAY + timedelta(days=1), days=2)
    await put(writer, given((2, 7, 18)), at=AT + HOUR)
    row = await in_force(writer, "HOME")
    assert (row["version"], days_of(row)) == (2, given((2, 7, 18)).days)
    # as it was known earlier, and at an earlier version
    for earlier in (await in_force(writer, "HOME", AT), await in_force(writer, "HOME", version=1)):
        assert days_of(earlier) == given((0, 8, 21), (1, 9, 22)).days
    assert await in_force(writer, "HOME", AT - HOUR) is None
    assert await in_force(writer, "AWAY") is None


async def test_the_same_again_changes_nothing(writer: Connection) -> None:
    issued = AT - HOUR
    for _ in range(2):
        told = await put(writer, given((0, 8, 21), issued_at=issued))
        assert told.version == 1
    later = await put(writer, given((0, 8, 21), issued_at=AT))
    assert later.version == 2


async def test_without_days_it_withdraws_the_one_before(writer: Connection) -> None:
    assert (await put(writer, given())).version == 0
    await put(writer, given((0, 8, 21)))
    assert (await put(writer, given())).version == 2
    assert days_of(await in_force(writer, "HOME")) == []


async def test_an_import_is_not_told_later_than_it_was_known(writer: Connection) -> None:
    await put(writer, given((0, 8, 21)))
    with pytest.raises(NotRecordedError, match="after the moment told"):
        await put(writer, given((0, 8, 22)), at=AT - HOUR, told=True)
    assert (await put(writer, given((0, 8, 21)), at=AT - HOUR, told=True)).version == 1
