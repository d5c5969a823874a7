"""Sets of stock that claims cross: all that stands at some sites, and some grades anywhere.

Who wants any grade at one site, and who wants one grade at any site, may both have enough and yet
not be served both: the trees that either could take are the same. By the marriage theorem (Hall
1935) all claims on an item can be served at once when each such union holds the claims inside it,
beside each site, each grade and each grade at a site.
"""

from bisect import bisect_left
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from itertools import combinations, product
from typing import NamedTuple

from service.trade.drawn import Part
from service.trade.items import Item
from service.trade.promising import FOR_EVER, Step

MOST = 4
"""Of more sites (or grades) that claims cross at, each alone and all together are looked at, not
every choice among them."""
ANY = Part("", None)


class Cross(NamedTuple):
    """Everything of an item (of any grade) at the `sites`, and the `grades` of it anywhere."""

    item: Item
    sites: tuple[str, ...]
    grades: tuple[str, ...]

    def holds(self, part: Part) -> bool:
        return part.site in self.sites or part.grade in self.grades

    @property
    def words(self) -> str:
        """In a sentence, after "ready and not held": where it is."""
        return f" at {_and(self.sites)} or of grade {_and(self.grades)} anywhere"

    def parts(self, all_sites: Iterable[str]) -> list[Part]:
        """Every set of stock by which it is reckoned; see `there`."""
        sites = sorted({*self.sites, *all_sites})
        return [ANY, *(Part("", site) for site in sites), *map(_anywhere, self.grades), *self._both]

    @property
    def _both(self) -> Iterator[Part]:
        return (Part(grade, site) for grade, site in product(self.grades, self.sites))

    def there(self, all_sites: Collection[str], of: Callable[[Part], Sequence[Step]]) -> list[Step]:
        """How many are there from when to when, given that of each of its `parts`.

        Exact where these are what stands. What is told ahead is told of each part alone, each as
        sure as the nursery wants to be: what such numbers make together is near that and no more.
        """
        tables = {part: of(part) for part in self.parts(all_sites)}
        ends = {part: [step.last for step in steps] for part, steps in tables.items()}
        begins = sorted({0, *(step.first for steps in tables.values() for step in steps)})
        lasts = [begin - 1 for begin in begins[1:]] + [FOR_EVER]
        rest = [Part("", site) for site in all_sites if site not in self.sites]

        def on(day: int) -> Callable[[Part], int]:
            return lambda part: (
                tables[part][min(bisect_left(ends[part], day), len(ends[part]) - 1)].quantity
            )

        return [
            Step(first, last, self._count(on(first), rest))
            for first, last in zip(begins, lasts, strict=True)
        ]

    def _count(self, there: Callable[[Part], int], rest: Iterable[Part]) -> int:
        everything = there(ANY)
        if all(there(part) <= 0 for part in rest):
            # There is nothing at other sites, and all together is told surer than each alone.
            return everything
        rows = sum(there(Part("", site)) for site in self.sites)
        columns = sum(there(_anywhere(grade)) for grade in self.grades)
        union = rows + columns - sum(map(there, self._both))
        # What is told of one part and not of another does not fit together.
        return min(everything, max(union, rows, columns))


def crosses(item: Item, claimed: Iterable[Part], claim: Collection[Part]) -> list[Cross]:
    """The unions of sites and grades that `claimed` and a new claim cross at, and that hold any of
    the parts that the claim can take from."""
    sites, grades = set[str](), set[str]()
    for part in (*claimed, *claim):
        if part.site is not None and not part.grade:
            sites.add(part.site)
        elif part.grade and part.site is None:
            grades.add(part.grade)
    if not sites or not grades:
        return []
    item = item._replace(grade="")
    found = (Cross(item, *both) for both in product(_some(sites), _some(grades)))
    return [cross for cross in found if any(map(cross.holds, claim))]


def _some(of: Collection[str]) -> Iterator[tuple[str, ...]]:
    every = range(1, len(of) + 1) if len(of) <= MOST else (1, len(of))
    return (some for number in every for some in combinations(sorted(of), number))


def _anywhere(grade: str) -> Part:
    return Part(grade, None)


def _and(names: Sequence[str]) -> str:
    return " and ".join(names)
