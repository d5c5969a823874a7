"""The client: every operation, and what takes more than one request."""

from collections.abc import AsyncGenerator, Iterable, Mapping, Sequence
from contextlib import aclosing
from typing import Any, Protocol, TypeVar

import httpx
import msgspec

from graftlog_client.calling import IDEMPOTENCY, PASSING, Answer, pause_for, problem_of, query_of
from graftlog_client.event_stream import Reader, Sent
from graftlog_client.operations import Operations
from graftlog_client.problem import Problem
from graftlog_client.shapes import Event, StoredEvent, Verdict

T_co = TypeVar("T_co", covariant=True)
STREAM = "/v1/events/stream"
LINES = "application/x-ndjson"
# Milliseconds until a stream that has ended is asked for again, where it has not said so itself.
RETRY = 1000


class Page(Protocol[T_co]):
    """What all lists answer with."""

    @property
    def items(self) -> Sequence[T_co]:
        """The entries of this page."""
        raise NotImplementedError

    @property
    def next(self) -> str | None:
        """Address of the next page; None on the last one."""
        raise NotImplementedError


class LineVerdict(Verdict, kw_only=True):
    """What became of line `line` of a request, counted from 1."""

    line: int


class _Line(msgspec.Struct):
    """What tells a verdict, a problem and the closing line apart."""

    verdict: str | None = None
    type: str | None = None
    status: int = 500


async def _lines_of(events: Iterable[Event]) -> AsyncGenerator[bytes]:
    for event in events:
        yield msgspec.json.encode(event) + b"\n"


class Client(Operations):
    """What the service can be asked and told, lists as a whole, and the log as it grows."""

    async def each(self, first: Answer[Page[T_co]]) -> AsyncGenerator[T_co]:
        """Every entry of a list from a first page on: `each(await client.list_lots())`."""
        page = first.body
        while True:
            for item in page.items:
                yield item
            if page.next is None:
                return
            page = (await self._call("GET", self._own(page.next), type(page))).body

    async def follow(
        self,
        *,
        after: int | None = None,
        type: Sequence[str] | None = None,
        site: str | None = None,
        lot: str | None = None,
        place: str | None = None,
        idle_seconds: float = 60.0,
    ) -> AsyncGenerator[StoredEvent]:
        """Every event after a position, then those to come, each once; it goes on for ever.

        Left out `after`: from now on. `type`: only events of these types. When the line is cut, or
        silent for `idle_seconds` (the service says something more often), it goes on where it was.
        Keep the `position` of what you have worked off, and a program that was stopped goes on
        there too. A problem that does not pass by itself, such as a revoked key, is raised.
        """
        if after is None:
            # Else what is recorded between a first line that broke and the next would be missed.
            after = (await self.list_events(limit=1)).body.position
        wanted = {"type": type, "site": site, "lot": lot, "place": place}
        reader, failed = Reader(), 0
        while True:
            start = {} if reader.id else {"after": after}
            try:
                query = wanted | start
                async with aclosing(self._until_cut(reader, query, idle_seconds)) as arriving:
                    async for sent in arriving:
                        failed = 0
                        yield msgspec.json.decode(sent.data, type=StoredEvent)
                pause = (reader.retry or RETRY) / 1000
            except httpx.TransportError:
                failed += 1
                pause = pause_for(httpx.Headers(), failed)
            except Problem as problem:
                if problem.status not in PASSING:
                    raise
                failed += 1
                pause = pause_for(problem.headers, failed)
            await self._sleep(pause)
            # What had come in part is sent again, whole.
            reader = Reader(reader.id)

    async def record_lines(
        self, events: Iterable[Event], *, idempotency_key: str | None = None
    ) -> AsyncGenerator[LineVerdict]:
        """Record up to 100,000 events in one request, in order of occurrence: a verdict for each.

        What is refused or unreadable stops nothing else; it is kept to be put right. Nothing is
        tried again by itself: when it breaks off, send all of it again under the same
        `idempotency_key` (or with ids in the events), and nothing is recorded twice.
        """
        headers = {"Accept": LINES, "Content-Type": LINES}
        if idempotency_key is not None:
            headers[IDEMPOTENCY] = idempotency_key
        request = self._http.build_request(
            "POST",
            "/v1/events",
            params={"mode": "each"},
            headers=headers,
            content=_lines_of(events),
            # Verdicts come when a portion was judged, which may take longer than a short answer.
            timeout=httpx.Timeout(self._timeout, read=max(self._timeout, 120.0)),
        )
        async with self._opened(request) as response:
            async for line in response.aiter_lines():
                told = msgspec.json.decode(line, type=_Line)
                if told.verdict is not None:
                    yield msgspec.json.decode(line, type=LineVerdict)
                elif told.type is not None:
                    # The answer had begun: what went wrong then is told by its last line.
                    kind = {"Content-Type": "application/problem+json"}
                    raise problem_of(httpx.Response(told.status, headers=kind, content=line))

    async def _until_cut(
        self, reader: Reader, query: Mapping[str, Any], idle_seconds: float
    ) -> AsyncGenerator[Sent]:
        headers = {"Accept": "text/event-stream"}
        if reader.id:
            headers["Last-Event-ID"] = reader.id
        request = self._http.build_request(
            "GET",
            STREAM,
            params=query_of(query),
            headers=headers,
            timeout=httpx.Timeout(self._timeout, read=idle_seconds),
        )
        async with self._opened(request) as response:
            async for arrived in response.aiter_bytes():
                for sent in reader.take(arrived):
                    yield sent

    def _own(self, address: str) -> str:
        """An address as the service gave it; one of elsewhere is refused, for it'd get the key."""
        whole, home = self._http.base_url.join(address), self._http.base_url
        if (whole.scheme, whole.host, whole.port) != (home.scheme, home.host, home.port):
            raise ValueError(f"a page of another service: {address}")
        return str(whole)
