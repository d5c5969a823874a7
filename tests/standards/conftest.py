"""The real service over HTTP, with an invented nursery in it."""

from collections.abc import AsyncIterator

import httpx
import pytest

from service.application import assemble, http
from service.clock import system_clock
from service.log.append import Appender
from service.log.keys import create_key
from service.settings import Settings
from service.storage.pool import Database
from tests.api.conftest import listening
from tests.api.nursery import fill


@pytest.fixture
async def client(database: Database, settings: Settings) -> AsyncIterator[httpx.AsyncClient]:
    """An administrator at work."""
    appender = Appender(database)
    await appender.start()
    app = http(settings)
    app.state.services = assemble(settings, database, appender, system_clock)
    async with database.writer.acquire() as connection:
        key = await create_key(connection, name="administrator", role="administrator")
    headers = {"Authorization": f"Bearer {key.token}"}
    async with (
        listening(app) as url,
        httpx.AsyncClient(base_url=url, headers=headers, timeout=30) as made,
    ):
        await fill(made)
        yield made
    await appender.stop()
