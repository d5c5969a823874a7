"""A forecast made anew: what is known goes to a process of its own, what it foretells is stored.

All sites at once, since crops are learned over all of them. While it is worked out, and when that
fails, the answers of the forecast before stand.
"""

import asyncio
import math
import os
import sys
import time
from collections import Counter
from collections.abc import Awaitable, Callable, Iterable
from datetime import date, datetime, timedelta
from typing import Any

import msgspec
import structlog

from service.clock import Clock
from service.forecast.answers.ready_view import NAME
from service.forecast.known import VIEWS, load_known
from service.forecast.records.ways import ways
from service.forecast.shapes import (
    LEVELS,
    STEP_DAYS,
    Foretold,
    Known,
    LotTold,
    SiteWeather,
)
from service.storage.pool import Connection, Database
from service.storage.sql import load
from service.variables import PREFIX
from service.views.positions import position
from service.views.site_days import site_days

SQL = load(__package__, "refresh.sql")
_log = structlog.get_logger(__name__)
WORKER = "service.forecast.numerics.worker:forecast"
LIMIT = timedelta(minutes=2)
"""A forecast that takes longer is ended: a nursery of 10,000 lots needs seconds."""
KEPT = timedelta(days=400)
MOST_BEHIND = 1000
"""While the views have more events than this to catch up with, a forecast would tell of half."""
# Events that move no tree and change nothing that is known of one.
WITHOUT_TREES = (
    *("alert", "budwood", "grafting", "liners", "place", "promise", "reservation"),
    *("scions", "tools", "treatment", "work"),
)
Forecast = Callable[[Known], Awaitable[Foretold]]


class ForecastError(Exception):
    """A forecast could not be made; what was told before stands."""


class Done(msgspec.Struct, frozen=True, kw_only=True):
    """A forecast that was made: what it reflects and how much it tells. `told` is false where
    another process had told a newer one meanwhile."""

    position: int
    made_at: datetime
    lots: int
    undated: int
    items: int
    learned: int
    seconds: float
    remarks: list[str]
    told: bool

    @property
    def words(self) -> str:
        """In a few words."""
        lots = "1 lot" if self.lots == 1 else f"{self.lots} lots"
        items = "1 item" if self.items == 1 else f"{self.items} items"
        said = f"{lots} ({self.undated} without a day), {items}"
        return f"position {self.position}: {said}, {self.seconds:.1f} s"


class _Taken(msgspec.Struct, frozen=True, kw_only=True):
    """All of one moment that a forecast is made from and told with."""

    known: Known
    made_at: datetime
    days: dict[str, date]
    weather: dict[str, list[int]]
    standing: dict[tuple[str, str], tuple[list[str], list[str]]]
    gone: Counter[tuple[str, ...]]


async def in_child(known: Known, *, function: str = WORKER, limit: timedelta = LIMIT) -> Foretold:
    """Work a forecast out in a process of its own. Raises ForecastError; never leaves it behind."""
    seconds = limit.total_seconds()
    process = await asyncio.create_subprocess_exec(
        # -P: what lies in the folder that the service was started in is no part of it.
        *(sys.executable, "-P", "-m", "service.forecast.child", function, str(int(seconds) + 10)),
        stdin=asyncio.subprocess.PIPE,
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.PIPE,
        # It needs no database, and so no password.
        env={name: value for name, value in os.environ.items() if not name.startswith(PREFIX)},
    )
    try:
        async with asyncio.timeout(seconds):
            given = await asyncio.to_thread(msgspec.msgpack.encode, known)
            answer, said = await process.communicate(given)
    except TimeoutError as error:
        raise ForecastError(f"it took longer than {seconds:g} s and was ended") from error
    finally:
        if process.returncode is None:
            process.kill()
            await process.wait()
    if process.returncode != 0:
        lines = said.decode(errors="replace").strip().splitlines() or ["it said nothing"]
        _log.error("forecast_child_failed", code=process.returncode, said=lines[-40:])
        words = lines[-1]
        raise ForecastError(f"its process ended with {process.returncode}: {words}")
    try:
        return await asyncio.to_thread(msgspec.msgpack.decode, answer, type=Foretold)
    except msgspec.DecodeError as error:
        raise ForecastError(f"its answer is none: {error}") from error


