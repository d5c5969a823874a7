"""Answers kept as bytes for who asks the same again."""

from typing import NamedTuple

MOST, MOST_BYTES = 2_000, 32 * 1024 * 1024


class Kept(NamedTuple):
    """An answer as bytes, with its tag."""

    body: bytes
    tag: str
    headers: dict[str, str]


class Answers:
    """Answers of this process, by the question's text and the sites that the asker sees.

    They hold for one version of what they tell of, and are all forgotten at the next.
    """

    def __init__(self) -> None:
        self._version = -1
        self._kept: dict[bytes, dict[frozenset[str], Kept]] = {}
        self._count = self._bytes = 0

    def has(self, version: int, asked: bytes) -> bool:
        """Whether anybody was answered this question."""
        return version == self._version and asked in self._kept

    def find(self, version: int, sites: frozenset[str], asked: bytes) -> Kept | None:
        """What was answered to who sees exactly these sites."""
        return self._kept.get(asked, {}).get(sites) if version == self._version else None

    def keep(self, version: int, sites: frozenset[str], asked: bytes, answer: Kept) -> None:
        """Keep an answer, in place of all of other versions; too many are all forgotten."""
        if version != self._version or self._count >= MOST or self._bytes >= MOST_BYTES:
            self._kept, self._count, self._bytes, self._version = {}, 0, 0, version
        self._kept.setdefault(asked, {})[sites] = answer
        self._count += 1
        self._bytes += len(answer.body)
