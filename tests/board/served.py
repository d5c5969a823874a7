"""The invented nursery served for a browser: people of every role, and time that stands still."""

import asyncio
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from typing import NamedTuple

import httpx

from seed_scenario.generator import scenario
from seed_scenario.load import load
from seed_scenario.this_morning import tell_this_morning
from service.application import build
from service.clock import Clock
from service.forecast.refresh import refresh
from service.log import people, sessions
from service.log.keys import create_key
from service.log.people import Choices
from service.log.rights import ROLES
from service.settings import Settings
from service.storage.pool import Database, open_database
from tests.api.conftest import listening
from tests.support.database import TestServer

LAST = date(2026, 11, 20)
# The morning after the story ends, at its European sites.
NOW = datetime(2026, 11, 21, 7, 30, tzinfo=UTC)


class Crew(NamedTuple):
    """Somebody who signs in."""

    role: str
    sites: frozenset[str]
    choices: Choices


CREW = {
    "boss": Crew("administrator", frozenset({"*"}), Choices()),
    "manager": Crew("site-manager", frozenset({"CORIN"}), Choices(home_site="CORIN")),
    "p-01": Crew("recorder", frozenset({"CORIN"}), Choices(language="es", home_site="CORIN")),
    "p-02": Crew("recorder", frozenset({"CORIN"}), Choices(home_site="CORIN")),
    "desk": Crew("sales", frozenset({"*"}), Choices(temperature="f", length="in")),
    "inspector": Crew("auditor", frozenset({"ELDRA"}), Choices(home_site="ELDRA")),
}


class Served(NamedTuple):
    """Where the service listens, the cookie of each of the crew, and its settings."""

    url: str
    cookies: dict[str, str]
    settings: Settings


async def sign_in(database: Database, who: str, crew: Crew, at: datetime) -> str:
    """A person and a device on which they are signed in; its cookie."""
    async with database.writer.acquire() as connection:
        await people.put(
            connection,
            who,
            scopes=frozenset(ROLES[crew.role]),
            sites=crew.sites,
            choices=crew.choices,
            by="tests",
            at=at,
            version=0,
        )
        link = await sessions.make_link(connection, who, by="tests", at=at)
        assert link is not None
        signed = await sessions.sign_in_by_link(connection, link.token, label="test", at=at)
    assert signed is not None
    return signed.cookie


async def load_nursery(
    database: Database, url: str, lots: int, years: float, now: datetime
) -> None:
    """The story, told through the service, and what the morning after it told."""
    async with database.writer.acquire() as connection:
        key = await create_key(connection, name="loader", role="history")
    headers = {"Authorization": f"Bearer {key.token}"}
    async with httpx.AsyncClient(
        base_url=url, headers=headers, timeout=60, trust_env=False
    ) as client:
        story = scenario(LAST, lots=lots, years=years)
        await load(client, story)
        await tell_this_morning(client, story, now)


@contextmanager
def serving(
    server: TestServer, *, lots: int = 60, years: float = 1.2, clock: Clock = lambda: NOW
) -> Iterator[Served]:
    """A service with the nursery in a thread of its own, until the end of the block."""
    ready, stop = threading.Event(), asyncio.Event()
    found: list[Served] = []
    failed: list[BaseException] = []
    loop = asyncio.new_event_loop()

    async def serve() -> None:
        name = await server.create()
        settings = server.settings_for(name)
        async with await open_database(settings) as database:
            app = build(settings, run_jobs=False, clock=clock, database=database)
            async with listening(app) as url:
                await load_nursery(database, url, lots, years, clock())
                await refresh(database, clock)
                cookies = {
                    who: await sign_in(database, who, crew, clock()) for who, crew in CREW.items()
                }
                found.append(Served(url, cookies, settings))
                ready.set()
                await stop.wait()
        await server.drop(name)

    def run() -> None:
        try:
            loop.run_until_complete(serve())
        except BaseException as error:
            failed.append(error)
            ready.set()

    thread = threading.Thread(target=run, name="served")
    thread.start()
    ready.wait()
    try:
        if failed:
            raise failed[0]
        yield found[0]
    finally:
        loop.call_soon_threadsafe(stop.set)
        thread.join()
        loop.close()
