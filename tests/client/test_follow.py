"""Following the log: where the line was cut it goes on, nothing twice, and it ends when it must."""

import json
from collections.abc import AsyncIterator, Callable
from contextlib import aclosing
from typing import Any

import httpx
import pytest
from graftlog_client import Client, problems

from tests.client.test_calling import problem


def line(position: int) -> bytes:
    """An event as the stream tells it."""
    told: dict[str, Any] = {
        "id": f"e-{position}",
        "type": "place.checked",
        "version": 1,
        "site": "CORIN",
        "occurred": "2026-03-14",
        "occurred_at": "2026-03-14T12:00:00Z",
        "actor": None,
        "happened": False,
        "replaces": None,
        "data": {"place": "H2-T04"},
        "position": position,
        "recorded_at": "2026-03-14T09:00:00Z",
        "recorded_by": "k",
        "sites": ["CORIN"],
        "remarks": [],
        "voided_by": None,
    }
    return f"id: {position}\nevent: place.checked\ndata: {json.dumps(told)}\n\n".encode()


class Pieces(httpx.AsyncByteStream):
    """A stream that gives these pieces, then breaks or ends."""

    def __init__(self, *pieces: bytes, broken: bool) -> None:
        self._pieces, self._broken = pieces, broken

    async def __aiter__(self) -> AsyncIterator[bytes]:
        for piece in self._pieces:
            yield piece
        if self._broken:
            raise httpx.ReadError("cut")


class Feed:
    """Answers the stream's requests in order; keeps how each was asked and what was waited."""

    def __init__(self, *answers: Callable[[], httpx.Response]) -> None:
        self._answers = iter(answers)
        self.asked: list[tuple[str | None, str | None]] = []
        self.waited: list[float] = []

    def __call__(self, request: httpx.Request) -> httpx.Response:
        if request.url.path == "/v1/events":
            return httpx.Response(200, json={"items": [], "next": None, "position": 8, "after": 8})
        assert request.url.path == "/v1/events/stream"
        self.asked.append((request.url.params.get("after"), request.headers.get("last-event-id")))
        return next(self._answers)()

    async def sleep(self, seconds: float) -> None:
        self.waited.append(seconds)


def streaming(*pieces: bytes, broken: bool = True) -> Callable[[], httpx.Response]:
    headers = {"Content-Type": "text/event-stream"}
    return lambda: httpx.Response(200, headers=headers, stream=Pieces(*pieces, broken=broken))


async def followed(feed: Feed, wanted: int, after: int | None = 2) -> list[int]:
    """Positions, until so many were told."""
    told: list[int] = []
    client = Client("http://svc", "k", transport=httpx.MockTransport(feed), sleep=feed.sleep)
    async with client, aclosing(client.follow(after=after)) as events:
        async for event in events:
            told.append(event.position)
            if len(told) == wanted:
                break
    return told


async def test_it_goes_on_where_it_was_cut() -> None:
    feed = Feed(
        streaming(b"retry: 20\n\n", line(3) + line(4), line(5)[:40]),
        lambda: problem(503, "unavailable"),
        streaming(line(5), b": still here\n\n", broken=False),
        streaming(line(6), line(7)),
    )
    assert await followed(feed, 5) == [3, 4, 5, 6, 7]
    assert feed.asked == [("2", None), (None, "4"), (None, "4"), (None, "5")]
    # After a cut a moment, after 503 what the service says, after an end what the stream said.
    assert feed.waited[0] < 1
    assert feed.waited[1] == 3.0
    assert len(feed.waited) == 3


async def test_before_anything_came_it_begins_anew() -> None:
    feed = Feed(streaming(line(3)[:10]), streaming(line(3)))
    assert await followed(feed, 1) == [3]
    assert feed.asked == [("2", None), ("2", None)]


async def test_from_now_on_is_one_moment_even_where_the_first_line_breaks() -> None:
    feed = Feed(streaming(), streaming(line(9)))
    assert await followed(feed, 1, after=None) == [9]
    assert feed.asked == [("8", None), ("8", None)]


async def test_a_revoked_key_ends_it() -> None:
    feed = Feed(streaming(line(3), broken=False), lambda: problem(401, "unauthenticated"))
    with pytest.raises(problems.Unauthenticated):
        await followed(feed, 2)
