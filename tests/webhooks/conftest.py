"""The service over real HTTP, and what delivers beside it, by a clock that needs no waiting."""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable, Sequence
from contextlib import AsyncExitStack
from datetime import UTC, datetime, timedelta
from typing import Any

import httpx
import pytest

from service.feed.following import Follower
from service.feed.newest import Newest
from service.settings import Settings
from service.storage.pool import Database
from service.views.availability_now import AvailabilityNow
from service.webhooks.deliverer import Deliverer
from service.webhooks.guard import Guard
from service.webhooks.sealing import Sealer
from service.webhooks.sending import Sender
from service.webhooks.topics import Alerts, Availability
from tests.api.conftest import MakeClient, appender, base_url, client_for

__all__ = ["appender", "base_url", "client_for"]

SITES = {
    site: {"name": site, "time_zone": "Europe/Madrid", "latitude": 39.5, "longitude": -0.4}
    for site in ("CORIN", "VALE")
}
MakeDeliverer = Callable[..., Awaitable[Deliverer]]


class Jumping:
    """A clock that is where it is waited for at once; `opens`: done when a moment has come."""

    def __init__(self) -> None:
        self.ahead = timedelta(0)
        self.waited: list[timedelta] = []
        self.opens: tuple[timedelta, Callable[[], Awaitable[None]]] | None = None

    def now(self) -> datetime:
        return datetime.now(UTC) + self.ahead

    async def until(self, moment: datetime) -> None:
        wait = max(moment - self.now(), timedelta(0))
        self.waited.append(wait)
        self.ahead += wait
        if self.opens is not None and self.ahead >= self.opens[0]:
            _, done = self.opens
            self.opens = None
            await done()


@pytest.fixture
async def shop(client_for: MakeClient) -> httpx.AsyncClient:
    """An administrator's client; the catalogue has two sites with a place each."""
    client = await client_for("administrator")
    for site, entry in SITES.items():
        await fine(client.put(f"/v1/sites/{site}", json=entry))
        place = {"site": site, "structure": "House 1"}
        await fine(client.put(f"/v1/places/{site}-T1", json=place))
    return client


@pytest.fixture
async def deliver(database: Database, settings: Settings) -> AsyncIterator[MakeDeliverer]:
    """Starts what delivers, as a process of its own would: `await deliver(timer=…)`."""
    async with AsyncExitStack() as stack:

        async def start(
            *,
            timer: Any = None,
            seconds: float = 0.3,
            chance: float = 0.0,
            poll: float = 0.1,
            keys: Sequence[str] = settings.secrets_key or (),
        ) -> Deliverer:
            follower = Follower(database)
            await follower.start()
            stack.push_async_callback(follower.stop)
            available = AvailabilityNow(
                database, lambda: datetime.now(UTC), 0.8, lambda: follower.position
            )
            made = Deliverer(
                database,
                Newest(database, follower),
                Sealer(keys),
                Sender(Guard(loopback=True), seconds=seconds),
                base="https://nursery.example",
                topics=[
                    Availability(available),
                    Alerts(database, lambda: datetime.now(UTC)),
                ],
                timer=timer,
                chance=lambda: chance,
                poll_seconds=poll,
                look_seconds=0.05,
            )
            await made.start()
            stack.push_async_callback(made.stop)
            return made

        yield start


async def fine(asked: Awaitable[httpx.Response]) -> Any:
    """The answer's content, which must be a good one."""
    answer = await asked
    assert answer.status_code < 300, answer.text
    return answer.json() if answer.content else None


async def look(client: httpx.AsyncClient, *notes: str, site: str = "CORIN") -> list[str]:
    """Record a look at a place for each note; their ids."""
    events = [
        {
            "type": "place.checked",
            "site": site,
            "occurred": "2026-03-10",
            "data": {"place": f"{site}-T1", "note": note},
        }
        for note in notes
    ]
    answer = await fine(client.post("/v1/events", json=events))
    return [one["id"] for one in answer["verdicts"]]


async def hook(
    client: httpx.AsyncClient, url: str, code: str = "SHOP", **details: Any
) -> dict[str, Any]:
    """A webhook, by default of looks at places."""
    said = {"url": url, "types": ["place.checked"], **details}
    made: dict[str, Any] = await fine(client.put(f"/v1/webhooks/{code}", json=said))
    return made


async def progress(client: httpx.AsyncClient, code: str = "SHOP") -> Any:
    return await fine(client.get(f"/v1/webhooks/{code}/progress"))


async def caught_up(client: httpx.AsyncClient, code: str = "SHOP") -> Any:
    """Its progress, once it has come to the end of the log."""
    async with asyncio.timeout(10):
        while (now := await progress(client, code))["position"] != now["head"]:
            await asyncio.sleep(0.01)
    return now


async def deliveries(client: httpx.AsyncClient, code: str = "SHOP") -> list[Any]:
    """All attempts, the first one first."""
    page = await fine(client.get(f"/v1/webhooks/{code}/deliveries?limit=1000"))
    return list(reversed(page["items"]))
