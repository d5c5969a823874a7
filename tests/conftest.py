"""Fixtures that every test may ask for. The database is always a real PostgreSQL."""

import os
from collections.abc import AsyncIterator, Iterator

import pytest

from service.settings import Settings
from service.storage.pool import Database, open_database
from tests.support.database import TestServer, embedded_is_used, running_server


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """In how many processes `make test` runs; each starts an embedded server of its own.

    A server that was named or comes in a container is for one: 0 is without others.
    """
    return min(os.cpu_count() or 1, 4) if embedded_is_used() else 0


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
