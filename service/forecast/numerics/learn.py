"""What the lots of a group teach: the heat to push and to be ready, take, survival.

Counts say between which days; the clocks of `groups` turn days into degree-days (Cd).
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from service.forecast.numerics import regression, times
from service.forecast.numerics.groups import REST_ENDS, REST_ENDS_BELIEVED, Group
from service.forecast.numerics.priors import SURVIVAL, push_prior, ready_prior, take_prior
from service.forecast.numerics.times import Fit, LotTimes, Times
from service.forecast.shapes import DEAD, LATER, Known

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

TIMED_BY = ("method", "site", "season")
"""What the heat that lots want may depend on."""
MIDDLE_KNOWN = 0.05
"""Of the way from push to ready: known so well, a lot's middle push is where that way begins."""
FORCED_LEAD = 4.0
"""By so much (log evidence) the clock from forcing must tell better to be gone by."""
FORCED_LOTS = 10
UNLIKE_SDS, UNLIKE_LEAST = 5.0, 0.2
"""A lot's middle (log) that lies so many sds, and so far, from what the others say is set aside."""
UNLIKE_FROM_LOTS, UNLIKE_AMONG = 20, 3


@dataclass(frozen=True)
class Learned:
    """What was learned of a group, and what the own counts of each of its lots say.

    push, ready: `begins` is the day after which each lot's clock of the push counts, `rest_ends`
    the month until which buds set in summer rest, `forced`: lots whose clock begins at forcing,
    by `from_forcing`. middle: each lot's middle push, log Cd after `begins`, with sd `unsure`;
    known where `timed`. take, survival: shares of lots.
    """

    group: Group
    begins: Ints
    rest_ends: int
    push: Fit
    from_forcing: Fit | None
    forced: Flags
    push_own: LotTimes
    middle: Floats
    unsure: Floats
    timed: Flags
    ready: Fit
    ready_own: LotTimes
    take: regression.Fit
    survival: regression.Fit
    unlike: list[int]

    def push_fit(self, forced: bool) -> Fit:
        """The fit of a lot's clock of the push."""
        return self.from_forcing if forced and self.from_forcing is not None else self.push


@dataclass(frozen=True)
class Rows:
    """Rows of one kind of observation that belong to a group: `lot` is the group's."""

    lot: Ints
    after: Ints
    by: Ints
    trees: Floats
    outcome: NDArray[np.object_]


@dataclass(frozen=True)
class _Pushes:
    """What is learned of the push: as in `Learned`."""

    begins: Ints
    rest_ends: int
    fit: Fit
    from_forcing: Fit | None
    forced: Flags
    own: LotTimes
    middle: Floats
    unsure: Floats
    unlike: Flags


def learned(known: Known, group: Group) -> Learned:
    """Learn all of a group."""
    rows = rows_of(known, group, "pushes")
    push = _pushes(group, rows)
    prior = ready_prior(group.requirement)
    well = push.unsure * np.exp(push.middle) < MIDDLE_KNOWN * prior.middle
    timed = well & np.isfinite(push.own.variance) & (push.begins > 0) & ~_came_pushed(group, rows)
    growths = rows_of(known, group, "growths")
    grown = _ready_times(group, growths, push.begins, push.middle, timed)
    ready, ready_own, unlike = _fitted(group, grown, prior)
    return Learned(
        group=group,
        begins=push.begins,
        rest_ends=push.rest_ends,
        push=push.fit,
        from_forcing=push.from_forcing,
        forced=push.forced,
        push_own=push.own,
        middle=push.middle,
        unsure=push.unsure,
        timed=timed,
        ready=ready,
        ready_own=ready_own,
        take=_take(known, group),
        survival=_survival(known, group, growths, push.begins, push.middle, timed, ready),
        unlike=[int(lot) for lot in group.lots[unlike | push.unlike]],
    )


def _came_pushed(group: Group, rows: Rows) -> Flags:
    """Lots whose trees had pushed before the books knew them: their day of grafting is told from
    memory, and the slow and the dead of them never came into the books."""
    before = (rows.outcome == "pushed") & (rows.after == 0)
    return np.bincount(rows.lot[before], minlength=len(group.lots)) > 0


def _pushes(group: Group, rows: Rows) -> _Pushes:
    rest_ends = _rest_ends(group, rows)
    begins = group.begins(rest_ends)
    fit, own, unlike = _fitted(
        group, push_times(group, rows, begins), push_prior(group.requirement)
    )
    middle, unsure = _middles(group, fit, own)
    from_forcing, forced = _from_forcing(group, rows, begins)
    if from_forcing is not None:
        begins = np.where(forced, group.forced_on, begins)
        later = times.lots(from_forcing, push_times(group, rows, begins))
        middles = _middles(group, from_forcing, later)
        middle, unsure = (
            np.where(forced, new, old) for new, old in zip(middles, (middle, unsure), strict=True)
        )
        own = LotTimes(
            y=np.where(forced, later.y, own.y),
            variance=np.where(forced, later.variance, own.variance),
        )
    return _Pushes(begins, rest_ends, fit, from_forcing, forced, own, middle, unsure, unlike)


