"""Temperatures as sent (CSV and JSON), checked, and kept in versions in PostgreSQL."""

import asyncio
from datetime import UTC, date, datetime, timedelta

import asyncpg
import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.forecast.records.sent import NotRecordedError
from service.forecast.records.temperatures import (
    RecordGap,
    TemperatureDay,
    TemperaturesPut,
    TemperaturesReport,
    check,
    load_history,
    load_version,
    parse_csv,
    put_temperatures,
    version_known_at,
    warnings_of,
)
from service.storage.pool import Connection, Database
from service.storage.walls import seeing

TODAY = date(2026, 3, 14)
AT = datetime(2026, 3, 14, 9, 30, tzinfo=UTC)


def of(day: int, low: float | None, high: float | None, month: int = 3) -> TemperatureDay:
    return TemperatureDay(day=date(2026, month, day), min_c=low, max_c=high)


async def put(
    conn: Connection, *days: TemperatureDay, at: datetime = AT, site: str = "HOME"
) -> TemperaturesReport:
    return await put_temperatures(
        conn,
        site=site,
        source="logger 3",
        days=days,
        today=TODAY,
        recorded_by="key:test",
        recorded_at=at,
    )


# --- CSV ------------------------------------------------------------------------------------------
def test_csv_as_spreadsheets_write_it() -> None:
    lines = [
        "\ufeffday,min_c,max_c",
        "2026-03-01,8.5,21",
        "",
        '"2026-03-02", -1.25 ,+7',
        "2026-03-03,,",
    ]
    text = "\r\n".join(lines) + "\r\n"
    assert parse_csv(text) == [of(1, 8.5, 21), of(2, -1.25, 7), of(3, None, None)]


@pytest.mark.parametrize(
    ("line", "detail"),
    [
        ("2026-02-30,1,2", "'2026-02-30' is not a day written like 2026-03-14"),
        ("14/03/2026,1,2", "'14/03/2026' is not a day written like 2026-03-14"),
        ("20260314,1,2", "'20260314' is not a day written like 2026-03-14"),
        ("2026-03-01,1", "2 cells where day,min_c,max_c are wanted"),
        ("2026-03-01;1;2", "1 cells where day,min_c,max_c are wanted"),
        ("2026-03-01,8,five", "'five' is not a temperature written like 18.4"),
        ("2026-03-01,nan,2", "'nan' is not a temperature written like 18.4"),
        ("2026-03-01,1e3,2", "'1e3' is not a temperature written like 18.4"),
        ("2026-03-01,\u0661,2", "'\u0661' is not a temperature written like 18.4"),
        ("2026-03-01,9,8.5", "the minimum 9 C is above the maximum 8.5 C"),
        ("2026-03-01,9,60.5", "60.5 C is outside -60 to 60 C"),
        ("2026-03-01,,8", "minimum and maximum must both be given"),
        ('2026-03-01,"8,9', "not a line of CSV"),
    ],
)
def test_csv_names_the_line_and_what_is_wrong(line: str, detail: str) -> None:
    with pytest.raises(NotRecordedError) as refused:
        parse_csv(f"day,min_c,max_c\n2026-02-28,1,2\n{line}\n")
    (fault,) = refused.value.faults
    assert fault.line == 3
    assert fault.detail.startswith(detail)


def test_csv_names_all_bad_lines_at_once_up_to_a_limit() -> None:
    with pytest.raises(NotRecordedError) as refused:
        parse_csv("day,min_c,max_c\n" + "x,1,2\n" * 80)
    assert [fault.line for fault in refused.value.faults] == list(range(2, 52))


def test_csv_day_given_twice() -> None:
    with pytest.raises(NotRecordedError) as refused:
        parse_csv("day,min_c,max_c\n2026-03-01,1,2\n\n2026-03-01,1,2\n")
    (fault,) = refused.value.faults
    assert (fault.line, fault.detail) == (4, "2026-03-01 was given before, on line 2")


@pytest.mark.parametrize("text", ["", "\n", "day,max_c,min_c\n2026-03-01,2,1", "day;min_c;max_c"])
def test_csv_header(text: str) -> None:
    with pytest.raises(NotRecordedError, match="the first line must read day,min_c,max_c"):
        parse_csv(text)


