"""Degree-days of many days at once, and what fills the days without a record.

The formulas are those of `service.forecast.degree_days`, whose docstring names their sources; the
tests hold the two together. Arrays run by day, one step a day; NaN is a day without a record.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import ArrayLike, NDArray

from service.forecast.degree_days import Cutoff, Method
from service.forecast.records.weather import HALF_WINDOW_DAYS, SHORT_GAP_DAYS
from service.forecast.requirements import Thresholds

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

MOST_CARRIED_DAYS = 30
"""What is not known at the end of a record is guessed for no longer."""
LEAST_HOURS = 20
"""A day with fewer of its 24 hours read is not summed by hours."""
_DOUBLE = {
    Method.DOUBLE_SINE: Method.SINGLE_SINE,
    Method.DOUBLE_TRIANGLE: Method.SINGLE_TRIANGLE,
}
_MONTH_STARTS = np.cumsum([0, 31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30])


def degree_days(low: ArrayLike, high: ArrayLike, thresholds: Thresholds) -> Floats:
    """Degree-days (Cd) of consecutive days from their minima and maxima (C), each `[days]`.

    The double methods take the next day's minimum from the next step, today's own where that is
    NaN or past the end. Raises ValueError as `daily` does, but for NaN.
    """
    lows, highs = np.asarray(low, np.float64), np.asarray(high, np.float64)
    _refuse_nonsense(lows, highs, thresholds)
    method, lower, upper = thresholds.method, thresholds.lower_c, thresholds.upper_c
    if method in _DOUBLE:
        single = replace(thresholds, method=_DOUBLE[method])
        following = np.append(lows[1:], np.nan)[: lows.size]
        second = np.where(np.isnan(following), lows, following)
        halves = np.minimum(second, highs), np.maximum(second, highs)
        return (degree_days(lows, highs, single) + degree_days(*halves, single)) / 2
    if method is Method.MODIFIED_AVERAGE:
        return (np.clip(lows, lower, upper) + np.clip(highs, lower, upper)) / 2 - lower
    if method is Method.SIMPLE_AVERAGE:
        lows = highs = (lows + highs) / 2
    sine = method is Method.SINGLE_SINE
    return _half(_above_sine if sine else _above_triangle, lows, highs, thresholds)


def _refuse_nonsense(low: Floats, high: Floats, thresholds: Thresholds) -> None:
    if not thresholds.lower_c < thresholds.upper_c:
        raise ValueError(
            f"the lower threshold {thresholds.lower_c} is not below the upper {thresholds.upper_c}"
        )
    if np.isinf(low).any() or np.isinf(high).any():
        raise ValueError("temperatures must be finite numbers")
    if (low > high).any():
        worst = int(np.argmax(low > high))
        raise ValueError(f"the minimum {low[worst]} is above the maximum {high[worst]}")
    if thresholds.method is Method.HOURLY_SUM:
        raise ValueError("hours are not summed from a minimum and a maximum")
    if thresholds.method is Method.MODIFIED_AVERAGE and (
        thresholds.cutoff is not Cutoff.HORIZONTAL
    ):
        raise ValueError("the modified average knows the horizontal cutoff only")


Above = Callable[[Floats, Floats, float], tuple[Floats, Floats]]


def _half(above: Above, low: Floats, high: Floats, thresholds: Thresholds) -> Floats:
    lower, upper = thresholds.lower_c, thresholds.upper_c
    days = above(low, high, lower)[0]
    if np.isfinite(upper):
        # A day that only touches the upper threshold spends no time above it.
        passed = high > upper
        excess, share = (np.where(passed, part, 0.0) for part in above(low, high, upper))
        days = days - excess
        if thresholds.cutoff is Cutoff.INTERMEDIATE:
            days = days - excess
        elif thresholds.cutoff is Cutoff.VERTICAL:
            days = days - (upper - lower) * share
    return np.clip(days, 0.0, upper - lower)


def _above_sine(low: Floats, high: Floats, threshold: float) -> tuple[Floats, Floats]:
    mean, swing = (low + high) / 2, (high - low) / 2
    crossed = (low < threshold) & (high > threshold) & (swing > 0)
    ratio = np.divide(threshold - mean, swing, out=np.zeros_like(mean), where=crossed)
    angle = np.arcsin(np.clip(ratio, -1.0, 1.0))
    area = ((mean - threshold) * (np.pi / 2 - angle) + swing * np.cos(angle)) / np.pi
    return _joined(crossed, area, 0.5 - angle / np.pi, low, mean, threshold)


def _above_triangle(low: Floats, high: Floats, threshold: float) -> tuple[Floats, Floats]:
    crossed = (low < threshold) & (high > threshold)
    share = np.divide(high - threshold, high - low, out=np.zeros_like(low), where=crossed)
    return _joined(crossed, (high - threshold) * share / 2, share, low, (low + high) / 2, threshold)


def _joined(
    crossed: Flags, area: Floats, share: Floats, low: Floats, mean: Floats, threshold: float
) -> tuple[Floats, Floats]:
    """Area and share where the day crosses the threshold, lies above it, or below; NaN stays."""
    above = low >= threshold
    areas = np.where(crossed, area, np.where(above, mean - threshold, 0.0))
    shares = np.where(crossed, share, np.where(above, 1.0, 0.0))
    unknown = np.isnan(mean)
    return np.where(unknown, np.nan, areas), np.where(unknown, np.nan, shares)


def hourly_sum(hours: ArrayLike, thresholds: Thresholds, least: int = LEAST_HOURS) -> Floats:
    """Degree-days (Cd) `[days]` of readings `[days, hours]` (C), NaN where none was taken.

    The mean of what each reading gives, so an hour without one counts as the rest of its day did;
    days with fewer than `least` readings are NaN. What is above the upper threshold counts by the
    cutoff; a whole day never counts below zero.
    """
    read = np.asarray(hours, np.float64)
    lower, upper = thresholds.lower_c, thresholds.upper_c
    rates = np.clip(read, lower, upper) - lower
    if thresholds.cutoff is Cutoff.INTERMEDIATE:
        rates -= np.maximum(read - upper, 0.0)
    elif thresholds.cutoff is Cutoff.VERTICAL:
        rates = np.where(read > upper, 0.0, rates)
    counts = (~np.isnan(rates)).sum(axis=1)
    sums = np.nansum(rates, axis=1)
    means = _quotient(sums, counts)
    return np.where(counts >= least, np.maximum(means, 0.0), np.nan)


def _quotient(sums: Floats, counts: NDArray[np.int64]) -> Floats:
    """Means, NaN where nothing was counted."""
    nothing = np.full(sums.shape, np.nan)
    means: Floats = np.divide(sums, counts, out=nothing, where=counts > 0)
    return means


@dataclass(frozen=True)
class Filled:
    """A value for each day, `[days]`, and how the days without one came by theirs.

    `interpolated`: between neighbours. `by_mean`: the mean of the time of year. `unknown`: by
    nothing; their value stays NaN.
    """

    values: Floats
    interpolated: Flags
    by_mean: Flags
    unknown: Flags


def filled(values: ArrayLike, first_day: int) -> Filled:
    """Fill the NaN of a value per day from `first_day` (an ordinal) on.

    Gaps of at most `SHORT_GAP_DAYS` between recorded days in a straight line; the rest by the mean
    of the recorded days at that time of the year, `HALF_WINDOW_DAYS` to either side, in all years.
    """
    given = np.asarray(values, np.float64)
    recorded = ~np.isnan(given)
    steps = np.arange(given.size)
    if not recorded.any():
        nothing = np.zeros(given.size, np.bool_)
        return Filled(given, nothing, nothing, ~nothing)
    known = steps[recorded]
    before = np.maximum.accumulate(np.where(recorded, steps, -1))
    after = np.minimum.accumulate(np.where(recorded, steps, given.size)[::-1])[::-1]
    inside = (before >= 0) & (after < given.size)
    interpolated = ~recorded & inside & (after - before - 1 <= SHORT_GAP_DAYS)
    between = np.interp(steps, known, given[recorded])
    of_year = day_of_year(first_day, given.size)
    means = _means(given[recorded], of_year[recorded])[of_year]
    rest = ~recorded & ~interpolated
    by_mean, unknown = rest & ~np.isnan(means), rest & np.isnan(means)
    whole = np.where(recorded | interpolated, between, means)
    return Filled(whole, interpolated, by_mean, unknown)


def carried(values: Floats) -> Floats:
    """A value for the days that `filled` knows nothing of, in a site's first year: `[days]`.

    Between recorded days in a straight line, however far; after the last one for at most
    `MOST_CARRIED_DAYS` as in the week before, the rest stays NaN. A guess: one week without a
    record would else leave the site without any count.
    """
    known = np.flatnonzero(~np.isnan(values))
    if not len(known):
        return values
    last = int(known[-1])
    steps = np.arange(len(values))
    whole = np.where(
        (steps >= known[0]) & (steps <= last), np.interp(steps, known, values[known]), values
    )
    if len(values) - 1 - last <= MOST_CARRIED_DAYS:
        whole[last + 1 :] = np.nanmean(whole[max(last - 6, 0) : last + 1])
    return np.asarray(whole, np.float64)


def day_of_year(first_day: int, days: int) -> NDArray[np.int64]:
    """`[days]`, 0 to 365 in the calendar of a leap year: a date has the same number every year."""
    dates = np.datetime64(date.fromordinal(max(first_day, 1)), "D") + np.arange(days)
    months = dates.astype("datetime64[M]")
    in_month = (dates - months).astype(np.int64)
    of_year: NDArray[np.int64] = _MONTH_STARTS[months.astype(np.int64) % 12] + in_month
    return of_year


def _means(values: Floats, of_year: NDArray[np.int64]) -> Floats:
    """Mean per day of the year, `[366]`, over a window of days; the year is a ring."""
    window = np.arange(-HALF_WINDOW_DAYS, HALF_WINDOW_DAYS + 1)
    ring = (np.arange(366)[:, None] + window) % 366
    sums = np.bincount(of_year, values, 366)[ring].sum(axis=1)
    counts = np.bincount(of_year, minlength=366)[ring].sum(axis=1)
    return _quotient(sums, counts)
