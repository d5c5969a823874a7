"""Two nurseries in one log that have one of everything, told apart by the first letters of codes.

Whatever begins with AA is of AA-SITE (and AA-TWO, to which it sends), whatever begins with ZZ of
ZZ-SITE (and ZZ-TWO); all else is common. So what a key of AA-SITE is told must not hold ZZ.
"""

from datetime import UTC, datetime, timedelta
from typing import Any

import asyncpg
import httpx

from service.clock import system_clock
from service.forecast.refresh import refresh
from service.jobs.every_view import every_view
from service.log.keys import create_key
from service.reminders.calendar.days import bring_up
from service.reminders.watch import look_at_calendar
from service.storage.pool import Database
from service.views.runner import Runner
from service.webhooks.ledger import Attempt, Standing, write_all
from tests.support.foretelling import stand_in

OURS, THEIRS = "AA", "ZZ"
# Of a sale of each, by which it is asked for.
SOLD = {
    OURS: "0190a5c4-7c00-7b3e-9a40-0d9c3b1f5b00",
    THEIRS: "0190a5c4-7c00-7b3e-9a40-0d9c3b1f5b01",
}
# Of papers that each printed.
PRINTED = {
    OURS: "0190a5c4-7c00-7b3e-9a40-0d9c3b1f5c00",
    THEIRS: "0190a5c4-7c00-7b3e-9a40-0d9c3b1f5c01",
}
PAST = datetime(2026, 8, 3, 12, tzinfo=UTC)
COMMON: list[tuple[str, dict[str, Any]]] = [
    ("cultivars/NAV", {"crop": "citrus", "species": "Citrus sinensis", "epithet": "Navelina"}),
    ("rootstocks/CARR", {"crop": "citrus", "name": "Carrizo citrange"}),
    ("sizes/P9", {"label": "9 cm pot"}),
    ("source-trees/TREE-AA", {"cultivar": "NAV"}),
    ("source-trees/TREE-2", {"cultivar": "NAV"}),
]


def places(ours: str) -> list[tuple[str, dict[str, Any]]]:
    """Sites and places of one nursery."""
    where = {"time_zone": "Europe/Madrid", "latitude": 39.5, "longitude": -0.4}
    site = f"{ours}-SITE"
    health = {
        "authority": f"{ours} plant health service",
        "phone": "+34 900 000 000",
        "country": "ES",
        "registration": f"{ours} 17460123",
        "inspected_on": "2026-01-01",
        "valid_until": "2199-12-31",
        "passport": {"title": "Plant Passport", "union_flag": True},
    }
    return [
        (f"sites/{site}", {"name": f"{ours} nursery", **where, "plant_health": health}),
        (f"sites/{ours}-TWO", {"name": f"{ours} yard", **where}),
        (f"places/{ours}-BOX", {"site": site, "structure": f"{ours} store"}),
        (f"places/{ours}-T1", {"site": site, "structure": f"{ours} house"}),
        (f"places/{ours}-T2", {"site": site, "structure": f"{ours} house"}),
    ]