def test_csv_without_days_and_with_too_many() -> None:
    with pytest.raises(NotRecordedError, match="no days after the header"):
        parse_csv("day,min_c,max_c\n")
    first = date(2010, 1, 1)
    days = [f"{first + timedelta(days=n)},1,2" for n in range(4001)]
    assert len(parse_csv("\n".join(["day,min_c,max_c", *days[:4000]]))) == 4000
    with pytest.raises(NotRecordedError, match="more than 4000 days"):
        parse_csv("\n".join(["day,min_c,max_c", *days]))


@given(st.text(max_size=60))
def test_csv_refuses_rather_than_breaks(body: str) -> None:
    """Whatever stands there, the answer is a list of days or a list of faults."""
    try:
        told: list[object] = list(parse_csv("day,min_c,max_c\n" + body))
    except NotRecordedError as refused:
        told = list(refused.faults)
    assert told


# --- JSON and checks ------------------------------------------------------------------------------
def test_json_shape() -> None:
    sent = b'{"source": "logger 3", "days": [{"day": "2026-03-01", "min_c": 8.5, "max_c": 21}]}'
    got = msgspec.json.decode(sent, type=TemperaturesPut)
    assert got.days == [of(1, 8.5, 21)]


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("21", "61"),
        ("21", "1e999"),
        ('"2026-03-01"', '"2026-02-29"'),
        ('"max_c"', '"max"'),
        ("logger", "log\\u0000ger"),
        ('[{"day": "2026-03-01", "min_c": 8.5, "max_c": 21}]', "[]"),
    ],
)
def test_json_that_is_refused(old: str, new: str) -> None:
    sent = '{"source": "logger 3", "days": [{"day": "2026-03-01", "min_c": 8.5, "max_c": 21}]}'
    with pytest.raises(msgspec.ValidationError):
        msgspec.json.decode(sent.replace(old, new), type=TemperaturesPut)


def test_checks_point_at_each_fault() -> None:
    tomorrow, after = of(15, 1, 2), of(16, 1, 2)
    early = TemperatureDay(day=date(1850, 1, 1), min_c=1, max_c=2)
    with pytest.raises(NotRecordedError) as refused:
        check(
            [of(1, 9, 8), of(2, 1, 2), of(2, 1, 2), tomorrow, after, early, of(3, None, 1)], TODAY
        )
    assert [(fault.pointer, fault.detail) for fault in refused.value.faults] == [
        ("/days/0", "2026-03-01: the minimum 9 C is above the maximum 8 C"),
        ("/days/2/day", "2026-03-02 was given before, at /days/1"),
        ("/days/4/day", "2026-03-16 is in the future: it is 2026-03-14 at the site"),
        ("/days/5/day", "1850-01-01 is before the year 1900"),
        (
            "/days/6",
            "2026-03-03: minimum and maximum must both be given, or both be empty to withdraw "
            "the day",
        ),
    ]


def test_jumps_are_warned_of_once_and_in_words() -> None:
    record = {
        date(2026, 3, 1): (10.0, 20.0),
        date(2026, 3, 2): (31.0, 40.0),
        date(2026, 3, 3): (11.0, 20.0),
        date(2026, 3, 5): (50.0, 55.0),
    }
    assert warnings_of(record, [date(2026, 3, 2), date(2026, 3, 3), date(2026, 3, 5)]) == [
        "the minimum went from 10 C on 2026-03-01 to 31 C on 2026-03-02"
    ]
    wild = {date(2025, 1, 1) + timedelta(days=n): ((n % 2) * 50.0, 55.0) for n in range(100)}
    many = warnings_of(wild, wild)
    assert len(many) == 50
    assert many[-1] == "and 50 more jumps of this kind"


# --- Versions -------------------------------------------------------------------------------------
async def test_a_first_record(writer: Connection) -> None:
    report = await put(writer, of(1, 8.456, 21), of(2, 9, 22), of(6, 10, 31.5))
    assert report == TemperaturesReport(
        version=1,
        days_written=3,
        days_unchanged=0,
        first=date(2026, 3, 1),
        last=date(2026, 3, 6),
        gaps=[RecordGap(from_=date(2026, 3, 3), to=date(2026, 3, 5), days=3)],
        warnings=[],
    )
    assert b'"gaps":[{"from":"2026-03-03"' in msgspec.json.encode(report)
    assert await load_history(writer, "HOME") == {
        date(2026, 3, 1): (8.46, 21.0),
        date(2026, 3, 2): (9.0, 22.0),
        date(2026, 3, 6): (10.0, 31.5),
    }
    assert await load_history(writer, "AWAY") == {}


