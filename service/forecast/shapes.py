"""What the numerics are given and what they answer: plain columns, without I/O and without numpy.

`Known` is all that was known at one moment, of the live books or, in a backtest, of a past day;
`Foretold` is what the numerics make of it. Both cross a process boundary.

Days are ordinals (`date.toordinal()`), 0 where not known. Temperatures are degrees Celsius, NaN
where there is no record. Columns of one struct have one length; `lot` columns index `Lots`.
"""

import msgspec

from service.forecast.requirements import Thresholds

# The writer, who decides, goes by the same grid.
from service.trade.promising import ALL_SITES, LEVELS, STEP_DAYS, STEPS

__all__ = ("ALL_SITES", "LEVELS", "STEPS", "STEP_DAYS")

DEAD = ("dead", "missing")
LATER = ("ready_dead", "ready_gone", "ready_missing")
"""Outcomes of `Growths`: died before they were ready; of trees that are in a row `ready` too."""


class Lots(msgspec.Struct, kw_only=True):
    """Tree lots, those that are gone too: what they are. Texts are empty where not known.

    `site`: where it was grafted. `grafter`: who grafted all of it, empty where several did.
    `forced_on`: the first day on which its tops were forced. `grown_for`: it is a customer's.
    `counted_on`: the last day on which a stock count told how many of its ready trees there are.
    """

    code: list[str] = []
    crop: list[str] = []
    cultivar: list[str] = []
    rootstock: list[str] = []
    method: list[str] = []
    site: list[str] = []
    grafter: list[str] = []
    grafted_on: list[int] = []
    forced_on: list[int] = []
    attempt: list[int] = []
    grown_for: list[bool] = []
    counted_on: list[int] = []


class Pushes(msgspec.Struct, kw_only=True):
    """Push observations: rows of `trade/push.Observation`. `site`: where they waited."""

    lot: list[int] = []
    site: list[str] = []
    outcome: list[str] = []
    after: list[int] = []
    by: list[int] = []
    trees: list[int] = []


class Growths(msgspec.Struct, kw_only=True):
    """What became of pushed trees: rows of `trade/growth.Growth`.

    outcome `ready`: graded so on `by`, seen not ready at the end of `after` (0: nobody looked
    between the push and `by`). `growing`: not ready when last looked at, on `after`. `dead`,
    `culled`, `gone` (sold, moved to another lot ...): left on `by` before they were ready, last
    seen not ready on `after`; so did the `missing`, but nobody noticed until a count did not find
    them. `ready_dead`, `ready_gone`, `ready_missing` are the same of trees that are in a row
    `ready` too: left on `by` (`after` is the day on which they were graded). `started` is the size
    they pushed in, `size` and `grade` as they ended, or stand.
    """

    lot: list[int] = []
    site: list[str] = []
    outcome: list[str] = []
    after: list[int] = []
    by: list[int] = []
    started: list[str] = []
    size: list[str] = []
    grade: list[str] = []
    trees: list[int] = []


class Takes(msgspec.Struct, kw_only=True):
    """The take of each lot as far as read: `grafted` = alive + failed + not_read + gone."""

    lot: list[int] = []
    grafted: list[int] = []
    alive: list[int] = []
    failed: list[int] = []
    not_read: list[int] = []
    gone: list[int] = []


class Standing(msgspec.Struct, kw_only=True):
    """Trees that stand now, by lot, site, stage (`grafted`, `pushed`, `ready`), size and grade.

    `unread`: of the grafted, those whose take was not read yet. `held`: a hold forbids a
    sale, or they came back and stand apart.
    """

    lot: list[int] = []
    site: list[str] = []
    stage: list[str] = []
    size: list[str] = []
    grade: list[str] = []
    trees: list[int] = []
    unread: list[int] = []
    held: list[bool] = []


class SiteWeather(msgspec.Struct, kw_only=True):
    """A site's temperatures: the record from day `first` on, and what is given of days to come.

    `today` is the site's calendar day; the record ends before it. `hourly`: by crop, the
    degree-days of each day of the record by the sum of its hours, NaN where too few were read.
    `ahead_low`, `ahead_high`: a forecast from `today` on. `normal_low`, `normal_high`: twelve
    months' means of a stated climate normal, or empty.
    """

    site: str
    today: int
    south: bool = False
    version: int = 0
    first: int = 0
    low: list[float] = []
    high: list[float] = []
    hourly: dict[str, list[float]] = {}
    ahead_low: list[float] = []
    ahead_high: list[float] = []
    ahead_source: str = ""
    normal_low: list[float] = []
    normal_high: list[float] = []
    normal_source: str = ""


class Known(msgspec.Struct, kw_only=True):
    """All that a forecast is made from. `position`: of the log, that it reflects.

    `ways`: how the nursery counts the degree-days of a crop, where it says so itself.
    `draws`: how many years of weather are drawn. `seed` makes them come out again.
    """

    position: int
    sites: list[SiteWeather]
    lots: Lots
    pushes: Pushes
    growths: Growths
    takes: Takes
    standing: Standing
    ways: dict[str, Thresholds] = {}
    draws: int = 200
    seed: int = 1


