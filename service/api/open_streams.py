"""The streams that a process has open: how many, whose, and what they share."""

import asyncio
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from service.api.problems import Problem
from service.measures import STREAMS

# Readers that have to catch up ask the database so many at a time; the rest is for other questions.
_CATCHING_UP = 3


class Streams:
    """The streams that are open, by the name of their key."""

    def __init__(self) -> None:
        self._open: dict[str, int] = {}
        self.catching_up = asyncio.Semaphore(_CATCHING_UP)

    @property
    def count(self) -> int:
        """How many are open."""
        return sum(self._open.values())

    def check(self, name: str, most_of_one: int, most: int) -> None:
        """Raises 429 when a key's name has all that it may have, 503 when the process has."""
        headers = {"Retry-After": "10"}
        if self._open.get(name, 0) >= most_of_one:
            words = f"At most {most_of_one} streams of one key's name are open at a time."
            members: dict[str, Any] = {"violated-policies": ["streams"]}
            raise Problem("quota-exceeded", words, headers=headers, **members)
        if self.count >= most:
            raise Problem("overloaded", f"{most} streams are open already.", headers=headers)

    @contextmanager
    def one(self, name: str) -> Iterator[None]:
        """Inside, one more is open."""
        self._open[name] = self._open.get(name, 0) + 1
        STREAMS.set(self.count)
        try:
            yield
        finally:
            self._open[name] -= 1
            if not self._open[name]:
                del self._open[name]
            STREAMS.set(self.count)
