"""A connection with the writer's rights, for what is stored."""

from collections.abc import AsyncIterator

import pytest

from service.storage.pool import Connection, Database


@pytest.fixture
async def writer(database: Database) -> AsyncIterator[Connection]:
    """A connection of the writer's pool to an empty database."""
    async with database.writer.acquire() as conn:
        yield conn
