"""The weather ahead of a site, drawn many times from its own years.

A drawn year is put together from *blocks* of the site's own days, so that warm and cold spells
last as they do there. A block comes from the same season of some year of the record; which years
are drawn often differs from draw to draw (the Bayesian bootstrap), so that few years make a wide
range. What is drawn are departures from the site's usual season, a curve of two waves a year, which
is uncertain itself and is drawn too: where the record is short, it leans on a stated climate
normal. A forecast of the next days goes before all.

All sites draw with the same numbers: blocks of equally long records are of the same days, so that a
cold spring is cold at each of them.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from service.forecast.degree_days import Method
from service.forecast.numerics.clocks import Clock
from service.forecast.numerics.thermal import degree_days, filled
from service.forecast.requirements import Thresholds
from service.forecast.shapes import SiteWeather

Floats = NDArray[np.float64]
Halves = NDArray[np.float32]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

YEAR = 365.25
BLOCK_DAYS = (20, 30)
"""A block's length, both ends included: spells are kept, years mixed."""
JOINED = 1.05
"""Months of joined blocks vary less than months that went on; departures are so much larger for it
(days whose departures hold three quarters to the next lose a twentieth of a season's sd)."""
LEAST_BLOCK = 5
WINDOW_DAYS = 60
"""Blocks begin within so many days of the season, divided by the years on record ..."""
LEAST_WINDOW = 10
"""... but within so many at least: with many years no block is far from its season."""
FEW_YEARS = 2.0
"""With fewer own years than that a stated climate normal is leant on."""
READ_SHARE = 0.7
"""A stretch of the record with less of its days read is not drawn from."""
MONTH_SD = 1.2
"""Sd (C) of a month's mean about the usual, and how many months that belief is worth."""
MONTH_SD_WORTH = 6.0
# What is believed of the season before any day was read: sds (C) of the mean and the waves' parts.
_AGAINST_NORMAL = np.array([3.0, 1.5, 1.5, 0.5, 0.5])
_AGAINST_NOTHING = np.array([30.0, 8.0, 8.0, 1.5, 1.5])
_MID_MONTHS = np.array([15.5, 45, 74.5, 105, 135.5, 166, 196.5, 227.5, 258, 288.5, 319, 349.5])


@dataclass(frozen=True, kw_only=True)
class Ahead:
    """paths: by crop, float32[draws, days + 1], running totals (Cd) from today on, a leading zero;
    empty where nothing is known of the site's weather. years: of the record, rounded. words: what
    it leans on besides enough own years, empty for nothing."""

    paths: dict[str, Halves]
    years: int
    words: str


@dataclass(frozen=True)
class _Season:
    """The usual of a temperature: a stated normal and two waves a year, their parts uncertain.

    widen: the days that a curve was laid through lie nearer to it than others will.
    """

    normal: Floats
    parts: Floats
    root: Floats
    widen: float = 1.0

    def at(self, day: Ints, waves: Floats, parts: Floats) -> Floats:
        """[days] or [draws, days] of the parts [5] or [draws, 5]."""
        usual: Floats = self.normal_at(day) + parts @ waves.T
        return usual

    def normal_at(self, day: Ints) -> Floats:
        if not len(self.normal):
            return np.zeros(len(day))
        return np.interp(_day_of_year(day), _MID_MONTHS, self.normal, period=YEAR)


