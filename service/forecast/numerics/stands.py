"""What a simulation is given and what it answers: what stands, what is believed, what will be.

Everything is drawn `draws` times, all at once: draw d has one weather at each site and one set of
what is believed of each crop, so that what makes one lot late makes its neighbours late. *Rows* of
beliefs are shared: lots with the same row share its draws.

    grafted --(clock of the graft: lot's middle push)--> --(clock of the push)--> ready --> dead

Degree-days are Cd, days are ordinals, shares run from 0 to 1. Columns of one struct have one
length; R, L, N, ... name it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Halves = NDArray[np.float32]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]
NONE = -1
"""No row: a chance that is certain, a group that is not asked for."""
BEYOND = 0
"""The day of what comes after the last day drawn, or never."""


@dataclass(frozen=True, kw_only=True)
class Path:
    """The degree-days of a site as a crop counts them: behind and ahead of the site's `today`.

    behind: float[B + 1], running totals from B days before today (0) to the end of yesterday.
    ahead: float32[draws, A + 1], running totals from the end of yesterday (0) on.
    """

    today: int
    behind: Floats
    ahead: Halves


@dataclass(frozen=True, kw_only=True)
class Middles:
    """R rows of what is believed of a lot's middle tree: the logarithm of its degree-days.

    log_middle, spread, lot_sd: float[R, draws]. `log_middle`: of lots with these factors;
    `lot_sd`: between such lots (tau); `spread`: sd of log T of the trees within a lot. family:
    R names, `times.LOGNORMAL` or `times.WEIBULL`.
    """

    log_middle: Floats
    spread: Floats
    lot_sd: Floats
    family: list[str]


@dataclass(frozen=True, kw_only=True)
class Rates:
    """R rows of what is believed of a share: its mean over lots, and the correlation of two trees
    of one lot (0: lots do not differ). float[R, draws] both."""

    mean: Floats
    correlation: Floats


@dataclass(frozen=True, kw_only=True)
class Shares:
    """R rows of what trees turn out as, K kinds at most.

    kind: int[R, K], indices of `Stock.sizes` or `Stock.grades`, NONE to fill a short row. share:
    float[R, K], rows summing to 1. correlation: float[R], of two trees of one lot.
    """

    kind: Ints
    share: Floats
    correlation: Floats


@dataclass(frozen=True, kw_only=True)
class Own:
    """What the own observations of L lots say of their log-middles: rows of `Middles`, and
    `times.LotTimes`: y[L] with variance[L], infinite where they say nothing."""

    row: Ints
    y: Floats
    variance: Floats


@dataclass(frozen=True, kw_only=True)
class Chances:
    """A chance that trees of L lots have still to take: rows of `Rates` (NONE: certain), and how
    many trees of the lot were seen to have had it, good and bad: float[L]."""

    row: Ints
    good: Floats
    bad: Floats


@dataclass(frozen=True, kw_only=True)
class Lots:
    """L lots with trees that still grow.

    kin: int[L], of `Stock.kin`. take: of grafts whose take is not read. push: of live grafts, to
    push at all (1 - never). survival: from push to ready, of those that are not unfit. fit: of the
    pushed, ever to be fit for sale. push_floor: Cd since the graft's clock began at which fewer
    than half of the lot's trees had pushed: the middle push came later (0: nothing is known).
    """

    kin: Ints
    to_push: Own
    to_ready: Own
    take: Chances
    push: Chances
    survival: Chances
    fit: Chances
    push_floor: Floats


@dataclass(frozen=True, kw_only=True)
class Stands:
    """N stands of growing trees: those of one lot, site, stage and size that go one way.

    lot, path, site: int[N]; `path` NONE: the weather ahead is not known, nothing can be told.
    told: int[N], the group (lot at a site) they are told with, NONE for none. trees: int[N], of
    which `unread` grafts have their take unread. waiting: not pushed yet.
    from_push: the lot's middle push is known: the clock of the push runs. `counted` (Cd) is what
    that clock, or else the graft's, shows at the end of yesterday. `wait`: days from the site's
    today on which the clock begins (buds asleep); 0: it runs.
    push_seen: Cd of the graft's clock when they were last seen waiting. ready_seen: Cd of the
    push's clock when they were last seen not ready. beyond: share of the lot's trees known to come
    before these (of a lot half pushed, the waiting are the later half: 0.5); 0 where not known.
    unseen: years, at `Task.first`, since the trees were last counted.
    free: neither held nor grown for a customer: they count in the supply.
    sizes, grades: rows of `Stock.size_shares` and `grade_shares`.
    """

    lot: Ints
    path: Ints
    site: Ints
    told: Ints
    trees: Ints
    unread: Ints
    waiting: Flags
    from_push: Flags
    counted: Floats
    wait: Ints
    push_seen: Floats
    ready_seen: Floats
    beyond: Floats
    unseen: Floats
    free: Flags
    sizes: Ints
    grades: Ints


@dataclass(frozen=True, kw_only=True)
class Stock:
    """What the supply is told of. Ready trees that are free now: M entries.

    kin: names of cultivar and rootstock together; they seed the draws of their lots, so that news
    of one kin leaves the others as they were. sizes, grades, sites: names. size and grade of ready
    trees index them, grade NONE where not graded. kin_losses: float[kins, draws], deaths a year of
    ready trees (hazard), kin_unnoticed: those of them that nobody notices, which stay in the books.
    ready_unseen: tree-years, at `Task.first`, in which nobody counted them, nor those of their lot
    sold meanwhile, for each that stands. size_shares, grade_shares: what growing trees will be sold
    as.
    """

    kin: list[str]
    sizes: list[str]
    grades: list[str]
    sites: list[str]
    kin_losses: Floats
    kin_unnoticed: Floats
    size_shares: Shares
    grade_shares: Shares
    ready_kin: Ints
    ready_site: Ints
    ready_size: Ints
    ready_grade: Ints
    ready_trees: Ints
    ready_unseen: Floats


@dataclass(frozen=True, kw_only=True)
class Grafts:
    """G graftings to come: on day `on` of trees that the rows describe, the graft's clock beginning
    with day `begins` (later than `on`). path: int[G], NONE where the weather is not known."""

    path: Ints
    to_push: Ints
    to_ready: Ints
    on: Ints
    begins: Ints


@dataclass(frozen=True, kw_only=True)
class Task:
    """All that a simulation is made from. first: the first day that the supply is told for.

    push, ready: rows of `Lots.to_push`, `to_ready` and of `Grafts`.
    """

    first: int
    draws: int
    seed: int
    paths: list[Path]
    push: Middles
    ready: Middles
    rates: Rates
    lots: Lots
    stands: Stands
    stock: Stock
    grafts: Grafts


@dataclass(frozen=True, kw_only=True)
class ToldGroups:
    """By `Stands.told`: T groups.

    day: int[T, 3], P20, P50, P80 of the day by which half of those that will be ready are; BEYOND
    where that share of the draws never gets there. ready: float[T], mean number of those that will
    be ready; ready_low, ready_high: int[T], P20 and P80 of it. needed: float[T, 3], P20, P50, P80
    of what the middle tree needs, Cd since its clock began (NaN: no weather).
    """

    day: Ints
    ready: Floats
    ready_low: Ints
    ready_high: Ints
    needed: Floats


@dataclass(frozen=True, kw_only=True)
class ToldStock:
    """S sets of stock: int[S] indices of `Stock`; size of each set, grade NONE: any, site NONE: all
    together. quantities: int[S, STEPS, len(LEVELS)], mean: float[S, STEPS], trees: int[S], that
    stand now and may become of the set."""

    kin: Ints
    size: Ints
    grade: Ints
    site: Ints
    quantities: Ints
    mean: Floats
    trees: Ints


@dataclass(frozen=True, kw_only=True)
class Told:
    """What a simulation answers. half, nearly: int[G, len(LEVELS)], of `Grafts`: with so much
    probability half of the trees that will be ready (nine in ten) are ready in at most so many days
    after grafting; -1: beyond the last day drawn."""

    groups: ToldGroups
    stock: ToldStock
    half: Ints
    nearly: Ints
