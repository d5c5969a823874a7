"""Reading streams of events with another hand's decoder (httpx-sse)."""

from collections.abc import AsyncIterator, Iterable
from typing import NamedTuple

import httpx
from httpx_sse._decoders import SSEDecoder


class Got(NamedTuple):
    """An event that a stream dispatched, or an id that came alone (no data)."""

    id: str
    data: str


class Reader:
    """Takes bytes as they come and gives what whole blocks dispatch; a broken end is nothing.

    `last_id` is what is sent as Last-Event-ID. httpx-sse also tells of blocks without data, which
    the standard does not dispatch: these are left out (WHATWG HTML 9.2.6).
    """

    def __init__(self) -> None:
        self.last_id = ""
        self._rest = b""
        self._decoder = SSEDecoder()
        self._has_data = False

    def read(self, chunk: bytes) -> list[Got]:
        """What came whole with `chunk`."""
        *lines, self._rest = (self._rest + chunk).split(b"\n")
        return list(self._of(lines))

    def _of(self, lines: Iterable[bytes]) -> Iterable[Got]:
        for line in lines:
            self._has_data = self._has_data or line.split(b":")[0] == b"data"
            found = self._decoder.decode(line.decode())
            if line == b"":
                # An id counts from the end of its block on, dispatched or not.
                self.last_id = self._decoder._last_event_id
                if found is not None and self._has_data:
                    yield Got(found.id, found.data)
                self._has_data = False


async def events_of(answer: httpx.Response, reader: Reader | None = None) -> AsyncIterator[Got]:
    """The events of a stream, until it ends."""
    reader = reader or Reader()
    async for chunk in answer.aiter_raw():
        for got in reader.read(chunk):
            yield got
