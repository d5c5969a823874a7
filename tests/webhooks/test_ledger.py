"""What became of attempts is written whatever happens beside it."""

import asyncio
from datetime import UTC, datetime

import asyncpg
import pytest

from service.storage.pool import Database
from service.webhooks import ledger as module
from service.webhooks.ledger import Attempt, Ledger, Standing

GONE = Standing("REMOVED", 1, 1)


async def test_what_can_not_be_written_holds_up_nobody(
    database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    ledger = Ledger(database)
    running = asyncio.create_task(ledger.run())
    async with asyncio.timeout(10):
        # No database takes such a position, today or tomorrow.
        with pytest.raises(asyncpg.DataError):
            await ledger.write(GONE._replace(position=2**70))
        assert await ledger.write(GONE) is False
        # An attempt of a webhook that was removed meanwhile is nobody's, nor the next one's.
        at = datetime(2026, 3, 1, tzinfo=UTC)
        tried = Attempt("id", "trees.sold", 1, 1, at, "arrived", 204, 3, None, None)
        await ledger.write(GONE._replace(attempt=tried))
        async with database.writer.acquire() as connection:
            assert await connection.fetchval("SELECT count(*) FROM webhook_deliveries") == 0
        # What is being written when it is to end is written all the same.
        begun = asyncio.Event()

        async def stuck(*_: object) -> set[str]:
            begun.set()
            await asyncio.Event().wait()
            return set()

        with monkeypatch.context() as patch:
            patch.setattr(module, "write_all", stuck)
            waiting = asyncio.create_task(ledger.write(GONE))
            await begun.wait()
            running.cancel()
            await asyncio.wait({running})
        await ledger.close()
        assert await waiting is False
