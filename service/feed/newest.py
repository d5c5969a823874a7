"""The newest stretch of the log in memory: read once and encoded once for all who follow it."""

import asyncio
from bisect import bisect_right
from operator import attrgetter

import msgspec

from service.feed.cloud_events import cloud_event
from service.feed.following import Follower
from service.log import read
from service.log.stored import StoredEvent
from service.storage.pool import Database
from service.storage.walls import seeing

MOST = 1000
MOST_BYTES = 16 * 1024 * 1024
PAGE = 250
_encode = msgspec.json.Encoder().encode
_position = attrgetter("position")


class Told:
    """An event with the bytes that it goes out as. `sites`: who of the askers may see it."""

    __slots__ = ("_cloud", "plain", "position", "sites", "stored")

    def __init__(self, stored: StoredEvent) -> None:
        self.stored, self.position = stored, stored.position
        self.sites = frozenset(stored.sites)
        self.plain: bytes = _encode(stored)
        self._cloud: bytes | None = None

    def cloud(self, base: str) -> bytes:
        """As a CloudEvent; `base` is the same for the whole process."""
        if self._cloud is None:
            self._cloud = _encode(cloud_event(self.stored, base))
        return self._cloud


class Newest:
    """Keeps the newest events, at most `most` and `MOST_BYTES`; reads on when it is asked to.

    It holds the events of every site: whoever is shown one must look at its `sites` first. Nobody
    waits in it, so who is slow costs nobody anything: who falls behind what is kept reads the log.
    """

    def __init__(self, database: Database, follower: Follower, *, most: int = MOST) -> None:
        self._database, self.follower, self._most = database, follower, most
        # Held is all that is in the log after `_begin` up to `_end`.
        self._held: list[Told] = []
        self._begin = self._end = -1
        self._bytes = 0
        self._reading = asyncio.Lock()

    async def after(self, position: int) -> list[Told] | None:
        """What is known after a position, in order; None when what is kept begins later than that.

        Raises what the database raises when it can't be reached.
        """
        newest = self.follower.position
        if self._end < 0 or newest - self._end > self._most:
            # Nobody asked for long: begin anew, rather than read what nobody waits for.
            self._held, self._begin, self._end, self._bytes = [], newest, newest, 0
        while self._begin <= position and position >= self._end and self._end < newest:
            if not await self._read_on(position):
                break
        if position < self._begin:
            return None
        return self._held[bisect_right(self._held, position, key=_position) :]

    async def _read_on(self, wanted: int) -> bool:
        """Read the next events, unless another has read past `wanted` meanwhile."""
        async with self._reading:
            begun = self._end
            if begun > wanted:
                return True
            async with seeing(self._database.reader, None, timeout=10) as connection:
                found = await read.events(
                    connection, None, read.EventFilter(), after=begun, limit=PAGE
                )
            told = [Told(one) for one in found]
            # Unless all was begun anew meanwhile.
            if told and self._end == begun:
                self._held += told
                self._end = told[-1].position
                self._bytes += sum(len(one.plain) for one in told)
                self._trim()
            return bool(told)

    def _trim(self) -> None:
        dropped = max(0, len(self._held) - self._most)
        self._bytes -= sum(len(one.plain) for one in self._held[:dropped])
        while self._bytes > MOST_BYTES and dropped < len(self._held) - 1:
            self._bytes -= len(self._held[dropped].plain)
            dropped += 1
        if dropped:
            self._begin = self._held[dropped - 1].position
            del self._held[:dropped]
