"""The years ahead, drawn many times over: when lots are ready, and how many of what there will be.

`stands.py` says what is given and what is answered, `fates.py` draws what becomes of growing trees,
`stock_ahead.py` counts them by item and site, `lookup.py` knows the days.

Kins of trees (cultivar and rootstock) are drawn one by one, each from a seed of its own: news of
one leaves the others as they were, and threads change nothing. Weather and what is believed are the
same draws for all.
"""

import zlib
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
from numpy.typing import NDArray

from service.forecast.numerics.families import LOGNORMAL, WEIBULL, standard
from service.forecast.numerics.fates import MIDDLE, POINTS, Fates, fates
from service.forecast.numerics.lookup import NEVER, Lookup
from service.forecast.numerics.stands import BEYOND, NONE, Grafts, Middles, Task, Told, ToldGroups
from service.forecast.numerics.stock_ahead import Arrivals, Set, gathered
from service.forecast.shapes import LEVELS

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

STANDS_AT_ONCE = 128
"""So many stands are drawn together, more where one lot has more: bounds the memory."""
NEARLY = 0.9
_TOLD = (0.2, 0.5, 0.8)


def simulate(task: Task, threads: int = 2) -> Told:
    """Draw the years ahead. The same task gives the same answer, whatever the threads."""
    lookups: list[Lookup | None] = [Lookup(path) for path in task.paths]
    groups = _nothing_told(int(task.stands.told.max(initial=NONE)) + 1)
    kin_of = task.lots.kin[task.stands.lot] if len(task.stands.lot) else np.zeros(0, np.int64)
    order = np.lexsort((task.stands.told, task.stands.lot, kin_of))
    kins = np.union1d(kin_of, task.stock.ready_kin).astype(int)
    starts, ends = (np.searchsorted(kin_of[order], kins, side) for side in ("left", "right"))
    jobs = [
        (int(kin), order[start:end]) for kin, start, end in zip(kins, starts, ends, strict=True)
    ]
    with ThreadPoolExecutor(max(threads, 1)) as pool:
        sets = list(pool.map(lambda job: _kin(task, job[0], job[1], lookups, groups), jobs))
    half, nearly = _lead_times(task, lookups)
    stock = gathered([each for of_kin in sets for each in of_kin])
    return Told(groups=groups, stock=stock, half=half, nearly=nearly)


def _kin(
    task: Task, kin: int, stands: Ints, lookups: list[Lookup | None], groups: ToldGroups
) -> list[Set]:
    """Draw one kin; its groups are written into `groups`, its sets of stock come back."""
    rng = np.random.Generator(
        np.random.SFC64([task.seed, zlib.crc32(task.stock.kin[kin].encode())])
    )
    arrivals = Arrivals(task, kin, stands)
    for some in _whole_lots(task.stands.lot[stands], stands):
        drawn = fates(task, some, lookups, rng)
        _tell(task, some, drawn, groups)
        arrivals.add(some, drawn, rng)
    return arrivals.told(rng)


def _whole_lots(lot: Ints, stands: Ints) -> list[Ints]:
    """Stands in portions that do not part a lot."""
    if not len(stands):
        return []
    begins = np.flatnonzero(np.diff(lot, prepend=NONE - 1))
    portion = begins // STANDS_AT_ONCE
    cuts = begins[np.flatnonzero(np.diff(portion, prepend=portion[:1]))]
    return np.split(stands, cuts)


def _nothing_told(count: int) -> ToldGroups:
    return ToldGroups(
        day=np.full((count, 3), BEYOND, np.int64),
        ready=np.zeros(count),
        ready_low=np.zeros(count, np.int64),
        ready_high=np.zeros(count, np.int64),
        needed=np.full((count, 3), np.nan),
    )


