"""How a site's loggers stand now: too warm or too cold where they hang, silent, or always the same.

A logger hangs where a place of the catalogue names it; one in a cooler is held to the site's range
for coolers, all others to that of the benches. Judged are readings that can be: a single one out of
range is an open door, two in a row are told.
"""

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from itertools import groupby
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo

import asyncpg
import msgspec
from msgspec import Meta

from service.log.incoming import FUTURE_TOLERANCE
from service.storage.pool import Connection
from service.storage.sql import load
from service.trade.events.catalogue import TemperatureRange, Watch
from service.views.site_days import zone

SQL = load(__package__, "loggers.sql")
LOOKED_AT = timedelta(hours=24)
TOLD_AFTER = 2
"""Readings in a row out of range before it is told: common practice, no source."""
FORGOTTEN_AFTER = timedelta(days=14)
"""A logger that no place names and that was silent for longer is taken to be gone."""


class Spell(msgspec.Struct, frozen=True, kw_only=True):
    """A stretch out of range, with the reading furthest off."""

    side: Literal["cold", "warm"]
    since: datetime
    until: Annotated[datetime | None, Meta(description="Back in range; null: still out.")]
    worst_c: float


class LoggerNow(msgspec.Struct, frozen=True, kw_only=True):
    """A logger and the last 24 hours of it. Times carry the site's offset."""

    sensor: str
    place: Annotated[str | None, Meta(description="null: no place names it.")]
    structure: str | None
    where: Literal["cooler", "bench"]
    range_c: Annotated[TemperatureRange | None, Meta(description="null: it is not watched.")]
    range_is_usual: Annotated[
        bool,
        Meta(description="Common practice, without a source: the site has stated none of its own."),
    ]
    newest_at: Annotated[datetime | None, Meta(description="null: it never told anything.")]
    newest_c: float | None
    lowest_c: float | None
    highest_c: float | None
    spells: Annotated[list[Spell], Meta(description="Out of range, oldest first.")]
    silent: Annotated[bool, Meta(description="Longer than the site's norm.")]
    stuck: Annotated[bool, Meta(description="The same to a hundredth for a day: look at it.")]

    @property
    def out(self) -> Spell | None:
        """The spell that goes on."""
        return self.spells[-1] if self.spells and self.spells[-1].until is None else None


class Watched(msgspec.Struct, frozen=True):
    """What is watched at a site: its zone, its norms, whether it stated them itself."""

    there: ZoneInfo
    watch: Watch
    own: bool
    named: dict[str, dict[str, Any]]


async def watched(conn: Connection, site: str) -> Watched:
    """The norms by which a site is watched; those that we came with where it has none."""
    row = await conn.fetchrow(SQL.site, site)
    told = row["watch"] if row else None
    return Watched(
        there=zone(row["time_zone"] if row else None),
        watch=Watch() if told is None else msgspec.convert(told, Watch),
        own=told is not None,
        named={one["sensor"]: one for one in (row["named"] if row else [])},
    )


async def loggers_now(conn: Connection, site: str, by: Watched, now: datetime) -> list[LoggerNow]:
    """Every logger of a site that hangs somewhere or was heard lately, by name."""
    heard = {row["sensor"]: row["taken_at"] for row in await conn.fetch(SQL.heard, site)}
    recent: dict[str, list[asyncpg.Record]] = {}
    if heard:
        # What a logger's clock tells a little ahead of ours is its newest reading all the same.
        rows = await conn.fetch(SQL.recent, site, now - LOOKED_AT, now + FUTURE_TOLERANCE)
        recent = {sensor: list(told) for sensor, told in groupby(rows, lambda row: row["sensor"])}
    lately = {sensor for sensor, at in heard.items() if at > now - FORGOTTEN_AFTER}
    return [
        _logger(sensor, by, heard.get(sensor), recent.get(sensor, []), now)
        for sensor in sorted(lately | set(by.named))
    ]


def _logger(
    sensor: str, by: Watched, newest: datetime | None, rows: Sequence[Any], now: datetime
) -> LoggerNow:
    place = by.named.get(sensor, {})
    cooler = bool(place.get("cooler"))
    allowed = by.watch.cooler_c if cooler else by.watch.bench_c
    celsius = [row["celsius"] for row in rows]
    hours = by.watch.silent_hours
    silence = newest is None or (now - newest) > timedelta(hours=hours or 0)
    return LoggerNow(
        sensor=sensor,
        place=place.get("place"),
        structure=place.get("structure"),
        where="cooler" if cooler else "bench",
        range_c=allowed,
        range_is_usual=not by.own,
        newest_at=newest and newest.astimezone(by.there),
        newest_c=celsius[-1] if celsius else None,
        lowest_c=min(celsius, default=None),
        highest_c=max(celsius, default=None),
        spells=spells_of(
            [(row["taken_at"].astimezone(by.there), row["celsius"]) for row in rows], allowed
        ),
        silent=hours is not None and silence,
        stuck=bool(rows) and rows[-1]["stuck"],
    )


def spells_of(
    told: Iterable[tuple[datetime, float]], allowed: TemperatureRange | None
) -> list[Spell]:
    """Stretches of readings in a row that are out of a range, in order of time.

    One that ends the readings goes on: `until` is null.
    """
    if allowed is None:
        return []
    sides = [(at, celsius, _side(celsius, allowed)) for at, celsius in told]
    found: list[Spell] = []
    runs = [(side, list(run)) for side, run in groupby(sides, lambda one: one[2])]
    for number, (side, run) in enumerate(runs):
        if side is None or len(run) < TOLD_AFTER:
            continue
        worst = min if side == "cold" else max
        found.append(
            Spell(
                side=side,
                since=run[0][0],
                until=runs[number + 1][1][0][0] if number + 1 < len(runs) else None,
                worst_c=worst(celsius for _, celsius, _ in run),
            )
        )
    return found


def _side(celsius: float, allowed: TemperatureRange) -> Literal["cold", "warm"] | None:
    if celsius < allowed.lowest_c:
        return "cold"
    return "warm" if celsius > allowed.highest_c else None