class Learned(msgspec.Struct, kw_only=True, frozen=True):
    """One thing learned of a crop: what it is, how wide, and what it rests on.

    `what`: `push`, `push_from_forcing`, `ready` (degree-days, Cd, of the middle tree of a lot, from
    grafting, forcing and push), `take`, `never_pushes`, `survival` (from push to ready), `unfit`
    (shares from 0 to 1).
    `method`, `site`: empty for all. `low` to `high` holds the true middle with 80 % probability; a
    single lot lies within `lot_low` to `lot_high` with 80 %. `spread`: of the trees of one lot, the
    standard deviation of the logarithm (times), or the correlation within a lot (shares).
    `fallback`: in words, where it borrows and from whom; empty where its own observations carry it.
    """

    what: str
    crop: str
    method: str
    site: str
    middle: float
    low: float
    high: float
    lot_low: float
    lot_high: float
    spread: float
    family: str
    trees: int
    lots: int
    fallback: str
    counting: str


class LotTold(msgspec.Struct, kw_only=True, frozen=True):
    """Of the trees of a lot that still grow at a site: when half of those that will be ready are.

    `p20`, `p50`, `p80`: ordinals, 0 where they cannot be told or lie beyond the horizon; `why`
    then says so. They may lie before today: the trees are probably ready and wait to be graded.
    `ready`: how many of `trees` are expected to become ready; `ready_low` (P20), `ready_high`
    (P80). `needed` (and P20 to P80 of it) and `counted`: degree-days (Cd) since `since`, to the end
    of yesterday. `phase`: `grafted` or `pushed`. `based_on_trees`, `based_on_lots`: the
    observations behind the requirement; `fallback` and `remarks` in words.
    """

    lot: int
    site: str
    trees: int
    phase: str
    since: int
    p20: int
    p50: int
    p80: int
    ready: float
    ready_low: int
    ready_high: int
    needed: float
    needed_low: float
    needed_high: float
    counted: float
    gap_days: int
    counting: str
    lower_c: float
    upper_c: float
    years: int
    based_on_trees: int
    based_on_lots: int
    fallback: str
    why: str
    remarks: list[str]


class Supply(msgspec.Struct, kw_only=True, frozen=True):
    """How many of an item will be ready and free to sell at a site by each day told.

    `grade` empty: of any. `site` `ALL_SITES`: all together, drawn jointly. `quantities[step][n]`:
    by `first + step * STEP_DAYS`, with probability `LEVELS[n]` at least so many. `mean[step]`.
    Sales and reservations are not taken off; held trees and trees grown for a customer are not in.
    """

    cultivar: str
    rootstock: str
    size: str
    grade: str
    site: str
    first: int
    quantities: list[list[int]]
    mean: list[float]
    trees: int


class LeadTime(msgspec.Struct, kw_only=True, frozen=True):
    """From grafting to ready, for grafts of a crop by a method at a site on day `grafted_on`.

    `days[n]`: with probability `LEVELS[n]` half of the lot's trees are ready in at most so many
    days (-1: beyond the horizon); `nearly[n]` likewise nine in ten of those that will be ready
    (empty: not told). `take`, `push`, `survival`, `fit`: mean shares; `mean` and
    `correlation`: of their product, the share saleable of grafted, beta-binomial between lots.
    """

    site: str
    crop: str
    method: str
    grafted_on: int
    days: list[int]
    take: float
    push: float
    survival: float
    fit: float
    mean: float
    correlation: float
    lots: int
    fallback: str
    nearly: list[int] = []


class Rate(msgspec.Struct, kw_only=True, frozen=True):
    """Take, or survival from push to ready, of one level of a factor (`method`, `grafter` ...).

    `site` `ALL_SITES`: of the whole nursery. `crop` empty where the factor goes across crops.
    `hits` of `n` trees in `lots`; `low` to `high`: Wilson's 95 % interval of that share.
    `adjusted` (80 %: `adjusted_low` to `adjusted_high`): as if all lots that are compared had been
    this level's with all else as it was, drawn toward the others where `n` is small. `rank`: 1 the
    best of the levels with grafts enough to be ranked; 0: not ranked.
    """

    measure: str
    site: str
    factor: str
    level: str
    crop: str
    hits: int
    n: int
    lots: int
    low: float
    high: float
    adjusted: float
    adjusted_low: float
    adjusted_high: float
    rank: int


class Curve(msgspec.Struct, kw_only=True, frozen=True):
    """How the share of grafts that have pushed rises with the heat, as counted and as fitted.

    `since`: `grafting` or `forcing`. By `degree_days[n]` (Cd) a `share[n]` had pushed: the
    non-parametric estimate of Turnbull, which steps where the counts let it; between two points it
    is not known where. `fitted[n]` is the fit's. Of `trees` in `lots` so many are known to have
    `pushed`; `failed` and `lost` died first: they count as not pushed while they were seen, and
    are in `trees` where somebody saw them waiting.
    """

    crop: str
    method: str
    since: str
    counting: str
    degree_days: list[float]
    share: list[float]
    fitted: list[float]
    trees: int
    lots: int
    pushed: int
    failed: int
    lost: int


class Foretold(msgspec.Struct, kw_only=True):
    """What the numerics make of `Known`."""

    position: int
    draws: int
    learned: list[Learned]
    lots: list[LotTold]
    supply: list[Supply]
    lead_times: list[LeadTime]
    rates: list[Rate] = []
    curves: list[Curve] = []
    remarks: list[str]
