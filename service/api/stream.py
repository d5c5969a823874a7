"""GET /v1/events/stream: events as they are recorded, as server-sent events (WHATWG HTML 9.2)."""

import asyncio
import contextlib
from collections.abc import AsyncIterator
from contextlib import ExitStack
from typing import Annotated, Literal

import msgspec
from msgspec import Meta

from service.api.history import (
    OfLot,
    OfPlace,
    OfSite,
    OfTypes,
    Position,
    check_reached,
    wanted_of,
)
from service.api.operation import Call, Reply, operation
from service.api.problems import Mistake, Problem
from service.api.services import UNREACHABLE
from service.api.streaming import line_of
from service.feed.newest import PAGE, Told
from service.log import read
from service.log.rights import READ

_AWAY: tuple[type[Exception], ...] = (*UNREACHABLE, Problem)
EVENT_STREAM = "text/event-stream"
# A stream ends after so long and its reader comes again: to another process, it may be.
LONGEST = 3600.0
# Something is sent at least so often, so that who is in between does not take it for dead.
KEEP_ALIVE = 15.0
# A stream looks up at least so often: a key may have been revoked.
TICK = 5.0
# When to come again after the connection is lost.
RETRY_MILLISECONDS = 2000
# However many streams there are, together they send at most so many chunks a second.
CHUNKS_A_SECOND = 10_000
_CHUNK_BYTES = 65_536
# Who follows a lot or a place has the database asked, but not more often than this.
_PAUSE_BY_SUBJECT = 0.2


