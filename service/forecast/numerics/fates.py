"""What becomes of growing trees: how many of a stand will be ready, and on which days.

Arrays run [lots or stands, draws]; times have a last axis of `POINTS` trees in order of readiness,
which stand for all of the stand.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.forecast.numerics.betabinomial import shape
from service.forecast.numerics.families import LOGNORMAL, WEIBULL, cdf, standard
from service.forecast.numerics.lookup import NEVER, Lookup
from service.forecast.numerics.stands import NONE, Chances, Middles, Own, Rates, Task

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

POINTS = 7
"""Trees that stand for a stand: an odd number, so that one is the middle one."""
MIDDLE = POINTS // 2
LEAST_TAIL = 1e-9


@dataclass(frozen=True)
class Fates:
    """Of some stands: `ready` int[S, draws], how many will be; `day` int[S, draws, POINTS], when;
    `trees` int[S, draws, POINTS], how many of the ready each point stands for; `needed`
    float[S, draws], what the middle tree needs, Cd since the stand's clock began."""

    ready: Ints
    day: Ints
    trees: Ints
    needed: Floats


def fates(
    task: Task, stands: Ints, lookups: list[Lookup | None], rng: np.random.Generator
) -> Fates:
    """Draw the fates of `stands` int[S], all stands of their lots, in order of lot."""
    told = task.stands
    lots, first, of = np.unique(told.lot[stands], return_index=True, return_inverse=True)
    trees, draws = told.trees[stands].astype(float), task.draws
    push = _middles(task.push, task.lots.to_push, lots, rng, draws)
    ready = _middles(task.ready, task.lots.to_ready, lots, rng, draws)
    waiting = told.waiting[stands]
    unpushed = np.ones((len(stands), draws))
    unpushed[waiting] = _later(push, of[waiting], told.push_seen[stands][waiting])
    unready = _later(ready, of, told.ready_seen[stands])

    def rate(chances: Chances, waits: Floats, left: Floats) -> Floats:
        """What of each stand will come, of what has not come yet."""
        weight = np.add.reduceat(waits, first)
        mean = np.add.reduceat(waits[:, None] * left, first) / np.maximum(weight, 1e-9)[:, None]
        share = _shares(chances, task.rates, lots, weight, mean, rng, draws)[of]
        return share * left / (1 - share + share * left)

    nothing = np.ones((len(stands), draws))
    unread = told.unread[stands]
    pushes = nothing
    if waiting.any():
        pushes = rate(task.lots.push, np.where(waiting, trees, 0.0), unpushed)
        pushes = np.where(waiting[:, None], pushes, 1.0)
    survival = rate(task.lots.survival, np.zeros(len(stands)), nothing)
    grown = np.where(told.from_push[stands], told.counted[stands], 0.0)[:, None]
    way_left = np.clip(1 - grown / np.exp(ready.log_middle[of]), 0.0, 1.0)
    chance = pushes * survival**way_left * rate(task.lots.fit, trees, unready)
    chance = np.clip(chance, 0.0, 1.0)
    read = told.trees[stands] - unread
    count = rng.binomial(read[:, None], chance)
    if unread.any():
        take = rate(task.lots.take, unread.astype(float), nothing)
        count += rng.binomial(unread[:, None], chance * take)
    tail = np.minimum(unready, 1 - told.beyond[stands][:, None])
    late = _points(np.maximum(trees * chance.mean(axis=1), 1.0), draws, rng)
    need = _needs(ready, of, np.maximum(tail[:, :, None] * (1 - late), LEAST_TAIL))
    need = np.maximum(need, told.ready_seen[stands][:, None, None])
    middle = np.maximum(np.exp(push.log_middle), task.lots.push_floor[lots][:, None])[of]
    need += np.where(told.from_push[stands][:, None], 0.0, middle)[:, :, None]
    return Fates(count, _days(task, stands, need, lookups), _spread(count), need[:, :, MIDDLE])


@dataclass(frozen=True)
class _Middles:
    """Of L lots: log-middles and spreads [L, draws], and whether their family is Weibull's [L]."""

    log_middle: Floats
    spread: Floats
    weibull: NDArray[np.bool_]


def _middles(rows: Middles, own: Own, lots: Ints, rng: np.random.Generator, draws: int) -> _Middles:
    """Each lot's log-middle from its row's draws and what it says itself."""
    row, y, variance = own.row[lots], own.y[lots][:, None], own.variance[lots][:, None]
    chance = rng.standard_normal((len(lots), draws))
    between = rows.lot_sd[row]
    silent = np.isinf(variance)
    told = np.where(silent, 1.0, variance)
    weight = np.where(silent, 0.0, between**2 / np.maximum(between**2 + told, 1e-300))
    width = np.where(silent, between, np.sqrt(weight * told))
    middle = weight * np.where(silent, 0.0, y) + (1 - weight) * rows.log_middle[row]
    weibull = np.asarray([name == WEIBULL for name in rows.family])[row]
    return _Middles(middle + width * chance, rows.spread[row], weibull)