async def test_unchanged_days_make_no_rows_and_no_version(writer: Connection) -> None:
    await put(writer, of(1, 8.1, 21.3), of(2, 9, 22))
    again = await put(writer, of(1, 8.1, 21.3), of(2, 9.001, 22), of(9, None, None))
    assert (again.version, again.days_written, again.days_unchanged) == (1, 0, 3)
    assert await writer.fetchval("SELECT count(*) FROM temperature_versions") == 1
    more = await put(writer, of(1, 8.1, 21.3), of(2, 9.5, 22))
    assert (more.version, more.days_written, more.days_unchanged) == (2, 1, 1)
    assert await writer.fetchval("SELECT count(*) FROM temperatures") == 3


async def test_both_clocks(writer: Connection) -> None:
    """What was known at a moment stays known, corrected or withdrawn later as it may be."""
    hour = timedelta(hours=1)
    await put(writer, of(1, 8, 21), of(2, 9, 22), at=AT)
    await put(writer, of(1, 7, 20), at=AT + hour)
    gone = await put(writer, of(2, None, None), at=AT + 2 * hour)
    assert (gone.version, gone.last) == (3, date(2026, 3, 1))
    known = [await load_history(writer, "HOME", AT + shift * hour) for shift in (-1, 0, 1, 2)]
    first, second = date(2026, 3, 1), date(2026, 3, 2)
    assert known == [
        {},
        {first: (8, 21), second: (9, 22)},
        {first: (7, 20), second: (9, 22)},
        {first: (7, 20)},
    ]
    assert await load_version(writer, "HOME", 2) == known[2]
    assert await version_known_at(writer, "HOME") == 3


async def test_the_clock_of_a_record_never_runs_back(writer: Connection) -> None:
    await put(writer, of(1, 8, 21), at=AT)
    await put(writer, of(1, 7, 20), at=AT - timedelta(days=1))
    assert await load_history(writer, "HOME", AT - timedelta(hours=1)) == {}
    assert await load_history(writer, "HOME", AT) == {date(2026, 3, 1): (7, 20)}


async def test_a_refused_change_leaves_nothing(writer: Connection) -> None:
    with pytest.raises(NotRecordedError):
        await put(writer, of(1, 8, 21), of(1, 8, 21))
    assert await version_known_at(writer, "HOME") == 0


async def test_the_neighbour_on_record_counts_for_jumps(writer: Connection) -> None:
    await put(writer, of(1, 8, 21))
    report = await put(writer, of(2, 8, 42))
    assert report.warnings == ["the maximum went from 21 C on 2026-03-01 to 42 C on 2026-03-02"]


async def test_two_at_once_get_versions_one_after_the_other(database: Database) -> None:
    async def one(day: int) -> int:
        async with database.writer.acquire() as conn:
            return (await put(conn, of(day, 8, 20 + day))).version

    versions = await asyncio.gather(*(one(day) for day in range(1, 13)))
    assert sorted(versions) == list(range(1, 13))
    async with database.writer.acquire() as conn:
        assert len(await load_history(conn, "HOME")) == 12


@pytest.mark.parametrize("table", ["temperatures", "temperature_versions"])
@pytest.mark.parametrize("verb", ["UPDATE {} SET recorded_by = 'x'", "DELETE FROM {}"])
async def test_the_writer_cannot_rewrite_the_record(
    writer: Connection, table: str, verb: str
) -> None:
    with pytest.raises(asyncpg.InsufficientPrivilegeError):
        await writer.execute(verb.format(table))


async def test_the_reader_reads_and_no_more(database: Database) -> None:
    async with database.writer.acquire() as conn:
        await put(conn, of(1, 8, 21))
    async with seeing(database.reader, ["HOME"]) as conn:
        assert await load_history(conn, "HOME") == {date(2026, 3, 1): (8, 21)}
        with pytest.raises(
            (asyncpg.InsufficientPrivilegeError, asyncpg.ReadOnlySQLTransactionError)
        ):
            await conn.execute(
                "INSERT INTO temperature_versions VALUES ('H', 1, now(), 'x', 'x', 1)"
            )
