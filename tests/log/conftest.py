"""The writer on a fresh database, its clock frozen."""

from collections.abc import AsyncIterator

import pytest

from service.log.append import Appender
from service.storage.pool import Database
from tests.support.bench_side import NOW, BenchSide


@pytest.fixture
async def bench(database: Database) -> AsyncIterator[BenchSide]:
    appender = Appender(database, clock=lambda: NOW)
    await appender.start()
    yield BenchSide(appender, database)
    await appender.stop()