class StreamQuery(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Which events a stream tells of, and how."""

    lot: OfLot = None
    place: OfPlace = None
    site: OfSite = None
    type: OfTypes = None
    after: (
        Annotated[
            Position,
            Meta(
                description="Begin after this position. `Last-Event-ID` goes before it. Without "
                "both: with what is recorded from now on."
            ),
        ]
        | None
    ) = None
    format: Annotated[
        Literal["event", "cloudevent"],
        Meta(description="event: as `GET /v1/events/{id}` tells it. cloudevent: CloudEvents 1.0."),
    ] = "event"


class StreamedEvent(msgspec.Struct, frozen=True, kw_only=True):
    """An event of the stream, in the stream's own fields."""

    id: Annotated[str, Meta(description="Its position in the log.", examples=["42"])]
    data: Annotated[str, Meta(description="JSON: a StoredEvent or a CloudEvent, by `format`.")]


@operation(
    "GET",
    "/v1/events/stream",
    tag="Events",
    scope=READ,
    query=StreamQuery,
    answer=StreamedEvent,
    produces=EVENT_STREAM,
    request_headers=("Last-Event-ID",),
)
async def stream_events(call: Call[StreamQuery]) -> Reply:
    """Follow the log as server-sent events: what was recorded, then what is, as it is recorded.

    Each event has its position as its id. Who comes again with the last id as `Last-Event-ID`, as
    browsers do by themselves, misses nothing and is told nothing twice. Now and then an id comes
    alone (no data): nothing up to there was for you. A line with a colon keeps the connection
    alive every 15 seconds. A stream ends after an hour, when its key is revoked or changed, when
    the service stops, or when its reader takes nothing for 30 seconds: come again.
    """
    services, settings = call.services, call.services.settings
    wanted = wanted_of(call.query)
    name, after = "Last-Event-ID", _last_id(call.header("last-event-id"))
    if after is None:
        name, after = "after", call.query.after
    async with services.reading() as connection:
        head = await read.head(connection)
    check_reached(name, after or 0, head)
    # Last, so that nobody else is let in between this and the first chunk.
    services.streams.check(
        call.principal.name, settings.stream_limit, max(1, settings.request_limit // 2)
    )
    following = Following(call, wanted, head if after is None else after)
    return Reply(
        stream=following.chunks(),
        media_type=EVENT_STREAM,
        cache="no-store",
        # Else a proxy may keep events back until it has a bufferful.
        headers={"X-Accel-Buffering": "no"},
    )


def _last_id(text: str | None) -> int | None:
    """The position of a Last-Event-ID header; an empty one is none. Raises 400."""
    if not text:
        return None
    if len(text) > 18 or not (text.isascii() and text.isdecimal()):
        fault = Mistake(
            kind="bad_value",
            detail="It is the id of an event of a stream.",
            parameter="Last-Event-ID",
        )
        raise Problem("malformed-request", "Last-Event-ID can't be read.", errors=[fault])
    return int(text)


class Following:
    """One reader of the log, told of events after `position`.

    Where it stands is all that it holds: it takes what is next out of what the process keeps in
    memory, and what is older out of the log. Both go by position, so nothing is lost or told twice
    between the one and the other.
    """

    def __init__(self, call: Call[StreamQuery], wanted: read.EventFilter, position: int) -> None:
        self._call, self._wanted, self._position = call, wanted, position
        self._services = call.services
        self._base = call.services.settings.base if call.query.format == "cloudevent" else None
        self._types = frozenset(wanted.types) if wanted.types is not None else None
        sites = call.principal.site_list
        self._sites = frozenset(sites) if sites is not None else None
        # Which lots and places an event speaks of is known to the database alone.
        self._by_subject = wanted.lot is not None or wanted.place is not None

    async def chunks(self) -> AsyncIterator[bytes]:
        """What is sent, until the stream is to end."""
        now = asyncio.get_running_loop().time
        wake, line = asyncio.Event(), line_of(self._call.request.scope)
        ends = now() + LONGEST
        with ExitStack() as stack:
            stack.callback(line.when_over(wake.set))
            stack.callback(self._services.follower.subscribe(lambda _: wake.set()))
            stack.enter_context(self._services.streams.one(self._call.principal.name))
            yield b"retry: %d\nid: %d\n\n" % (RETRY_MILLISECONDS, self._position)
            told, sent = self._position, now()
            while not line.over:
                wake.clear()
                try:
                    if not await self._call.key_stands():
                        break
                    chunk, more = await self._next()
                except _AWAY:
                    # The database is away. The connection is kept: it is no better elsewhere.
                    chunk, more = b"", False
                if not chunk and now() - sent > KEEP_ALIVE:
                    chunk = b":\n\n" if told == self._position else b"id: %d\n\n" % self._position
                if chunk:
                    yield chunk
                    told, sent = self._position, now()
                if more:
                    continue
                if now() > ends:
                    break
                # A busy log is told in fewer, longer chunks, the more so the more there are.
                pause = self._services.streams.count / CHUNKS_A_SECOND
                await asyncio.sleep(max(pause, _PAUSE_BY_SUBJECT) if self._by_subject else pause)
                with contextlib.suppress(TimeoutError):
                    async with asyncio.timeout(TICK):
                        await wake.wait()
            if told != self._position:
                yield b"id: %d\n\n" % self._position

    async def _next(self) -> tuple[bytes, bool]:
        """What comes next, if anything, and whether there is more at once."""
        held = await self._services.newest.after(self._position)
        if held is None or (held and self._by_subject):
            return await self._from_log()
        parts: list[bytes] = []
        size = 0
        for told in held:
            self._position = told.position
            if self._is_wanted(told):
                size += self._add(parts, told)
            if size > _CHUNK_BYTES:
                break
        # What is held is read on page by page.
        return b"".join(parts), bool(held) and self._position < self._services.follower.position

    def _is_wanted(self, told: Told) -> bool:
        """Whether it is of a site that the key sees, and what the query asks for."""
        return (
            (self._sites is None or not self._sites.isdisjoint(told.sites))
            and (self._wanted.site is None or self._wanted.site in told.sites)
            and (self._types is None or told.stored.type in self._types)
        )

    async def _from_log(self) -> tuple[bytes, bool]:
        """The next page out of the log itself, behind the walls of whoever asks."""
        async with self._services.streams.catching_up, self._services.reading() as connection:
            head = await read.head(connection)
            found = await read.events(
                connection,
                self._call.principal.site_list,
                self._wanted,
                after=self._position,
                limit=PAGE,
            )
        parts: list[bytes] = []
        for one in found:
            self._add(parts, Told(one))
        more = len(found) == PAGE
        # All up to the head was looked at, in the same moment of the database.
        self._position = found[-1].position if more else max(head, self._position)
        return b"".join(parts), more

    def _add(self, parts: list[bytes], told: Told) -> int:
        body = told.plain if self._base is None else told.cloud(self._base)
        parts += (b"id: %d\ndata: " % told.position, body, b"\n\n")
        return len(body)
