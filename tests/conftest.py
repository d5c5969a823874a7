"""Fixtures that every test may ask for. The database is always a real PostgreSQL."""

from collections.abc import AsyncIterator, Iterator

import pytest

from service.settings import Settings
from service.storage.pool import Database, open_database
from tests.support.database import TestServer, running_server


@pytest.fixture(scope="session")
def server() -> Iterator[TestServer]:
    """The one server of this run, with a migrated template."""
    with running_server() as running:
        yield running


@pytest.fixture
async def settings(server: TestServer) -> AsyncIterator[Settings]:
    """Settings that name a fresh, migrated database of the test's own."""
    name = await server.create()
    yield server.settings_for(name)
    await server.drop(name)


@pytest.fixture
async def empty_settings(server: TestServer) -> AsyncIterator[Settings]:
    """Settings that name a fresh database without any table."""
    name = await server.create(template=None)
    yield server.settings_for(name)
    await server.drop(name)


@pytest.fixture
async def database(settings: Settings) -> AsyncIterator[Database]:
    """An open database, fresh and migrated."""
    async with await open_database(settings) as opened:
        yield opened
