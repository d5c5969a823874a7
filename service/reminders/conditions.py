"""What the weather, the loggers and the cooler raise: told once, ended by themselves.

An alert is named by what began it (the moment a logger went out of range, the night, the bag and
its day), so that the next time is another alert and what was said of the last does not silence it.
"""

from datetime import datetime, timedelta

from service.forecast.records.loggers import LoggerNow, Watched, loggers_now, watched
from service.reminders.morning import bags_to_use, frost_ahead
from service.reminders.morning_shapes import BagToUse, Frost
from service.reminders.raising import (
    EXPIRING,
    FROST,
    OUT_OF_RANGE,
    SILENT,
    SQL,
    Raised,
    by_watch,
    keep,
)
from service.storage.pool import Connection
from service.views.site_days import site_days

NO_LONGER = "no_longer_so"


async def tell_conditions(conn: Connection, now: datetime) -> int:
    """Have an alert open for each thing that is so now at any site, and for no other.

    Returns how many were raised.
    """
    wanted: dict[str, list[Raised]] = {OUT_OF_RANGE: [], SILENT: [], FROST: [], EXPIRING: []}
    open_keys = await conn.fetch(SQL.open_keys, [OUT_OF_RANGE])
    names = [row["key"].removeprefix(f"{OUT_OF_RANGE}/") for row in open_keys]
    going_on = {name.rpartition("/")[0]: name for name in names}
    for site, today in (await site_days(conn, now)).items():
        by = await watched(conn, site)
        for logger in await loggers_now(conn, site, by, now):
            wanted[OUT_OF_RANGE] += _out_of_range(site, logger, going_on, now)
            wanted[SILENT] += _silent(site, logger, now)
        wanted[FROST] += _frost(site, await frost_ahead(conn, site, by, today), now)
        until = today + timedelta(days=by.watch.keeping_days)
        bags = await bags_to_use(conn, site, until)
        wanted[EXPIRING] += [_expiring(site, bag, by, now) for bag in bags]
    return sum([await keep(conn, kind, these, now, NO_LONGER) for kind, these in wanted.items()])


def _out_of_range(
    site: str, logger: LoggerNow, going_on: dict[str, str], now: datetime
) -> list[Raised]:
    spell, allowed = logger.out, logger.range_c
    if spell is None or allowed is None:
        return []
    # What lasts longer than is looked back has its first name.
    name = f"{site}/{logger.sensor}/{spell.side}"
    return [
        by_watch(
            OUT_OF_RANGE,
            going_on.get(name, f"{name}/{spell.since.isoformat()}"),
            [site],
            f"{logger.sensor} is too {spell.side} since {spell.since:%Y-%m-%d %H:%M}: "
            f"{spell.worst_c:g} C, where {allowed.lowest_c:g} to {allowed.highest_c:g} C is well.",
            now,
            numbers={
                "side": spell.side,
                "since": spell.since.isoformat(),
                "worst_c": spell.worst_c,
                "lowest_c": allowed.lowest_c,
                "highest_c": allowed.highest_c,
                "where": logger.where,
            },
            place=logger.place,
            subject=logger.sensor,
        )
    ]


def _silent(site: str, logger: LoggerNow, now: datetime) -> list[Raised]:
    if not logger.silent:
        return []
    last = logger.newest_at
    since = f"since {last:%Y-%m-%d %H:%M}" if last else "and was never heard"
    return [
        by_watch(
            SILENT,
            f"{site}/{logger.sensor}/{last.isoformat() if last else 'never'}",
            [site],
            f"{logger.sensor} is silent {since}: nobody knows how warm it is there.",
            now,
            numbers={"since": last and last.isoformat(), "where": logger.where},
            place=logger.place,
            subject=logger.sensor,
        )
    ]


def _frost(site: str, frost: Frost, now: datetime) -> list[Raised]:
    return [
        by_watch(
            FROST,
            f"{site}/{one.day}",
            [site],
            f"{one.min_c:g} C is foretold for {one.day} ({frost.source}).",
            now,
            numbers={"min_c": one.min_c, "limit_c": frost.limit_c, "source": frost.source},
            due_on=one.day,
        )
        for one in frost.days
    ]


def _expiring(site: str, bag: BagToUse, by: Watched, now: datetime) -> Raised:
    return by_watch(
        EXPIRING,
        f"{bag.bag}/{bag.place}/{bag.use_by}",
        [site],
        f"The usual keeping time of bag {bag.bag} ends on {bag.use_by}; "
        f"{bag.buds} buds are in it at {bag.place}.",
        now,
        numbers={
            "buds": bag.buds,
            "keep_days": bag.keep_days,
            "notice_days": by.watch.keeping_days,
        },
        lot=bag.lot,
        place=bag.place,
        due_on=bag.use_by,
        subject=bag.bag,
    )