def ahead(
    weather: SiteWeather, clocks: Mapping[str, Clock], draws: int, days: int, seed: int
) -> Ahead:
    """Draw the degree-days from today on, of each crop as its clock counts them."""
    low, high = (
        filled(np.asarray(side, float), weather.first).values
        for side in (weather.low, weather.high)
    )
    read = ~np.isnan(np.asarray(weather.low, float)) & ~np.isnan(np.asarray(weather.high, float))
    years = int(np.count_nonzero(read)) / YEAR
    leans = years < FEW_YEARS and len(weather.normal_low) == len(weather.normal_high) == 12
    if not leans and not years:
        return Ahead(paths={}, years=0, words="no temperatures of the site are on record")
    rng = np.random.default_rng([seed, 0x5EA50])
    source = blocks(read, draws, days, rng)
    chance = rng.standard_normal((draws, len(_AGAINST_NORMAL)))
    coming = np.arange(weather.today, weather.today + days)
    past = np.arange(weather.first, weather.first + len(read))
    drawn = []
    for side, normal in ((low, weather.normal_low), (high, weather.normal_high)):
        season = _season_of(side, read, past, normal if leans else [])
        usual = season.at(coming, _waves(coming), season.parts + chance @ season.root.T)
        departure = np.append(side - season.at(past, _waves(past), season.parts), 0.0)
        drawn.append(usual + season.widen * np.nan_to_num(departure)[source])
    given = _given(weather, days)
    lows, highs = (
        np.where(np.isnan(told), side, told) for told, side in zip(given, drawn, strict=True)
    )
    highs = np.maximum(lows, highs)
    paths = {}
    for crop, clock in clocks.items():
        by_day = _as_counted(clock, lows, highs, low, high, source, ~np.isnan(given[0]))
        paths[crop] = np.zeros((draws, days + 1), np.float32)
        np.cumsum(by_day, axis=1, out=paths[crop][:, 1:])
    return Ahead(paths=paths, years=round(years), words=_words(weather, years, leans))


def blocks(read: Flags, draws: int, days: int, rng: np.random.Generator) -> Ints:
    """Which day of the record each drawn day repeats, [draws, days]; the record ends yesterday.

    read: of each day of the record, whether it was read. -1 where there is no day to repeat. A
    block runs through consecutive days and begins within the window about the same season of a
    year, or anywhere where no year has that season.
    """
    count = len(read)
    source = np.full((draws, days), -1, np.int64)
    if count < LEAST_BLOCK or not read.any():
        return source
    window = max(LEAST_WINDOW, min(WINDOW_DAYS, round(WINDOW_DAYS * YEAR / read.sum())))
    back = np.round(YEAR * np.arange(1, int((count + days) / YEAR) + 2)).astype(int)
    weights = rng.standard_exponential((draws, len(back) + 1))
    sums = np.concatenate([[0], np.cumsum(read)])
    rows = np.arange(draws)
    at = np.zeros(draws, int)
    while (at < days).any():
        start = _starts(count + at[:, None] - back, count, window, sums, weights, rng)
        length = np.minimum(rng.integers(BLOCK_DAYS[0], BLOCK_DAYS[1] + 1, draws), count - start)
        for step in range(int(length.max())):
            here = (step < length) & (at + step < days)
            source[rows[here], (at + step)[here]] = (start + step)[here]
        at = at + length
    return source


