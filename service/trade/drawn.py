"""How many of a set of stock the claims on one lot must take.

A claim on a lot of any grade, or at any site, may be served from wherever the lot stands; but what
of it can't be served elsewhere has to come from here, and can't be promised once more as an item.
"""

from collections.abc import Iterable, Iterator, Mapping
from itertools import groupby
from typing import NamedTuple

from service.trade.promising import Due


class Part(NamedTuple):
    """A grade (empty: any) at a site (None: any)."""

    grade: str
    site: str | None

    def inside(self, of: "Part") -> bool:
        return of.grade in ("", self.grade) and of.site in (None, self.site)


class Wish(NamedTuple):
    """So many of a part, for a day."""

    day: int
    part: Part
    quantity: int


def drawn_by_day(wishes: Iterable[Wish], standing: Mapping[Part, int], of: Part) -> Iterator[Due]:
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


def drawn(claims: Mapping[Part, int], standing: Mapping[Part, int], of: Part) -> int:
    """How many the claims on a lot take of `of` at least: all that lies in it, and what of the rest
    is served by it alone.

    `standing`: how many can be promised of each grade at each site.
    """
    within = sum(count for part, count in claims.items() if part.inside(of))
    if all(part.inside(of) for part in claims):
        return within
    elsewhere = {part: count for part, count in standing.items() if not part.inside(of)}
    return max(within, served(claims, standing) - served(claims, elsewhere))


def served(claims: Mapping[Part, int], standing: Mapping[Part, int]) -> int:
    """How many of the claims can be served at once."""
    free = dict(standing)
    given: dict[tuple[Part, Part], int] = {}

    def give(claim: Part, count: int, seen: set[Part]) -> int:
        """At most so many more, at once; where nothing is free another is served elsewhere."""
        for part in free:
            if part in seen or not part.inside(claim):
                continue
            seen.add(part)
            found = min(count, free[part])
            free[part] -= found
            for other in claims if not found else ():
                had = given.get((other, part), 0)
                found = give(other, min(count, had), seen) if had else 0
                if found:
                    given[other, part] -= found
                    break
            if found:
                given[claim, part] = given.get((claim, part), 0) + found
                return found
        return 0

    total = 0
    for claim, count in claims.items():
        wanted = count
        while wanted and (found := give(claim, wanted, set())):
            wanted -= found
        total += count - wanted
    return total