def events(ours: str) -> list[dict[str, Any]]:
    """What was done in one nursery, in order."""

    def event(what: str, day: str, **data: Any) -> dict[str, Any]:
        told = {"type": what, "site": f"{ours}-SITE", "occurred": day, "actor": f"{ours}-actor"}
        return told | {"data": {name.rstrip("_"): value for name, value in data.items()}}

    lot, table = f"{ours}-T", f"{ours}-T1"
    item = {"cultivar": "NAV", "rootstock": "CARR", "size": "P9"}
    return [
        event(
            "budwood.cut",
            "2026-03-01",
            lot=f"{ours}-BW",
            cultivar="NAV",
            source_tree="TREE-AA" if ours == OURS else "TREE-2",
            bags=[{"bag": f"{ours}-B1", "buds": 60, "sticks": 6, "place": f"{ours}-BOX"}],
        ),
        event(
            "liners.received",
            "2026-03-01",
            lot=f"{ours}-L",
            rootstock="CARR",
            size="P9",
            supplier=f"{ours}-sup",
            lines=[{"place": table, "count": 100}],
        ),
        event(
            "grafting.ordered",
            "2026-03-02",
            work_order=f"{ours}-W",
            cultivar="NAV",
            rootstock="CARR",
            count=40,
            needed_by="2026-03-20",
            grafters=[f"{ours}-grafter"],
        ),
        event(
            "trees.grafted",
            "2026-03-05",
            lot=lot,
            from_=[{"bag": f"{ours}-B1"}],
            onto={"liner_lot": f"{ours}-L"},
            method="t_bud",
            place=table,
            grafters=[{"person": f"{ours}-grafter", "count": 24}],
        ),
        event("trees.lost", "2026-03-08", lot=lot, count=1, cause="breakage"),
        event("grafts.unwrapped", "2026-03-25", lot=lot, place=table, alive=22, failed=1),
        event("push.counted", "2026-04-06", lot=lot, place=table, pushed=12, waiting=10, failed=1),
        event(
            "trees.graded",
            "2026-08-01",
            lot=lot,
            place=table,
            stage="pushed",
            outcomes=[{"count": 6, "stage": "ready", "grade": "first"}],
        ),
        event(
            "reservation.made",
            "2026-08-02",
            reservation=f"{ours}-R",
            customer=f"{ours}-cust",
            lines=[item | {"grade": "first", "count": 2}],
        ),
        event(
            "trees.sold",
            "2026-08-02",
            customer=f"{ours}-cust",
            lines=[{"lot": lot, "place": table, "stage": "ready", "grade": "first", "count": 1}],
        )
        | {"id": SOLD[ours]},
        event(
            "promise.overridden",
            "2026-08-02",
            override=f"{ours}-PO",
            **item,
            quantity=30,
            until="2026-12-31",
            reason=f"{ours} bought trees in",
        ),
        event(
            "stock.counted",
            "2026-08-03",
            reason=f"{ours} year end",
            lines=[{"lot": f"{ours}-L", "place": table, "size": "P9", "counted": 70}],
        ),
        event("trees.moved", "2026-08-04", lot=lot, stage="pushed", count=2, to=f"{ours}-T2"),
        event(
            "consignment.sent",
            "2026-08-05",
            consignment=f"{ours}-C",
            to_site=f"{ours}-TWO",
            lines=[{"lot": lot, "place": f"{ours}-T2", "stage": "pushed", "count": 2}],
        ),
        event(
            "hold.placed",
            "2026-08-06",
            hold=f"{ours}-H",
            kind_="identity",
            target="lot",
            code=lot,
            reason=f"{ours} label unclear",
        ),
        event(
            "papers.printed",
            "2026-08-06",
            paper="plant_passport",
            lot=f"{ours}-BW",
            count=2,
            origin="ES",
            customer=f"{ours}-cust",
        )
        | {"id": PRINTED[ours]},
    ]


