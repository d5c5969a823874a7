"""The `work` process says how it is: over HTTP, on a port of its own, and nothing else."""

import asyncio
import socket

import httpx
import msgspec

from service.application import run_background
from service.log.keys import create_key
from service.settings import Settings
from service.storage.pool import Database


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


async def test_work_answers_how_it_is(settings: Settings, database: Database) -> None:
    port = free_port()
    watched = msgspec.structs.replace(settings, metrics_port=port)
    async with database.writer.acquire() as connection:
        key = await create_key(connection, name="eyes", role="monitor")
    stop = asyncio.Event()
    work = asyncio.create_task(run_background(watched, database, stop))
    transport = httpx.AsyncHTTPTransport(retries=20)
    headers = {"Authorization": f"Bearer {key.token}"}
    try:
        async with httpx.AsyncClient(
            base_url=f"http://127.0.0.1:{port}", transport=transport, headers=headers
        ) as client:
            ready = await client.get("/readyz")
            assert (ready.status_code, ready.json()["checks"]) == (200, {"database": "pass"})
            figures = await client.get("/metrics")
            assert "\ngraftlog_view_lag_events{" in figures.text
            assert "\nprocess_resident_memory_bytes " in figures.text
            assert (await client.get("/v1/stock")).status_code == 404
            assert (await client.get("/metrics", headers={"Authorization": ""})).is_error
    finally:
        stop.set()
        await asyncio.wait_for(work, 30)


async def test_without_a_port_it_listens_to_nobody(settings: Settings, database: Database) -> None:
    stop = asyncio.Event()
    stop.set()
    await asyncio.wait_for(run_background(settings, database, stop), 30)
