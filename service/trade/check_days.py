"""How the checks of a lot stood at the end of each day of its life."""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from datetime import date

import msgspec

from service.trade.check_history import Walk
from service.trade.check_plans import CheckedLot, DueCheck, due_by_facts
from service.trade.events.catalogue import CheckPlan
from service.trade.events.envelope import Envelope

LAST_DAY = date.max
"""The end of what still stands."""


class Spell(msgspec.Struct, frozen=True):
    """A check that stood like this from the end of `from_day` until before that of `until_day`."""

    check: DueCheck
    from_day: date
    until_day: date


def check_spells(
    lot: CheckedLot,
    history: Sequence[tuple[date, Envelope]],
    opened: Sequence[date],
    nets: Mapping[date, Mapping[tuple[str, str], int]],
    plans: Sequence[CheckPlan],
) -> list[Spell]:
    """What `due_checks` would have said at the end of each day, in spells of the same.

    `history`: as for `due_checks`, each with its day; `opened` the days, in that order, of those
    that opened the lot's books or brought it in. `nets`: day → (place, stage) → living trees more.
    """
    spells: list[Spell] = []
    running: dict[tuple[str, str], tuple[DueCheck, date]] = {}
    stand: Counter[tuple[str, str]] = Counter()
    told = [day for day, _ in history]
    in_order = told == sorted(told)
    walk, taken = Walk(lot.lot), 0
    for day in sorted({*told, *nets}):
        stand.update(nets.get(day, {}))
        if in_order:
            while taken < len(history) and told[taken] <= day:
                walk.take(history[taken][1], told[taken])
                taken += 1
        else:
            # Two sites' days do not keep step: what one told of its tomorrow comes too early.
            walk = Walk(lot.lot)
            for when, event in history:
                if when <= day:
                    walk.take(event, when)
        if opened:
            since = next((one for one in opened if one <= day), None)
            lot = msgspec.structs.replace(lot, opened_on=since)
        due = due_by_facts(lot, walk.facts, plans, _live(stand))
        now = {(one.place, one.check): one for one in due}
        for key, (check, since) in list(running.items()):
            if now.get(key) != check:
                spells.append(Spell(check, since, day))
                del running[key]
        for key, check in now.items():
            running.setdefault(key, (check, day))
    return spells + [Spell(check, since, LAST_DAY) for check, since in running.values()]


def _live(stand: Mapping[tuple[str, str], int]) -> dict[str, dict[str, int]]:
    live: dict[str, dict[str, int]] = defaultdict(dict)
    for (place, stage), count in stand.items():
        if count > 0:
            live[place][stage] = count
    return live
