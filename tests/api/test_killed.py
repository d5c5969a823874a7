"""The service is killed when it has committed and not yet answered; its client sends again."""

import asyncio
from collections.abc import AsyncIterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import httpx
import pytest

from service.settings import Settings
from service.storage.pool import Database
from tests.api.conftest import Client, MakeClient
from tests.api.nursery import event, fill
from tests.ledger.served import Served

RESERVE = {
    "customer": "cust-0481",
    "site": "CORIN",
    "lines": [{"cultivar": "NAV", "buds": True, "count": 2}],
}
DISCARD = event("liners.discarded", {"lot": "L-1", "count": 3, "cause": "frost"})
LINES = {"Content-Type": "application/x-ndjson", "Accept": "application/x-ndjson"}
# What is sent, and where to.
SENT: dict[str, tuple[str, dict[str, Any]]] = {
    "an event": ("/v1/events", {"json": DISCARD}),
    "a reservation": ("/v1/reservations", {"json": RESERVE}),
    "lines": (
        "/v1/events?mode=each",
        {"content": httpx.Request("POST", "http://x", json=DISCARD).content, "headers": LINES},
    ),
}


@pytest.fixture
async def admin(client_for: MakeClient) -> Client:
    client = await client_for("history")
    await fill(client)
    return client


@pytest.fixture
async def dying(settings: Settings, admin: Client) -> AsyncIterator[list[Served]]:
    """Processes that die at their first commit, one for each thing that is sent."""
    token = admin.headers["authorization"].removeprefix("Bearer ")
    processes = [Served(settings.database_url or "", token, DIE_AT_COMMIT="1") for _ in SENT]

    def start_all() -> None:
        with ThreadPoolExecutor() as threads:
            list(threads.map(Served.start, processes))

    await asyncio.to_thread(start_all)
    yield processes
    for one in processes:
        one.kill()


async def test_a_request_that_was_committed_and_not_answered_counts_once_when_sent_again(
    dying: list[Served], admin: Client, database: Database
) -> None:
    async def stands() -> tuple[int, int, int]:
        """The log's end, liners thrown away, buds promised."""
        row = await database.writer.fetchrow(
            "SELECT (SELECT position FROM log_head),"
            " (SELECT sum(balance) FROM balances WHERE kind = 'lost')::int,"
            " (SELECT coalesce(sum(open), 0) FROM commitments)::int"
        )
        return tuple(row)

    for served, (what, (address, body)) in zip(dying, SENT.items(), strict=True):
        key = what.split()[-1]
        headers = {**served.headers, **body.get("headers", {}), "Idempotency-Key": key}
        before = await stands()
        async with httpx.AsyncClient(base_url=served.url) as client:
            with pytest.raises(httpx.TransportError):
                await client.post(address, **{**body, "headers": headers})
        assert await asyncio.to_thread(served.wait) == -9
        after = await stands()
        assert after[0] == before[0] + 1, "it was committed"
        assert after[1:] != before[1:]
        # Another process takes it: it is the same request to the log.
        again = await admin.post(address, **{**body, "headers": headers})
        assert again.status_code in (200, 201), again.text
        assert await stands() == after, what
        if what == "lines":
            assert '"verdict":"known"' in again.text
        else:
            assert again.headers["idempotency-replayed"] == "true"
        # Under another key it is another request.
        other = {**headers, "Idempotency-Key": f"another-{key}"}
        fresh = await admin.post(address, **{**body, "headers": other})
        assert fresh.status_code in (200, 201), fresh.text
        assert (await stands())[0] == after[0] + 1
