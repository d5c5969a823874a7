"""Answers kept as bytes for who asks the same again."""

from typing import Any, NamedTuple

MOST, MOST_BYTES = 2_000, 32 * 1024 * 1024


class Kept(NamedTuple):
    """An answer as bytes, with its tag."""

    body: bytes
    tag: str
    headers: dict[str, str]


class Answers:
    """Answers of this process, each for who sees the same sites and asks the same.

    They hold for one version of the list and are all forgotten at the next.
    """

    def __init__(self) -> None:
        self._version = -1
        self._kept: dict[Any, Kept] = {}
        self._bytes = 0

    def find(self, version: int, asked: Any) -> Kept | None:
        if version != self._version:
            self._kept, self._bytes, self._version = {}, 0, version
        return self._kept.get(asked)

    def keep(self, asked: Any, answer: Kept) -> None:
        if len(self._kept) >= MOST or self._bytes > MOST_BYTES:
            self._kept, self._bytes = {}, 0
        self._kept[asked] = answer
        self._bytes += len(answer.body)
