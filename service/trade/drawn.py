"""How many of a set of stock the claims on one lot must take.

A claim on a lot of any grade, or at any site, may be served from wherever the lot stands; but what
of it can't be served elsewhere has to come from here, and can't be promised once more as an item.
"""

from collections import deque
from collections.abc import Iterable, Iterator, Mapping
from itertools import groupby
from typing import NamedTuple, Protocol

from service.trade.promising import Due


class Part(NamedTuple):
    """A grade (empty: any) at a site (None: any)."""

    grade: str
    site: str | None

    def holds(self, other: "Part") -> bool:
        """Whether whatever is of the other is of this."""
        return self.grade in ("", other.grade) and self.site in (None, other.site)


class Holding(Protocol):
    """A part, or several together."""

    def holds(self, part: Part) -> bool: ...


class Wish(NamedTuple):
    """So many of a part, for a day."""

    day: int
    part: Part
    quantity: int


def drawn_by_day(
    wishes: Iterable[Wish], standing: Mapping[Part, int], of: Holding
) -> Iterator[Due]:
    """What the claims on a lot take of `of` at least, by their days; see `drawn`."""
    by_then: dict[Part, int] = {}
    before = 0
    for day, on_day in groupby(sorted(wishes, key=lambda one: one.day), lambda one: one.day):
        for wish in on_day:
            by_then[wish.part] = by_then.get(wish.part, 0) + wish.quantity
        taken = drawn(by_then, standing, of)
        if taken > before:
            yield Due(day, taken - before)
            before = taken


def drawn(claims: Mapping[Part, int], standing: Mapping[Part, int], of: Holding) -> int:
    """How many the claims on a lot take of `of` at least: all that lies in it, and what of the rest
    is served by it alone.

    `standing`: how many can be promised of each grade at each site.
    """
    within = sum(count for part, count in claims.items() if of.holds(part))
    if all(of.holds(part) for part in claims):
        return within
    elsewhere = {part: count for part, count in standing.items() if not of.holds(part)}
    return max(within, served(claims, standing) - served(claims, elsewhere))


def served(claims: Mapping[Part, int], standing: Mapping[Part, int]) -> int:
    """How many of the claims can be served at once: the greatest flow from claims to trees, along
    shortest ways (Edmonds and Karp 1972), so that no numbers make it slow."""
    wanted, free = dict(claims), dict(standing)
    given: dict[tuple[Part, Part], int] = {}
    while way := _way(wanted, free, given):
        count = min(
            wanted[way[0]],
            free[way[-1]],
            *(given[way[n + 1], way[n]] for n in range(1, len(way) - 1, 2)),
        )
        wanted[way[0]] -= count
        free[way[-1]] -= count
        for n in range(0, len(way), 2):
            claim, part = way[n : n + 2]
            given[claim, part] = given.get((claim, part), 0) + count
            if n:
                given[claim, way[n - 1]] -= count
    return sum(claims.values()) - sum(wanted.values())


def _way(
    wanted: Mapping[Part, int], free: Mapping[Part, int], given: Mapping[tuple[Part, Part], int]
) -> list[Part]:
    """The shortest way from a claim to something free: a claim, where it may be served, whose it
    is now, where that one may be served instead, and so on; empty where there is none."""
    ways = deque([claim] for claim, count in wanted.items() if count)
    claims, parts = {way[0] for way in ways}, set[Part]()
    while ways:
        way = ways.popleft()
        for part in free:
            if part in parts or not way[-1].holds(part):
                continue
            parts.add(part)
            if free[part]:
                return [*way, part]
            for other in wanted:
                if other not in claims and given.get((other, part)):
                    claims.add(other)
                    ways.append([*way, part, other])
    return []