def _fitted(group: Group, rows: Times, prior: times.Prior) -> tuple[Fit, LotTimes, Flags]:
    """A fit, what each lot says by itself, and the lots that were set aside as unlike the rest.

    One lot grafted a year before the day that is written would make all lots look uncertain.
    """
    fit = times.fit(rows, prior)
    own = times.lots(fit, rows)
    unlike = _unlike(group, fit, own)
    if unlike.any():
        keep = ~unlike[rows.lot]
        columns = {name: getattr(rows, name)[keep] for name in ("lot", "low", "high", "trees")}
        fit = times.fit(replace(rows, **columns), prior)
        own = times.lots(fit, rows)
    return fit, own, unlike


def _shared_by_some(level: Ints, told: Flags) -> Ints:
    """Levels; not known where a lot has nearly none beside it, whom it could be unlike."""
    counts = np.bincount(level[told & (level >= 0)], minlength=int(level.max(initial=0)) + 1)
    return np.where((level >= 0) & (counts[level] >= UNLIKE_AMONG), level, -1)


def _unlike(group: Group, fit: Fit, own: LotTimes) -> Flags:
    told = np.isfinite(own.variance)
    if np.count_nonzero(told) < UNLIKE_FROM_LOTS:
        return np.zeros(len(told), bool)
    factors = {name: _shared_by_some(group.factors[name], told) for name in TIMED_BY}
    mean, _ = fit.expected(factors, len(group.lots))
    off = np.where(told, np.abs(own.y - mean), 0.0)
    # The middle of what they are off by is not moved by the odd ones, as an sd would be.
    usual = float(np.median(off[told])) * 1.4826
    far = UNLIKE_SDS * np.sqrt(usual**2 + np.where(told, own.variance, 0.0))
    return np.asarray(off > np.maximum(far, UNLIKE_LEAST))


def rows_of(known: Known, group: Group, kind: str) -> Rows:
    """Rows about lots of the group, told of the site where they were grafted."""
    table = getattr(known, kind)
    lot = group.at[np.asarray(table.lot, np.int64)] if table.lot else np.zeros(0, np.int64)
    inside = np.flatnonzero(lot >= 0)
    home = np.asarray(group.sites, dtype=object)
    site = np.asarray(table.site, dtype=object)
    inside = inside[site[inside] == home[lot[inside]]]
    return Rows(
        lot=lot[inside],
        after=np.asarray(table.after, np.int64)[inside],
        by=np.asarray(table.by, np.int64)[inside],
        trees=np.asarray(table.trees, np.float64)[inside],
        outcome=np.asarray(table.outcome, dtype=object)[inside],
    )


def _times(group: Group, lot: Ints, low: Floats, high: Floats, trees: Floats) -> Times:
    """Rows that say something: those of known days, not "some time after nothing"."""
    low = np.maximum(np.nan_to_num(low, nan=0.0, posinf=np.inf), 0.0)
    says = ~np.isnan(high) & ((low > 0) | np.isfinite(high))
    return Times(
        lot=lot[says],
        low=low[says],
        high=np.maximum(high, low)[says],
        trees=trees[says],
        factors={name: group.factors[name] for name in TIMED_BY},
        lots=len(group.lots),
    )


def push_times(group: Group, rows: Rows, begins: Ints) -> Times:
    """Pushes between looks; all else is known only not to have pushed when last seen."""
    start = begins[rows.lot]
    low = np.where(rows.after > 0, group.between(rows.lot, start, rows.after), 0.0)
    pushed = rows.outcome == "pushed"
    high = np.where(pushed, group.between(rows.lot, start, rows.by), np.inf)
    # A bud may push on a day on which its clock had hardly begun.
    high = np.where(pushed, np.maximum(high, 1.0), high)
    told = (start > 0) & ~_too_early(rows, begins)
    return _times(group, rows.lot[told], low[told], high[told], rows.trees[told])


def _too_early(rows: Rows, begins: Ints) -> Flags:
    """Pushes that were seen before the lot's clock began: it can't tell them."""
    return np.asarray((rows.outcome == "pushed") & (rows.by <= begins[rows.lot]))


def _evidence(group: Group, rows: Rows, clocks: list[Ints], prior: times.Prior) -> list[float]:
    """How well each clock tells the same pushes; one it can't tell counts as a slip of the
    records, of which one tree in a thousand is believed."""
    told = times.evidences([(push_times(group, rows, begins), prior) for begins in clocks])
    slip = np.log(prior.mistakes)
    early = [float(rows.trees[_too_early(rows, begins)].sum()) for begins in clocks]
    return [of + slip * trees for of, trees in zip(told, early, strict=True)]


def _rest_ends(group: Group, rows: Rows) -> int:
    """When buds set in summer wake, by which day tells their pushes best."""
    if not group.resting.any():
        return 0
    if not (group.resting[rows.lot] & (rows.outcome == "pushed")).any():
        return REST_ENDS_BELIEVED
    prior = push_prior(group.requirement)
    told = _evidence(group, rows, [group.begins(month) for month in REST_ENDS], prior)
    return REST_ENDS[int(np.argmax(told))]