class Wanted(msgspec.Struct, frozen=True):
    """Whether a forecast is to be made now, and why or why not, in words."""

    now: bool
    words: str


async def wanted(conn: Connection, morning: datetime) -> Wanted:
    """Whether the newest forecast still says all that could be said.

    `morning` is the newest morning that has come at any site. Events that change nothing foretold
    are noted as reflected.
    """
    newest = await conn.fetchrow(SQL.newest)
    after = newest["position"] if newest else 0
    log = await conn.fetchrow(SQL.concerned, after, WITHOUT_TREES)
    assert log is not None, "the log has one head"
    behind = log["position"] - min([await position(conn, view) for view in VIEWS])
    if behind > MOST_BEHIND:
        return Wanted(False, f"waits for the views, {behind} events behind")
    if newest is None:
        return Wanted(True, "the first")
    if newest["made_at"] < morning:
        return Wanted(True, "a new morning")
    if newest["weather"] != await _weather_marks(conn):
        return Wanted(True, "temperatures changed")
    if log["concerned"]:
        return Wanted(True, "trees were recorded")
    await conn.execute(SQL.reflect, NAME, log["position"])
    return Wanted(False, "the newest says all")


async def refresh(database: Database, clock: Clock, *, forecast: Forecast | None = None) -> Done:
    """Make a forecast of what is known now and tell it in place of the one before.

    `forecast` works it out; left out, a process of its own does. Raises ForecastError when it can't
    be made.
    """
    begin = time.perf_counter()
    async with (
        database.writer.acquire() as conn,
        conn.transaction(isolation="repeatable_read", readonly=True),
    ):
        taken = await _take(conn, clock())
    foretold = await (forecast or in_child)(taken.known)
    _fits(foretold, taken.known)
    seconds = time.perf_counter() - begin
    async with database.writer.acquire() as conn, conn.transaction():
        told = await _tell(conn, taken, foretold, seconds)
    return Done(
        position=foretold.position,
        made_at=taken.made_at,
        lots=len(foretold.lots),
        undated=sum(1 for lot in foretold.lots if not lot.p50),
        items=len({(s.cultivar, s.rootstock, s.size) for s in foretold.supply}),
        learned=len(foretold.learned),
        seconds=time.perf_counter() - begin,
        remarks=foretold.remarks,
        told=told,
    )


async def _take(conn: Connection, now: datetime) -> _Taken:
    days = await site_days(conn, now)
    known = await load_known(conn, days, ways=await ways(conn))
    standing = {
        (row["lot"], row["site"]): (row["places"], row["sizes"])
        for row in await conn.fetch(SQL.growing)
    }
    return _Taken(
        known=known,
        made_at=now,
        days=days,
        weather=await _weather_marks(conn),
        standing=standing,
        gone=_summed(await conn.fetch(SQL.gone)),
    )


def _summed(rows: Iterable[Any]) -> Counter[tuple[str, ...]]:
    """What went out, by item and site; of any grade and of all sites too (empty texts)."""
    gone: Counter[tuple[str, ...]] = Counter()
    for row in rows:
        for grade in {row["grade"], ""}:
            for site in {row["site"], ""}:
                key = (row["cultivar"], row["rootstock"], row["size"], grade, site)
                gone[key] += row["total"]
    return gone


def _fits(foretold: Foretold, known: Known) -> None:
    """Refuse an answer to another question."""
    if foretold.position != known.position:
        raise ForecastError(
            f"it answers for position {foretold.position}, asked was {known.position}"
        )


