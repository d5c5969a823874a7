"""What was last seen of each lot: sums over its observations, one figure a lot of `Known`."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.forecast.shapes import DEAD, Known

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Seen:
    """Trees of each lot that went each way, and the days of the newest looks (0: none).

    waited_on: the last day on which grafts were seen waiting; graded_on: the last on which pushed
    trees were seen not ready. pushed_on: the mean day on which the pushed were found so.
    """

    pushed: Floats
    pushed_on: Floats
    waiting: Floats
    waited_on: Ints
    ready: Floats
    growing: Floats
    graded_on: Ints
    dead: Floats
    alive: Floats
    failed: Floats


def seen_of(known: Known) -> Seen:
    """Sum up the observations by lot."""
    count = len(known.lots.code)
    pushes, growths, takes = known.pushes, known.growths, known.takes
    push_lot, push_outcome = np.asarray(pushes.lot, np.int64), np.asarray(pushes.outcome, object)
    grow_lot, grow_outcome = np.asarray(growths.lot, np.int64), np.asarray(growths.outcome, object)
    push_trees, grow_trees = np.asarray(pushes.trees, float), np.asarray(growths.trees, float)

    def trees(lot: Ints, outcome: NDArray[np.object_], of: Floats, *words: str) -> Floats:
        return np.bincount(lot, of * np.isin(outcome, words), count).astype(np.float64)

    def newest(lot: Ints, outcome: NDArray[np.object_], days: list[int], word: str) -> Ints:
        found = np.zeros(count, np.int64)
        some = outcome == word
        np.maximum.at(found, lot[some], np.asarray(days, np.int64)[some])
        return found

    take_lot = np.asarray(takes.lot, np.int64)
    pushed = trees(push_lot, push_outcome, push_trees, "pushed")
    days = push_trees * np.asarray(pushes.by, float)
    pushed_on = trees(push_lot, push_outcome, days, "pushed") / np.maximum(pushed, 1.0)
    return Seen(
        pushed=pushed,
        pushed_on=pushed_on,
        waiting=trees(push_lot, push_outcome, push_trees, "waiting"),
        waited_on=newest(push_lot, push_outcome, pushes.after, "waiting"),
        ready=trees(grow_lot, grow_outcome, grow_trees, "ready"),
        growing=trees(grow_lot, grow_outcome, grow_trees, "growing"),
        graded_on=newest(grow_lot, grow_outcome, growths.after, "growing"),
        dead=trees(grow_lot, grow_outcome, grow_trees, *DEAD),
        alive=np.bincount(take_lot, np.asarray(takes.alive, float), count).astype(float),
        failed=np.bincount(take_lot, np.asarray(takes.failed, float), count).astype(float),
    )