def _tell(task: Task, stands: Ints, drawn: Fates, groups: ToldGroups) -> None:
    """Write what is told of the groups of `stands`, which stand in order of group within a lot."""
    told = task.stands.told[stands]
    asked = np.flatnonzero(told != NONE)
    asked = asked[np.argsort(told[asked], kind="stable")]
    group, first, counts = np.unique(told[asked], return_index=True, return_counts=True)
    if not len(group):
        return
    ready = np.sort(np.add.reduceat(drawn.ready[asked], first, axis=0), axis=1)
    groups.ready[group] = ready.mean(axis=1)
    groups.ready_low[group], groups.ready_high[group] = _at(ready, 0.2), _at(ready, 0.8)
    for count in np.unique(counts):
        rows = np.flatnonzero(counts == count)
        members = asked[first[rows][:, None] + np.arange(count)]
        days = np.sort(_middle_days(drawn, members), axis=1)
        trees = task.stands.trees[stands][members]
        most = members[np.arange(len(rows)), trees.argmax(axis=1)]
        needed = np.sort(drawn.needed[most], axis=1)
        known = task.stands.path[stands][most] != NONE
        for column, share in enumerate(_TOLD):
            day = _at(days, share)
            groups.day[group[rows], column] = np.where(day == NEVER, BEYOND, day)
            groups.needed[group[rows], column] = np.where(known, _at(needed, share), np.nan)


def _middle_days(drawn: Fates, members: Ints) -> Ints:
    """[groups, draws]: when half of those of all members [groups, k] that will be ready are."""
    groups, count = members.shape
    if count == 1:
        return drawn.day[members[:, 0], :, MIDDLE]
    shape = (groups, -1, count * POINTS)
    day = drawn.day[members].transpose(0, 2, 1, 3).reshape(shape)
    # Where no tree will be ready, the points themselves say when it would have been.
    weight = drawn.trees[members].transpose(0, 2, 1, 3).reshape(shape) + 1e-6
    order = np.argsort(day, axis=2, kind="stable")
    running = np.cumsum(np.take_along_axis(weight, order, 2), axis=2)
    half = (running < running[:, :, -1:] / 2 - 1e-4).sum(axis=2)
    at = np.take_along_axis(order, half[:, :, None], 2)
    middle: Ints = np.take_along_axis(day, at, 2)[:, :, 0]
    return middle


def _at(ordered: NDArray[Any], share: float) -> NDArray[Any]:
    """Of draws in order [n, draws]: what so large a share of them does not pass."""
    return ordered[:, max(int(np.ceil(share * ordered.shape[1] - 1e-9)) - 1, 0)]


def _lead_times(task: Task, lookups: list[Lookup | None]) -> tuple[Ints, Ints]:
    """Days from grafting to half and to nearly all of a new lot ready, by how sure."""
    grafts, draws = task.grafts, task.draws
    told = [np.full((len(grafts.path), len(LEVELS)), -1, np.int64) for _ in range(2)]
    # The same two numbers for every graft: what differs from week to week is the season.
    chance = np.random.default_rng([task.seed, 1]).standard_normal((2, draws))
    push = np.exp(_new_lots(task.push, grafts.to_push, chance[0], 0.5))
    for days, share in zip(told, (0.5, NEARLY), strict=True):
        need = push + np.exp(_new_lots(task.ready, grafts.to_ready, chance[1], share))
        for path in np.unique(grafts.path[grafts.path != NONE]):
            lookup = lookups[path]
            rows = np.flatnonzero(grafts.path == path)
            if lookup is not None:
                days[rows] = _after_grafting(lookup, grafts, rows, need[rows])
    return told[0], told[1]


def _after_grafting(lookup: Lookup, grafts: Grafts, rows: Ints, need: Floats) -> Ints:
    start = lookup.reached(grafts.begins[rows] - lookup.today)
    day = np.sort(lookup.days(need + start), axis=1)
    sure = np.stack([_at(day, level) for level in LEVELS], axis=1)
    return np.where(sure == NEVER, -1, sure - grafts.on[rows][:, None])


def _new_lots(rows: Middles, row: Ints, chance: Floats, share: float) -> Floats:
    """[G, draws]: log of the Cd by which `share` of a new lot's trees have come."""
    by = {family: float(standard(family, np.asarray(share))) for family in (LOGNORMAL, WEIBULL)}
    w = np.asarray([by[name] for name in rows.family])[row][:, None]
    log_need: Floats = rows.log_middle[row] + rows.lot_sd[row] * chance + rows.spread[row] * w
    return log_need