async def _tell(conn: Connection, taken: _Taken, foretold: Foretold, seconds: float) -> bool:
    await conn.execute(SQL.one_at_a_time)
    at, reflected = taken.made_at, foretold.position
    if await conn.fetchval(SQL.is_newer, reflected, at):
        return False
    when = {"position": reflected, "made_at": at}
    for clear, put, rows in (
        (SQL.clear_ready_dates, SQL.put_ready_dates, _ready_dates(taken, foretold.lots)),
        (SQL.clear_supply, SQL.put_supply, _supply(taken, foretold)),
        (SQL.clear_lead_times, SQL.put_lead_times, _lead_times(foretold)),
        (SQL.clear_learned, SQL.put_learned, map(msgspec.structs.asdict, foretold.learned)),
        (SQL.clear_take_rates, SQL.put_take_rates, map(msgspec.structs.asdict, foretold.rates)),
        (SQL.clear_push_curves, SQL.put_push_curves, map(msgspec.structs.asdict, foretold.curves)),
    ):
        await conn.execute(clear)
        await conn.execute(put, [row | when for row in rows])
    days = {**taken.days, "": max(taken.days.values(), default=at.date())}
    await conn.execute(SQL.keep, list(days), list(days.values()), reflected, at)
    await conn.execute(SQL.forget, days[""] - KEPT)
    await conn.execute(SQL.forget_forecasts, at - KEPT)
    told = {site: day.isoformat() for site, day in taken.days.items()}
    await conn.execute(
        SQL.add_forecast,
        *(at, reflected, told, taken.weather, foretold.draws, seconds, foretold.remarks),
    )
    await conn.execute(SQL.reflect, NAME, reflected)
    return True


def _ready_dates(taken: _Taken, lots: list[LotTold]) -> Iterable[dict[str, Any]]:
    known = taken.known.lots
    weather = {site.site: site for site in taken.known.sites}
    for told in lots:
        at, code = told.lot, known.code[told.lot]
        places, sizes = taken.standing.get((code, told.site), ([], []))
        here = weather.get(told.site) or SiteWeather(site=told.site, today=0)
        # What is NaN here is null in JSON, and so in the table.
        row = msgspec.structs.asdict(told) | {
            "lot": code,
            "cultivar": known.cultivar[at],
            "rootstock": known.rootstock[at],
            "crop": known.crop[at],
            "method": known.method[at],
            "grafted_on": _day(known.grafted_on[at]),
            "places": places,
            "sizes": sizes,
            "counted_from": _day(told.since),
            "ready_expected": told.ready,
            "weather_ahead": _ahead(here),
            "temperature_version": here.version,
            "as_of": taken.days[told.site],
        }
        if math.isnan(told.ready):
            row |= {"ready_low": None, "ready_high": None}
        yield row | {name: _day(row[name]) for name in ("p20", "p50", "p80")}


def _supply(taken: _Taken, foretold: Foretold) -> Iterable[dict[str, Any]]:
    for told in foretold.supply:
        item = (told.cultivar, told.rootstock, told.size, told.grade, told.site)
        yield msgspec.structs.asdict(told) | {
            "first": _day(told.first),
            "step_days": STEP_DAYS,
            "levels": LEVELS,
            "quantities": [count for step in told.quantities for count in step],
            "went_out": taken.gone[item],
        }


def _lead_times(foretold: Foretold) -> Iterable[dict[str, Any]]:
    for told in foretold.lead_times:
        yield msgspec.structs.asdict(told) | {
            "grafted_on": _day(told.grafted_on),
            "days": [None if days < 0 else days for days in told.days],
            "nearly": [None if days < 0 else days for days in told.nearly],
            "levels": LEVELS,
        }


def _ahead(weather: SiteWeather) -> str:
    """The forecast that was given for the next days, in words; empty where there is none."""
    days = sum(1 for low in weather.ahead_low if not math.isnan(low))
    if not days:
        return ""
    return f"{weather.ahead_source}, {days} {'day' if days == 1 else 'days'}"


def _day(ordinal: int) -> date | None:
    return date.fromordinal(ordinal) if ordinal > 0 else None


async def _weather_marks(conn: Connection) -> dict[str, list[int]]:
    """By site the newest version of all that is known of its weather."""
    return {row["site"]: row["versions"] for row in await conn.fetch(SQL.weather_marks)}