async def fill(client: httpx.AsyncClient, database: Database) -> None:
    """Both nurseries through the interface, with every site's rights; then all views and a
    forecast."""
    for path, body in (*places(OURS), *places(THEIRS), *COMMON):
        _fine(await client.put(f"/v1/{path}", json=body), 201)
    for number, ours in enumerate((OURS, THEIRS)):
        _fine(await client.post("/v1/events", json=events(ours)), 201)
        days = "day,min_c,max_c\n2026-03-06,8,21\n2026-03-07,9,22\n"
        _fine(
            await client.put(
                f"/v1/sites/{ours}-SITE/temperatures?source={ours}-logger",
                content=days,
                headers={"Content-Type": "text/csv"},
            ),
            200,
        )
        await _loggers(client, ours)
        details = {"kind": "person", "name": f"{ours} Person", "sites": [f"{ours}-SITE"]}
        _fine(await client.put(f"/v1/contacts/{ours}-actor", json=details), 201)
        works = {"sites": [f"{ours}-SITE"], "home_site": f"{ours}-SITE"}
        _fine(await client.put(f"/v1/people/{ours}-actor", json=works), 201)
        # Refused twice under one id, with other content the second time.
        for count in (5000, 6000):
            told = events(ours)[4] | {"id": f"0190a5c4-7c00-7b3e-9a40-0d9c3b1f5a7{number}"}
            told["data"] = told["data"] | {"count": count}
            _fine(await client.post("/v1/events?mode=each", json=[told]), 200)
        await _webhook(client, database, ours)
    await Runner(database, every_view()).catch_up()
    await look_at_calendar(database.writer, system_clock)
    for one in (await client.get("/v1/alerts?kind=count_differs")).json()["items"]:
        said = {"actor": f"{one['site'][:2]}-actor"}
        _fine(await client.post(f"/v1/alerts/{one['id']}/acknowledge", json=said), 201)
    await Runner(database, every_view()).catch_up()
    await bring_up(database.writer, system_clock)
    for ours in (OURS, THEIRS):
        said = {"sites": [f"{ours}-SITE"]}
        _fine(await client.put(f"/v1/calendars/{ours}-DAYS", json=said), 201)
    # One of a past day too, so that there is something to be told as it was told then.
    for clock in (lambda: PAST, system_clock):
        await refresh(database, clock, forecast=stand_in)


async def _webhook(client: httpx.AsyncClient, database: Database, ours: str) -> None:
    """An address that is told of one site, and an attempt to tell it something."""
    code, said = f"{ours}-HOOK", {"url": f"http://127.0.0.1:9/{ours}", "sites": [f"{ours}-SITE"]}
    made = await client.put(f"/v1/webhooks/{code}", json=said)
    _fine(made, 201)
    tried = Attempt(ours, "trees.sold", 1, 1, PAST, "unreachable", None, 3, None, None)
    async with database.writer.acquire() as connection, connection.transaction():
        standing = Standing(code, made.json()["version"], 0, attempt=tried)
        assert await write_all(connection, [standing]) == {code}


async def _loggers(client: httpx.AsyncClient, ours: str) -> None:
    """What a bench logger read, and a forecast for tomorrow."""
    there = f"/v1/sites/{ours}-SITE"
    read = {"sensor": f"{ours}-bench", "time": "2026-03-06T12:00:00+01:00", "celsius": 19.5}
    _fine(await client.post(f"{there}/readings", json={"readings": [read]}), 200)
    tomorrow = system_clock().date() + timedelta(days=1)
    given = {"day": tomorrow.isoformat(), "min_c": 9, "max_c": 20}
    forecast = {"source": f"{ours}-forecast", "days": [given]}
    _fine(await client.put(f"{there}/temperatures/ahead", json=forecast), 200)


async def client_of(
    database: Database, url: str, name: str, scopes: frozenset[str], *sites: str
) -> httpx.AsyncClient:
    """A client with a key of those scopes, for every site where none is named."""
    async with database.writer.acquire() as connection:
        key = await create_key(
            connection, name=name, scopes=scopes, sites=frozenset(sites or ("*",))
        )
    return httpx.AsyncClient(base_url=url, headers={"Authorization": f"Bearer {key.token}"})


async def rows_of(connection: Any, table: str) -> list[str]:
    """Every row of a table that the connection is shown, as text."""
    found = await connection.fetch(f"SELECT t::text AS row FROM {table} t ORDER BY 1")
    return [row["row"] for row in found]


async def tables_read(connection: "asyncpg.Connection[asyncpg.Record] | Any") -> list[str]:
    """The tables and views that the reader may read."""
    found = await connection.fetch(
        "SELECT c.relname FROM pg_class c WHERE c.relnamespace = 'public'::regnamespace "
        "AND c.relkind IN ('r', 'p', 'v', 'm', 'f') "
        "AND has_table_privilege('graftlog_reader', c.oid, 'SELECT') ORDER BY 1"
    )
    return [row["relname"] for row in found]


def _fine(response: httpx.Response, status: int) -> None:
    assert response.status_code == status, (response.request.url, response.text)
