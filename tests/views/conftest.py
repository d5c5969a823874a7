"""What tests of views share: the bench with the real writer, and somebody who may break things."""

from collections.abc import AsyncIterator
from typing import Any

import asyncpg
import pytest

from service.log.append import Appender
from service.storage.pool import Database
from tests.support.bench_side import NOW, BenchSide


@pytest.fixture
async def bench(database) -> AsyncIterator[BenchSide]:
    appender = Appender(database, clock=lambda: NOW)
    await appender.start()
    yield BenchSide(appender, database)
    await appender.stop()


@pytest.fixture
async def administrator(database: Database) -> AsyncIterator[Any]:
    """Somebody who may do what the service may not."""
    connection = await asyncpg.connect(database.dsn)
    yield connection
    await connection.close()
