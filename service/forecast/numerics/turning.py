"""What growing trees turn out as: the size and the grade that they are sold in, learned."""

from collections import defaultdict
from dataclasses import dataclass, field

import numpy as np

from service.forecast.numerics.stands import NONE, Shares
from service.forecast.shapes import Known

AS_IT_STANDS = 0.5
"""Lots' worth of belief that trees are sold in the size in which they stand."""
FEW_LOTS = 5.0
"""A site with fewer lots goes by those of all sites."""
SIZE_TOGETHER, GRADE_TOGETHER = 0.95, 0.03
"""Correlation within a lot: it is potted on whole, or not; grades are nearly drawn tree by tree."""

_Counts = dict[str, float]


@dataclass
class Turning:
    """Sizes and grades by name, and rows of shares, made as they are asked for.

    by_size: lots that became ready, by (crop, site or empty, size they pushed in) and size;
    by_grade: trees by crop and grade.
    """

    by_size: dict[tuple[str, str, str], _Counts]
    by_grade: dict[str, _Counts]
    sizes: list[str] = field(default_factory=list)
    grades: list[str] = field(default_factory=list)
    _sizes: dict[str, int] = field(default_factory=dict)
    _grades: dict[str, int] = field(default_factory=dict)
    _size_rows: dict[tuple[str, str, str], int] = field(default_factory=dict)
    _size_told: list[dict[int, float]] = field(default_factory=list)
    _grade_rows: dict[str, int] = field(default_factory=dict)
    _grade_told: list[dict[int, float]] = field(default_factory=list)

    def size(self, name: str) -> int:
        """Index of a size."""
        if name not in self._sizes:
            self._sizes[name] = len(self.sizes)
            self.sizes.append(name)
        return self._sizes[name]

    def grade(self, name: str) -> int:
        """Index of a grade; NONE for the empty one."""
        if not name:
            return NONE
        if name not in self._grades:
            self._grades[name] = len(self.grades)
            self.grades.append(name)
        return self._grades[name]

    def size_row(self, crop: str, site: str, standing: str) -> int:
        """Row of what trees standing in a size will be sold in."""
        key = (crop, site, standing)
        if key not in self._size_rows:
            counts = dict(self.by_size.get(key, {}))
            if sum(counts.values()) < FEW_LOTS:
                counts = dict(self.by_size.get((crop, "", standing), {}))
            counts[standing] = counts.get(standing, 0.0) + AS_IT_STANDS
            self._size_rows[key] = len(self._size_told)
            self._size_told.append({self.size(name): count for name, count in counts.items()})
        return self._size_rows[key]

    def grade_row(self, crop: str) -> int:
        """Row of what grades trees of a crop come out as; a row of NONE where nothing is known."""
        if crop not in self._grade_rows:
            counts = self.by_grade.get(crop, {})
            self._grade_rows[crop] = len(self._grade_told)
            told = {self.grade(name): count for name, count in sorted(counts.items())}
            self._grade_told.append(told or {NONE: 1.0})
        return self._grade_rows[crop]

    def size_shares(self) -> Shares:
        """All rows of sizes asked for."""
        return _shares(self._size_told, SIZE_TOGETHER)

    def grade_shares(self) -> Shares:
        """All rows of grades asked for."""
        return _shares(self._grade_told, GRADE_TOGETHER)


def _shares(rows: list[dict[int, float]], together: float) -> Shares:
    width = max((len(row) for row in rows), default=1)
    kind = np.full((len(rows), width), NONE, np.int64)
    share = np.zeros((len(rows), width))
    for number, row in enumerate(rows):
        kind[number, : len(row)] = list(row)
        counts = np.array(list(row.values()))
        share[number, : len(row)] = counts / counts.sum()
    return Shares(kind=kind, share=share, correlation=np.full(len(rows), together))


def turning_of(known: Known) -> Turning:
    """What trees that became ready were then: sizes by lots, grades by trees."""
    grown, lots = known.growths, known.lots
    of_lot: dict[int, float] = defaultdict(float)
    ready = [n for n, outcome in enumerate(grown.outcome) if outcome == "ready"]
    for row in ready:
        of_lot[grown.lot[row]] += grown.trees[row]
    by_size: dict[tuple[str, str, str], _Counts] = defaultdict(lambda: defaultdict(float))
    by_grade: dict[str, _Counts] = defaultdict(lambda: defaultdict(float))
    for row in ready:
        lot, trees = grown.lot[row], grown.trees[row]
        crop = lots.crop[lot]
        for site in ("", grown.site[row]):
            key = (crop, site, grown.started[row])
            by_size[key][grown.size[row]] += trees / of_lot[lot]
        if grown.grade[row]:
            by_grade[crop][grown.grade[row]] += trees
    return Turning(dict(by_size), dict(by_grade))
