"""A bench to record at, and files taken in beside it."""

from collections.abc import AsyncIterator

import pytest

from service.log.append import Appender
from service.storage.pool import Database
from tests.support.bench_side import NOW, BenchSide
from tests.support.files import Files


@pytest.fixture
async def bench(database: Database) -> AsyncIterator[BenchSide]:
    appender = Appender(database, clock=lambda: NOW)
    await appender.start()
    yield BenchSide(appender, database)
    await appender.stop()


@pytest.fixture
def files(database: Database) -> Files:
    return Files(database)
