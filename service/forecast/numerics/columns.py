"""Columns that fill up row by row, and the structs of arrays that become of them."""

from collections import defaultdict
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from service.forecast.numerics import stands

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass
class Columns:
    """Columns of a struct of arrays, filled row by row."""

    of: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))

    def add(self, **values: float) -> None:
        """One row more."""
        for name, value in values.items():
            self.of[name].append(value)

    def ints(self, name: str) -> Ints:
        """A column of whole numbers."""
        return np.array(self.of[name], np.int64)

    def floats(self, name: str) -> Floats:
        """A column of numbers."""
        return np.array(self.of[name], np.float64)

    def flags(self, name: str) -> NDArray[np.bool_]:
        """A column of what is so or is not."""
        return np.array(self.of[name], bool)


def lots_of(lots: Columns) -> stands.Lots:
    """The lots whose columns these are."""
    nothing = np.zeros(len(lots.of["kin"]))

    def chances(row: str, good: str = "", bad: str = "") -> stands.Chances:
        return stands.Chances(
            row=lots.ints(row),
            good=lots.floats(good) if good else nothing,
            bad=lots.floats(bad) if bad else nothing,
        )

    return stands.Lots(
        kin=lots.ints("kin"),
        to_push=stands.Own(
            row=lots.ints("push_row"),
            y=lots.floats("push_y"),
            variance=lots.floats("push_variance"),
        ),
        to_ready=stands.Own(
            row=lots.ints("ready_row"),
            y=lots.floats("ready_y"),
            variance=lots.floats("ready_variance"),
        ),
        take=chances("take", "alive", "failed"),
        push=chances("push"),
        survival=chances("survival", "lived", "dead"),
        fit=chances("fit"),
        push_floor=lots.floats("floor"),
    )


def stands_of(some: Columns) -> stands.Stands:
    """The stands whose columns these are."""
    return stands.Stands(
        lot=some.ints("lot"),
        path=some.ints("path"),
        site=some.ints("site"),
        told=some.ints("told"),
        trees=some.ints("trees"),
        unread=some.ints("unread"),
        waiting=some.flags("waiting"),
        from_push=some.flags("from_push"),
        counted=some.floats("counted"),
        wait=some.ints("wait"),
        push_seen=some.floats("push_seen"),
        ready_seen=some.floats("ready_seen"),
        beyond=some.floats("beyond"),
        unseen=some.floats("unseen"),
        free=some.flags("free"),
        sizes=some.ints("sizes"),
        grades=some.ints("grades"),
    )
