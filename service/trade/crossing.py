"""Sets of stock that claims cross: all that stands at some sites, and some grades anywhere.

Who wants any grade at one site, and who wants one grade at any site, may both have enough and yet
not be served both: the trees that either could take are the same. By the marriage theorem (Hall
1935) all claims on an item can be served at once when each such union holds the claims inside it,
beside each site, each grade and each grade at a site.
"""

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
        begins = sorted({0}.union(*({step.first for step in steps} for steps in tables.values())))
        columns = {part: _on(steps, begins) for part, steps in tables.items()}
        everything, at_sites, of_grades, both = (
            columns[ANY],
            *(
                _sum([columns[part] for part in parts])
                for parts in (
                    [Part("", site) for site in self.sites],
                    list(map(_anywhere, self.grades)),
                    list(self._both),
                )
            ),
        )
        # What is told of one part and not of another does not fit together.
        counts = [
            min(whole, max(rows + grades - twice, rows, grades))
            for whole, rows, grades, twice in zip(
                everything, at_sites, of_grades, both, strict=True
            )
        ]
        rest = [columns[Part("", site)] for site in all_sites if site not in self.sites]
        # Where other sites have nothing: all together is told surer than each alone.
        alone = [max(others) <= 0 for others in zip(*rest, strict=True)] or [True] * len(begins)
        lasts = [begin - 1 for begin in begins[1:]] + [FOR_EVER]
        return [
            Step(first, last, whole if only else count)
            for first, last, whole, only, count in zip(
                begins, lasts, everything, alone, counts, strict=True
            )
        ]


def _on(steps: Sequence[Step], begins: Sequence[int]) -> list[int]:
    """What is there on each of some days, given in their order."""
    found, at, last = [], 0, len(steps) - 1
    for day in begins:
        while at < last and steps[at].last < day:
            at += 1
        found.append(steps[at].quantity)
    return found


def _sum(columns: Sequence[Sequence[int]]) -> Sequence[int]:
    return columns[0] if len(columns) == 1 else list(map(sum, zip(*columns, strict=True)))


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
