"""The client and the service itself, over a socket."""

import random
import uuid
from collections.abc import AsyncIterator
from contextlib import aclosing

import httpx
import pytest
from graftlog_client import Client, problems, said, shapes

from tests.api.conftest import MakeClient


class Cutting(httpx.AsyncBaseTransport):
    """The network, but streams break off after so many bytes at random; `cuts` counts that."""

    def __init__(self, seed: int) -> None:
        self._line, self._chance, self.cuts = httpx.AsyncHTTPTransport(), random.Random(seed), 0

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        response = await self._line.handle_async_request(request)
        if request.url.path.endswith("/stream"):
            assert isinstance(response.stream, httpx.AsyncByteStream)
            response.stream = _Cut(response.stream, self, self._chance.randint(1, 1_500))
        return response

    async def aclose(self) -> None:
        await self._line.aclose()


class _Cut(httpx.AsyncByteStream):
    def __init__(self, stream: httpx.AsyncByteStream, line: Cutting, left: int) -> None:
        self._stream, self._line, self._left = stream, line, left

    async def __aiter__(self) -> AsyncIterator[bytes]:
        async for piece in self._stream:
            yield piece[: self._left]
            self._left -= len(piece)
            if self._left <= 0:
                self._line.cuts += 1
                raise httpx.ReadError("cut")

    async def aclose(self) -> None:
        await self._stream.aclose()


async def at_once(seconds: float) -> None:
    """For who need not wait."""


async def test_a_program_reads_changes_and_records(base_url: str, client_for: MakeClient) -> None:
    administrator = await client_for()
    key = administrator.headers["authorization"].removeprefix("Bearer ")
    site = shapes.SiteBody(name="Corin", time_zone="Europe/Madrid", latitude=39.5, longitude=-0.4)
    async with Client(base_url, key) as client:
        await client.put_site("CORIN", site)
        for code in ("C1", "C2", "C3"):
            await client.put_size(code, shapes.SizeBody(label=f"{code} pot"), site="CORIN")
        # A list over all its pages.
        first = await client.list_sizes(limit=1)
        assert first.body.next is not None
        sizes = [item.entry async for item in client.each(first)]
        assert [size.code for size in sizes if isinstance(size, shapes.Size)] == ["C1", "C2", "C3"]
        # What it has already is not sent again; what another has changed is not overwritten.
        kept = await client.get_size("C1")
        assert not (await client.get_size("C1", if_none_match=kept.etag)).changed
        await client.put_size("C1", shapes.SizeBody(label="1 litre"), if_match=kept.etag)
        with pytest.raises(problems.PreconditionFailed):
            await client.put_size("C1", shapes.SizeBody(label="one"), if_match=kept.etag)
        with pytest.raises(problems.NotFound):
            await client.get_size("NONE")
        # One event under one key, however often it is sent.
        place = shapes.PlaceBody(site="CORIN", structure="House 1")
        await client.put_place("T1", place)
        look = shapes.PlaceChecked(
            site="CORIN", occurred="2026-03-14", data=shapes.PlaceCheckedData(place="T1")
        )
        mine = str(uuid.uuid4())
        once = await client.record_events(look, idempotency_key=mine)
        again = await client.record_events(look, idempotency_key=mine)
        assert (once.replayed, again.replayed) == (False, True)
        assert once.body == again.body
        found = [one async for one in client.each(await client.list_events(place="T1"))]
        told = [said(one) for one in found if one.type == "place.checked"]
        assert told == [shapes.PlaceCheckedData(place="T1")]
        # A word that is not the service's is told by it, with where it stands.
        bad = shapes.PlaceChecked(
            site="CORIN", occurred="2026-03-14", data=shapes.PlaceCheckedData(place="none such")
        )
        with pytest.raises(problems.ValidationError) as caught:
            await client.record_events(bad)
        assert caught.value.errors[0].pointer == "#/data/place"
        # Many in one request: what is wrong with one stops no other.
        lines = [verdict async for verdict in client.record_lines([look, bad, look])]
        assert [(one.line, one.verdict) for one in lines] == [
            (1, "accepted"),
            (2, "malformed"),
            (3, "accepted"),
        ]
        everything = [one.id async for one in client.each(await client.list_events(after=0))]
    # Followed over a line that breaks again and again: each event once, in order.
    cutting, followed = Cutting(seed=7), list[str]()
    follower = Client(base_url, key, transport=cutting, sleep=at_once)
    async with follower, aclosing(follower.follow(after=0)) as events:
        async for event in events:
            followed.append(event.id)
            if len(followed) == len(everything):
                break
    assert followed == everything
    assert cutting.cuts >= 5