def _starts(
    base: Ints, count: int, window: int, sums: Ints, weights: Floats, rng: np.random.Generator
) -> Ints:
    """Where blocks start, [draws]: `base` [draws, years] is the same season of each year."""
    first = np.clip(base - window, 0, count - LEAST_BLOCK)
    last = np.clip(base + window, 0, count - LEAST_BLOCK)
    end = np.minimum(last + BLOCK_DAYS[1], count)
    fit = (base + window >= 0) & (base - window <= count - LEAST_BLOCK)
    fit &= (sums[end] - sums[first]) >= READ_SHARE * (end - first)
    year = np.clip((count - base) // YEAR, 0, weights.shape[1] - 1).astype(int)
    weight = np.where(fit, np.take_along_axis(weights, year, axis=1), 0.0)
    running = np.cumsum(weight, axis=1)
    pick = (rng.random((len(base), 1)) * running[:, -1:] >= running).sum(axis=1)
    pick = np.minimum(pick, base.shape[1] - 1)[:, None]
    from_, to = (np.take_along_axis(each, pick, axis=1)[:, 0] for each in (first, last))
    # A window that the record cuts goes on to its other side; no year with the season: all days.
    room = np.where(fit.any(axis=1), window, count)
    from_ = np.maximum(np.minimum(from_, to - room), 0)
    to = np.minimum(np.maximum(to, from_ + room), count - LEAST_BLOCK)
    shift = rng.random(len(base))
    starts: Ints = (from_ + shift * (to - from_ + 1)).astype(np.int64)
    return starts


def _season_of(side: Floats, read: Flags, day: Ints, normal: list[float]) -> _Season:
    """The usual season by ridge regression of the days read; near days are not independent.

    A day weighs as much as the variance of 30-day means about the usual allows.
    """
    season = _Season(np.asarray(normal, float), np.zeros(5), np.zeros((5, 5)))
    believed = np.diag((_AGAINST_NORMAL if normal else _AGAINST_NOTHING) ** -2.0)
    known = read & ~np.isnan(side)
    waves, values = _waves(day[known]), side[known] - season.normal_at(day[known])
    long_run, months = 30 * MONTH_SD**2, len(values) // 30
    free = max(months - len(believed), 1)
    for _ in range(2):
        precision = believed + waves.T @ waves / long_run
        parts = np.asarray(np.linalg.solve(precision, waves.T @ values / long_run), float)
        means = (values - waves @ parts)[: months * 30].reshape(-1, 30).mean(axis=1)
        total = MONTH_SD_WORTH * MONTH_SD**2 + float(means @ means)
        long_run = 30 * total / (MONTH_SD_WORTH + free)
    root = np.asarray(np.linalg.cholesky(np.linalg.inv(precision)), float)
    return replace(
        season, parts=parts, root=root, widen=JOINED * min(math.sqrt(max(months, 1) / free), 1.3)
    )


def _waves(day: Ints) -> Floats:
    turn = 2 * np.pi * _day_of_year(day) / YEAR
    return np.stack(
        [np.ones(len(day)), np.cos(turn), np.sin(turn), np.cos(2 * turn), np.sin(2 * turn)], axis=1
    )


def _day_of_year(day: Ints) -> Floats:
    """Days since a 1 January, in the mean year of the Gregorian calendar."""
    return np.asarray((np.asarray(day) - 1) % 365.2425, float)


def _given(weather: SiteWeather, days: int) -> tuple[Floats, Floats]:
    """The forecast given of the next days, NaN where there is none (of both sides)."""
    low, high = np.full(days, np.nan), np.full(days, np.nan)
    count = min(days, len(weather.ahead_low), len(weather.ahead_high))
    low[:count], high[:count] = weather.ahead_low[:count], weather.ahead_high[:count]
    lacking = np.isnan(low) | np.isnan(high)
    low[lacking] = high[lacking] = np.nan
    return low, high


def _as_counted(
    clock: Clock,
    lows: Floats,
    highs: Floats,
    low: Floats,
    high: Floats,
    source: Ints,
    given: Flags,
) -> Floats:
    """Degree-days [draws, days] as the clock counts them.

    The curve between minimum and maximum tells what the departure from the repeated day makes; the
    day itself counts as it was counted, by its hours too. Given days, of which there are no hours,
    are taken in the proportion that hours have to the curve at this season.
    """
    counting = _from_extremes(clock.counting)
    curve = degree_days(lows.ravel(), highs.ravel(), counting).reshape(lows.shape)
    if clock.counting.method is not Method.HOURLY_SUM:
        return curve
    past = np.append(degree_days(low, high, counting), 0.0)
    counted = np.append(clock.by_day, 0.0)
    both = ~np.isnan(past) & ~np.isnan(counted)
    by_hour = curve + np.where(both, counted - past, 0.0)[source]
    if given.any():
        total = np.sum(past, where=both)
        share = np.sum(counted, where=both) / total if total > 0 else 1.0
        by_hour = np.where(given, curve * share, by_hour)
    return np.clip(by_hour, 0.0, counting.upper_c - counting.lower_c)


def _from_extremes(counting: Thresholds) -> Thresholds:
    hourly = counting.method is Method.HOURLY_SUM
    return replace(counting, method=Method.SINGLE_SINE) if hourly else counting


def _words(weather: SiteWeather, years: float, leans: bool) -> str:
    if years >= FEW_YEARS:
        return ""
    own = f"{years:.1f} years of the site's own days"
    if leans:
        return f"{own}, with the climate normal of {weather.normal_source or 'the site'}"
    return f"only {own} and no climate normal: the seasons ahead are uncertain"
