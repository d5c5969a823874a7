"""What truly came of the trees that stood on a past day: when lots were ready, how many there were.

Days are ordinals. `day`: the last day of which something was known.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence

from service.forecast.backtest.outcomes import Fate, Outcomes
from service.forecast.shapes import ALL_SITES, Known

GROWING = ("grafted", "pushed")


def grew(fate: Fate, day: int) -> bool:
    """Whether such trees still stood unready, by the books, when the day ended."""
    return not (0 < fate.graded <= day or 0 < fate.left <= day)


def became_ready(fate: Fate) -> bool:
    """Whether they lived to be ready, and nobody took them away before they were graded."""
    if not fate.ready or 0 < fate.died <= fate.ready:
        return False
    return bool(fate.graded) or not fate.left


def there(fate: Fate, by: int) -> bool:
    """Whether they are ready and alive at the end of a day, had nobody sold them."""
    return became_ready(fate) and fate.ready <= by and not 0 < fate.died <= by


def middle_day(fates: Iterable[Fate], day: int) -> int | None:
    """When half of those were ready that grew on `day` and would be; None if none ever was."""
    days = sorted(
        (fate.ready, fate.trees) for fate in fates if grew(fate, day) and became_ready(fate)
    )
    total, so_far = sum(trees for _, trees in days), 0
    for ready, trees in days:
        so_far += trees
        if 2 * so_far >= total:
            return ready
    return None


def coming(fates: Iterable[Fate], day: int) -> int:
    """How many of those that grew on `day` became ready."""
    return sum(fate.trees for fate in fates if grew(fate, day) and became_ready(fate))


class _Lot:
    """Trees of a lot by site: ready ones that may be sold by size and grade, and growing ones."""

    def __init__(self) -> None:
        self.ready: dict[str, dict[tuple[str, str], int]] = defaultdict(lambda: defaultdict(int))
        self.growing: dict[str, int] = defaultdict(int)
        # at all sites, those under a hold too
        self.all_ready: dict[tuple[str, str], int] = defaultdict(int)
        self.all_growing = 0

    def ready_at(self, site: str, size: str = "", grade: str = "") -> int:
        """Ready trees at a site (empty: at all) of a size and grade (empty: of any)."""
        return sum(
            trees
            for where, kinds in self.ready.items()
            for kind, trees in kinds.items()
            if site in (ALL_SITES, where) and size in ("", kind[0]) and grade in ("", kind[1])
        )

    def share_ready(self, site: str, fate: Fate) -> float:
        """Of the trees of a fate that stand ready, how large a share may be sold at a site.

        By the books some may be of another size or grade than they are told to be sold in.
        """
        kind = (fate.size, fate.grade)
        if self.all_ready.get(kind):
            return self.ready_at(site, *kind) / self.all_ready[kind]
        return self.ready_at(site) / max(sum(self.all_ready.values()), 1)

    def growing_at(self, site: str) -> int:
        """Growing trees at a site (empty: at all)."""
        return sum(n for where, n in self.growing.items() if site in (ALL_SITES, where))


class Stand:
    """What stood, by the books, when a past day ended, with what came of it.

    An item is cultivar, rootstock, size, grade (empty: of any) and site (empty: all sites).
    """

    def __init__(self, known: Known, outcomes: Outcomes, day: int) -> None:
        self.day, self._outcomes = day, outcomes
        self._lots: dict[tuple[str, str], dict[str, _Lot]] = defaultdict(dict)
        standing, lots = known.standing, known.lots
        for row, number in enumerate(standing.lot):
            if lots.grown_for[number]:
                continue
            of_kind = self._lots[lots.cultivar[number], lots.rootstock[number]]
            lot = of_kind.setdefault(lots.code[number], _Lot())
            trees, site, held = standing.trees[row], standing.site[row], standing.held[row]
            if standing.stage[row] in GROWING:
                lot.all_growing += trees
                lot.growing[site] += 0 if held else trees
            else:
                kind = (standing.size[row], standing.grade[row])
                lot.all_ready[kind] += trees
                lot.ready[site][kind] += 0 if held else trees

    def ready_now(self, item: Sequence[str]) -> int:
        """How many of an item are booked as ready and free to sell."""
        cultivar, rootstock, size, grade, site = item
        lots = self._lots.get((cultivar, rootstock), {}).values()
        return sum(lot.ready_at(site, size, grade) for lot in lots)

    def came(self, item: Sequence[str], by: int) -> float | None:
        """How many of an item there truly were at the end of a day, had nobody sold any.

        None when there is no telling: a lot of it grew whose outcome is not known. Ready trees of
        lots without outcomes are taken to stay; where a lot stood at several sites, each had its
        share of what came.
        """
        cultivar, rootstock, size, grade, site = item
        total = 0.0
        for code, lot in self._lots.get((cultivar, rootstock), {}).items():
            fates, growing = self._outcomes.get(code), lot.growing_at(site)
            if fates is None and growing:
                return None
            if fates is None:
                total += lot.ready_at(site, size, grade)
                continue
            of_growing = growing / max(lot.all_growing, 1)
            for fate in fates:
                if fate.size != size or grade not in ("", fate.grade) or not there(fate, by):
                    continue
                if grew(fate, self.day):
                    total += fate.trees * of_growing
                elif not 0 < fate.left <= self.day:
                    total += fate.trees * lot.share_ready(site, fate)
        return total
