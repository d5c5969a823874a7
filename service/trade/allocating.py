"""Which lots a line of a sale takes its trees from, when it names an item and no lot.

What is kept for the customer goes first; then a line is taken from one lot where one has enough,
the lot whose trees have been ready longest before others. Inside a lot as few places as can be are
gone to, and a grade that somebody else was promised is left for last.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date

import msgspec


class Stand(msgspec.Struct, frozen=True, kw_only=True):
    """Trees of one lot and grade at one place that may be taken.

    `since`: from when the oldest ready trees of the lot are ready. `asked_for`: somebody else was
    promised trees of this very grade.
    """

    lot: str
    place: str
    grade: str
    count: int
    since: date
    asked_for: bool = False


class Limit(msgspec.Struct, frozen=True, kw_only=True):
    """At most `most` trees may be taken of a lot, or of one grade of it: others hold the rest."""

    lot: str
    grade: str | None
    most: int


class Taken(msgspec.Struct, frozen=True, kw_only=True):
    """So many trees from one place."""

    lot: str
    place: str
    grade: str
    count: int


def ready_since(nets: Iterable[tuple[date, int]]) -> date | None:
    """The first day of which ready trees of a lot are left, if those that came first left first.

    `nets`: what came to and what left the ready trees of the lot on each day, moves left out. None
    when nothing is left.
    """
    came: list[tuple[date, int]] = []
    left = 0
    for day, net in sorted(nets):
        if net > 0:
            came.append((day, net))
        left += max(-net, 0)
    for day, net in came:
        if left < net:
            return day
        left -= net
    return None


def choose(
    count: int, stands: Sequence[Stand], limits: Sequence[Limit], kept: Mapping[str, int]
) -> list[Taken]:
    """From where `count` trees are taken; fewer when no more may be taken.

    `kept`: how many of which lots are kept for this customer.
    """
    by_lot: dict[str, list[Stand]] = {}
    for stand in sorted(stands, key=lambda one: (one.since, one.lot)):
        by_lot.setdefault(stand.lot, []).append(stand)
    of_lot: dict[str, list[Limit]] = {lot: [] for lot in by_lot}
    for limit in limits:
        if limit.lot in of_lot:
            of_lot[limit.lot].append(limit)
    every = sum(stand.count for stand in stands)
    room = {
        lot: sum(taken.count for taken in _from_lot(every, here, of_lot[lot]))
        for lot, here in by_lot.items()
    }
    picked = dict.fromkeys(by_lot, 0)
    rest = count
    for lot in by_lot:
        picked[lot] = min(rest, kept.get(lot, 0), room[lot])
        rest -= picked[lot]
    enough = [lot for lot in by_lot if room[lot] - picked[lot] >= rest]
    if enough:
        # The lot that is gone to anyway, else the one that has been ready longest.
        picked[next((lot for lot in enough if picked[lot]), enough[0])] += rest
    else:
        for lot in by_lot:
            part = min(rest, room[lot] - picked[lot])
            picked[lot] += part
            rest -= part
    return [
        taken for lot, here in by_lot.items() for taken in _from_lot(picked[lot], here, of_lot[lot])
    ]


def _from_lot(count: int, stands: Sequence[Stand], limits: Sequence[Limit]) -> list[Taken]:
    """At most so many trees of one lot, within its limits, from few places."""
    left = {(limit.grade, number): limit.most for number, limit in enumerate(limits)}

    def most(stand: Stand) -> int:
        held = [most for (grade, _), most in left.items() if grade in (None, stand.grade)]
        return max(min([stand.count, *held]), 0)

    def pick(stand: Stand, part: int) -> Taken:
        for grade, number in left:
            if grade in (None, stand.grade):
                left[grade, number] -= part
        return Taken(lot=stand.lot, place=stand.place, grade=stand.grade, count=part)

    found: list[Taken] = []
    waiting = sorted(stands, key=lambda one: (one.place, one.grade))
    while count > 0 and waiting:
        open_to_all = [one for one in waiting if not one.asked_for and most(one)]
        among = open_to_all or waiting
        alone = [one for one in among if most(one) >= count]
        # The smallest that has enough empties its table soonest; else the largest is a good part.
        stand = min(alone, key=lambda one: one.count) if alone else max(among, key=most)
        waiting.remove(stand)
        part = min(count, most(stand))
        if part:
            found.append(pick(stand, part))
            count -= part
    return found
