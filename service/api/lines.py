"""The lines of a request's body as they come, and portions of them that are judged together."""

import asyncio
from collections.abc import Awaitable, Callable
from typing import Any, Protocol

from service.api.operation import Call
from service.api.problems import Problem
from service.api.streaming import line_of
from service.log.submission import Element
from service.trade.events.stock import EventVoided

MOST_LINES = 100_000
# Lines judged together: enough to be quick, few enough that others have their turn.
PORTION = 500
PORTION_BYTES = 1024 * 1024


class Portion:
    """Lines that are judged together, with their numbers."""

    def __init__(self) -> None:
        self.numbers: list[int] = []
        self.elements: list[Element] = []
        self._bytes = 0
        self._ids: set[str] = set()
        self._voided: set[str] = set()

    def takes(self, element: Element) -> bool:
        """Whether the line belongs to these; if not, these are judged first."""
        event = element.event
        if event is not None and event.id in self._ids:
            # The second of one id: judged after the first it is known, or refused as another's.
            return False
        if len(self.elements) < PORTION and self._bytes < PORTION_BYTES:
            return True
        # What replaces a voided event is judged together with its void, within reason.
        replaces = event.replaces if event is not None else None
        return replaces in self._voided and len(self.elements) < 2 * PORTION

    def add(self, number: int, element: Element) -> None:
        """Take a line in."""
        self.numbers.append(number)
        self.elements.append(element)
        self._bytes += len(element.raw)
        event = element.event
        if event is not None and event.id is not None:
            self._ids.add(event.id)
        if isinstance(event, EventVoided):
            self._voided.add(event.data.event)


class Renewed(Protocol):
    """What limits the time that a body takes."""

    def renew(self) -> None: ...


class Body:
    """The lines of a request's body, as they come.

    `number`: of the last line that came whole. `over`: there is no more; `trouble` says why when
    that is not its end: 408 when no line came for as long as a body may take, 413 for one that is
    too long or one too many.
    """

    def __init__(self, call: Call[Any]) -> None:
        self._receive: Callable[[], Awaitable[Any]] = call.request.receive
        self._in_time: Renewed = call.request.scope["state"]["in_time"]
        self._most_bytes = call.services.settings.body_limit
        self._begun = b""
        self._line_came = False
        self._coming: asyncio.Future[Any] | None = None
        self._stopping = asyncio.Event()
        self._take_back = line_of(call.request.scope).when_over(self._stopping.set)
        self._stop = asyncio.ensure_future(self._stopping.wait())
        self.number = 0
        self.over = False
        self.trouble: Problem | None = None

    async def lines(self, patience: float | None) -> list[tuple[int, bytes]] | None:
        """The next lines that came whole and are not empty, with their numbers.

        None when nothing came for `patience` seconds.
        """
        if self._coming is None:
            if self._line_came:
                self._in_time.renew()
                self._line_came = False
            self._coming = asyncio.ensure_future(self._receive())
        coming = self._coming
        done, _ = await asyncio.wait(
            {coming, self._stop}, timeout=patience, return_when=asyncio.FIRST_COMPLETED
        )
        if not done:
            return None
        if coming not in done:
            return self._end(Problem("not-ready", "The service is about to stop."))
        self._coming = None
        try:
            message = coming.result()
        except Problem as problem:
            return self._end(problem)
        if message["type"] == "http.disconnect":
            # What came whole is recorded; half a line is none.
            return self._end(None)
        self.over = not message.get("more_body", False)
        *whole, self._begun = (self._begun + message.get("body", b"")).split(b"\n")
        if self.over and self._begun:
            whole.append(self._begun)
        self._line_came = self._line_came or bool(whole)
        return self._counted(whole)

    def close(self) -> None:
        """Wait for no more."""
        self._take_back()
        self._stop.cancel()
        if self._coming is not None:
            self._coming.cancel()

    def _counted(self, whole: list[bytes]) -> list[tuple[int, bytes]]:
        """Lines with their numbers, up to the first that is not read."""
        found: list[tuple[int, bytes]] = []
        for line in whole:
            if self.number == MOST_LINES:
                self._end(_too_large(f"At most {MOST_LINES} lines are read", MOST_LINES))
                return found
            if len(line) > self._most_bytes:
                break
            self.number += 1
            if line.strip():
                found.append((self.number, line))
        if max(map(len, (*whole, self._begun))) > self._most_bytes:
            self._end(_too_large(f"A line has at most {self._most_bytes} bytes", self._most_bytes))
        return found

    def _end(self, trouble: Problem | None) -> list[tuple[int, bytes]]:
        self.over, self.trouble = True, trouble
        return []


def _too_large(words: str, limit: int) -> Problem:
    return Problem("content-too-large", f"{words}; nothing was from here on.", limit=limit)