def _from_forcing(group: Group, rows: Rows, begins: Ints) -> tuple[Fit | None, Flags]:
    """The fit by the clock from forcing, where that tells the pushes of forced lots better."""
    forced = (group.forced_on > 0) & (group.forced_on >= begins) & (begins > 0)
    mine = forced[rows.lot]
    pushed = rows.lot[mine & (rows.outcome == "pushed")]
    nobody = np.zeros(len(group.lots), bool)
    if len(np.unique(pushed)) < FORCED_LOTS:
        return None, nobody
    some = Rows(**{name: getattr(rows, name)[mine] for name in Rows.__dataclass_fields__})
    prior = push_prior(group.requirement)
    by_graft, by_forcing = _evidence(group, some, [begins, group.forced_on], prior)
    if by_forcing <= by_graft + FORCED_LEAD:
        return None, nobody
    return times.fit(push_times(group, some, group.forced_on), prior), forced


def _middles(group: Group, fit: Fit, own: LotTimes) -> tuple[Floats, Floats]:
    """Mean and sd of each lot's log-middle, by its own counts and those of lots like it."""
    factors = {name: group.factors[name] for name in TIMED_BY}
    mean, variance = fit.expected(factors, len(group.lots))
    between = variance + fit.tau**2
    weight = between / (between + own.variance)
    return mean + weight * (own.y - mean), np.sqrt(between * (1 - weight))


def _ready_times(group: Group, rows: Rows, begins: Ints, middle: Floats, timed: Flags) -> Times:
    """From a lot's middle push to its trees' being ready, as gradings tell.

    What was culled is known never to be fit for sale; taken for "not yet" it would look like slow
    trees, and all would be promised.
    """
    about = timed[rows.lot] & ~np.isin(rows.outcome, LATER)
    lot, outcome = rows.lot[about], rows.outcome[about]
    after, by, trees = rows.after[about], rows.by[about], rows.trees[about]
    start, push = begins[lot], np.exp(middle[lot])
    low = np.where(after > 0, group.between(lot, start, after) - push, 0.0)
    ready = outcome == "ready"
    high = np.where(ready, np.maximum(group.between(lot, start, by) - push, 1.0), np.inf)
    return _times(group, lot, np.where(outcome == "culled", np.inf, low), high, trees)


def _shared(factors: tuple[str, ...], group: Group, lots: Ints) -> dict[str, Ints]:
    return {name: group.factors[name][lots] for name in factors}


def _take(known: Known, group: Group) -> regression.Fit:
    """Alive of those read, by method, site and the one who grafted."""
    takes = known.takes
    lot = group.at[np.asarray(takes.lot, np.int64)] if takes.lot else np.zeros(0, np.int64)
    alive, failed = np.asarray(takes.alive, float), np.asarray(takes.failed, float)
    some = (lot >= 0) & (alive + failed > 0)
    return regression.regress(
        alive[some],
        (alive + failed)[some],
        _shared(("method", "site", "grafter"), group, lot[some]),
        take_prior(group.crop),
    )


def _survival(
    known: Known,
    group: Group,
    rows: Rows,
    begins: Ints,
    middle: Floats,
    timed: Flags,
    ready: Fit,
) -> regression.Fit:
    """From push to ready: trees alive of those that went the way; half the way counts half."""
    share = _way_gone(known, group, rows, begins, middle, timed, ready)
    dead = np.isin(rows.outcome, DEAD)
    whole = dead | np.isin(rows.outcome, ("ready", "culled"))
    on_the_way = np.isin(rows.outcome, ("growing", "gone"))
    gone = rows.trees * np.where(whole, 1.0, np.where(on_the_way, share, 0.0))
    count = len(group.lots)
    trials = np.bincount(rows.lot, gone, count)
    deaths = np.bincount(rows.lot, rows.trees * dead, count)
    some = np.flatnonzero(trials >= 1)
    return regression.regress(
        np.round(trials - deaths)[some],
        np.round(trials)[some],
        _shared(("method", "site"), group, some),
        SURVIVAL,
    )


def _way_gone(
    known: Known,
    group: Group,
    rows: Rows,
    begins: Ints,
    middle: Floats,
    timed: Flags,
    ready: Fit,
) -> Floats:
    """Share of the way from push to ready that trees had behind them when they left, or have."""
    today = {site.site: site.today for site in known.sites}
    last = np.array([today[site] - 1 for site in group.sites], np.int64)
    until = np.where(rows.by > 0, np.minimum(rows.by, last[rows.lot]), last[rows.lot])
    heat = group.between(rows.lot, begins[rows.lot], until) - np.exp(middle[rows.lot])
    share = np.clip(heat / np.exp(ready.middle()[0]), 0.0, 1.0)
    return np.where(timed[rows.lot], np.nan_to_num(share), 0.0)