def _later(middles: _Middles, of: Ints, seen: Floats) -> Floats:
    """[S, draws]: share of the trees to come whose time is later than `seen` [S] (Cd)."""
    left = np.ones((len(of), middles.log_middle.shape[1]))
    for family, rows in _by_family(middles.weibull[of] & (seen > 0), seen > 0):
        lots = of[rows]
        left[rows] -= cdf(
            family, seen[rows][:, None], middles.log_middle[lots], middles.spread[lots]
        )
    return np.maximum(left, LEAST_TAIL)


def _needs(middles: _Middles, of: Ints, tail: Floats) -> Floats:
    """[S, draws, POINTS]: Cd from the push after which a share `tail` of a lot is still to come."""
    need = np.empty_like(tail)
    for family, rows in _by_family(middles.weibull[of], np.ones(len(of), bool)):
        lots = of[rows]
        need[rows] = np.exp(
            middles.log_middle[lots][:, :, None]
            + middles.spread[lots][:, :, None] * standard(family, 1 - tail[rows])
        )
    return need


def _by_family(weibull: NDArray[np.bool_], wanted: NDArray[np.bool_]) -> list[tuple[str, Ints]]:
    both = ((LOGNORMAL, np.flatnonzero(wanted & ~weibull)), (WEIBULL, np.flatnonzero(weibull)))
    return [(family, rows) for family, rows in both if len(rows)]


def _shares(
    chances: Chances,
    rates: Rates,
    lots: Ints,
    waits: Floats,
    left: Floats,
    rng: np.random.Generator,
    draws: int,
) -> Floats:
    """[L, draws]: each lot's own share, drawn after what was seen of the lot.

    Besides the good and the bad, `waits` [L] trees have not come yet, of which a share `left` of
    those to come would not have yet: many that wait late are bad ones. The likeliest share solves a
    quadratic equation; the waiting count for as much of an observation as they reveal.
    """
    row = chances.row[lots]
    share = np.ones((len(lots), draws))
    some = np.flatnonzero(row != NONE)
    if not len(some):
        return share
    row, good, bad = row[some], chances.good[lots][some], chances.bad[lots][some]
    a, b = shape(rates.mean[row], rates.correlation[row])
    waits, left = waits[some][:, None], left[some]
    a = a + good[:, None]
    total = a + b + bad[:, None] + waits
    hidden = 1 - left
    half = total + a * hidden - waits * left
    root = np.sqrt(np.maximum(half**2 - 4 * total * hidden * a, 0.0))
    mean = np.clip(2 * a / (half + root), 1e-9, 1 - 1e-9)
    size = total - waits * left
    first, second = (
        rng.standard_gamma((part * size).astype(np.float32), dtype=np.float32)
        for part in (mean, 1 - mean)
    )
    share[some] = first / np.maximum(first + second, np.float32(1e-30))
    return share


def _points(trees: Floats, draws: int, rng: np.random.Generator) -> Floats:
    """[S, draws, POINTS]: where, from 0 to 1, the points lie among all trees of their kind.

    The trees of a stand are a sample of it: points are ordered as in samples of `trees` [S].
    """
    shapes = np.repeat(trees[:, None] / POINTS, POINTS + 1, axis=1)
    shapes[:, [0, -1]] = (shapes[:, [0, -1]] + 1) / 2
    size = (len(trees), draws, POINTS + 1)
    gaps = rng.standard_gamma(shapes[:, None, :].astype(np.float32), size, dtype=np.float32)
    running = np.cumsum(gaps, axis=2, dtype=np.float64)
    return running[:, :, :-1] / running[:, :, -1:]


def _spread(count: Ints) -> Ints:
    """[S, draws, POINTS]: whole trees, as evenly over the points as they go."""
    ends = (count[:, :, None] * np.arange(POINTS + 1) * 2 + POINTS) // (2 * POINTS)
    return np.diff(ends, axis=2)


def _days(task: Task, stands: Ints, need: Floats, lookups: list[Lookup | None]) -> Ints:
    """The days on which so much has come together since each stand's clock began."""
    told = task.stands
    day = np.full(need.shape, NEVER, np.int64)
    paths = told.path[stands]
    for path in np.unique(paths[paths != NONE]):
        lookup = lookups[path]
        if lookup is None:
            continue
        rows = np.flatnonzero(paths == path)
        start = lookup.reached(told.wait[stands[rows]]) - told.counted[stands[rows]][:, None]
        day[rows] = lookup.days(need[rows] + start[:, :, None])
    return day
