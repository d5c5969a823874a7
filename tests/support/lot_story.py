"""The story of one tree lot, T1 at CORIN, as completed events for what is pure of the trade."""

from datetime import date
from typing import Any

import msgspec

from service.trade.events import Event
from service.trade.lot_walk import Told

HERE = {"lot": "T1", "place": "TB1", "size": "P9"}


def told(kind: str, day: str, site: str = "CORIN", /, **data: Any) -> Told:
    """An event that is complete, and its day."""
    data = {name.rstrip("_"): value for name, value in data.items()}
    whole = {"type": kind, "site": site, "occurred": day, "data": data}
    return Told(msgspec.convert(whole, Event), date.fromisoformat(day))


def grafted(day: str, count: int, *grafters: tuple[str, int], **more: Any) -> Told:
    """So many of T1 grafted at TB1, by whom."""
    return told(
        "trees.grafted",
        day,
        from_=[{"bag": "B1", "lot": "BW1", "buds": count, "place": "BOX"}],
        onto={"liner_lot": "L1", "place": "TB1", "size": "P9"},
        method="t_bud",
        count=count,
        grafters=[{"person": person, "count": n} for person, n in grafters],
        **({"lot": "T1", "place": "TB1"} | more),
    )


def unwrapped(day: str, alive: int, failed: int = 0, left: int = 0, place: str = "TB1") -> Told:
    """The take read at a place."""
    where = HERE | {"place": place}
    return told("grafts.unwrapped", day, **where, alive=alive, failed=failed, left_wrapped=left)


def counted(day: str, pushed: int, waiting: int, failed: int = 0, **more: Any) -> Told:
    """A push count."""
    data = HERE | {"pushed": pushed, "waiting": waiting, "failed": failed, "unclear": 0}
    return told("push.counted", day, **(data | more))


def moved(day: str, count: int, start: str, to: str, stage: str = "grafted") -> Told:
    """Trees carried to another place."""
    where = HERE | {"place": start, "stage": stage}
    return told("trees.moved", day, **where, count=count, to=to)


def lost(day: str, count: int, cause: str, stage: str = "grafted", place: str = "TB1") -> Told:
    """Trees lost."""
    where = HERE | {"place": place, "stage": stage}
    return told("trees.lost", day, **where, count=count, cause=cause)


def graded(day: str, stage: str, *outcomes: dict[str, Any]) -> Told:
    """Trees graded at TB1."""
    return told("trees.graded", day, **HERE, stage=stage, outcomes=list(outcomes))
