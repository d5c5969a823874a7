"""What stands of a lot at one place: by the book, with the true trees behind it."""

from collections import Counter
from datetime import date
from typing import Any

from seed_scenario.fate import Tree

GRADES = ("first", "second")


class Stand:
    """Trees of a lot at a place, by the stage the book has them at.

    `trees`: `grafted`, `pushed`, `failed`, and `first` and `second` for what was graded ready.
    Event data about them names lot, place, stage, size and grade in full.
    """

    def __init__(self, lot: str, site: str, place: str, size: str) -> None:
        self.lot, self.site, self.place, self.size = lot, site, place, size
        self.trees: dict[str, list[Tree]] = {}
        # the last days on which its trees were counted, and on which anything was told of them
        self.counted_on: date | None = None
        self.touched_on: date | None = None
        # until this day its last count is not in the book yet: nothing else is told of it
        self.untold_until = date.min
        # ready trees that somebody has reserved
        self.promised = 0

    def of(self, stage: str) -> list[Tree]:
        """The trees of a stage or grade; the list itself."""
        return self.trees.setdefault(stage, [])

    def ready(self) -> int:
        """Ready trees of both grades by the book."""
        return sum(len(self.of(grade)) for grade in GRADES)

    def standing(self) -> int:
        """Live trees by the book."""
        return len(self.of("grafted")) + len(self.of("pushed")) + self.ready()

    def where(self, stage: str | None = None) -> dict[str, Any]:
        """Lot, place and size, and the stage (with its grade) if one is meant."""
        data: dict[str, Any] = {"lot": self.lot, "place": self.place}
        if stage in GRADES:
            data |= {"stage": "ready", "size": self.size, "grade": stage}
        elif stage:
            data |= {"stage": stage, "size": self.size}
        return data

    def take_dead(self, stage: str, day: date) -> Counter[str]:
        """Take away the trees of a stage that are seen dead; by cause."""
        trees = self.of(stage)
        causes = Counter(tree.cause for tree in trees if tree.dead(day))
        trees[:] = [tree for tree in trees if not tree.dead(day)]
        return causes

    def drop_missing(self, stage: str, day: date) -> int:
        """Leave out those that are no longer there and nobody wrote down: a count's shortage."""
        trees = self.of(stage)
        before = len(trees)
        trees[:] = [tree for tree in trees if not tree.gone(day)]
        return before - len(trees)
