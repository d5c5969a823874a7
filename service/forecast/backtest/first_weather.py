"""The first forecast's view of a site's weather, behind and ahead, as degree-days.

Input is the site's record of daily minimum and maximum temperatures (degrees Celsius). Behind
today stands what was recorded, its gaps filled and said; ahead stands the site's own day-of-year
mean, and beside it each past year played again.

Means are taken of the *degree-days* of the days, not of their temperatures: a mean of warm and
cold days would lose what the warm days gave above the lower threshold, and forecast too late.
"""

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import accumulate

from service.forecast.records.weather import HALF_WINDOW_DAYS, SHORT_GAP_DAYS, missing_ranges
from service.forecast.requirements import Thresholds

History = Mapping[date, tuple[float, float]]
"""Minimum and maximum, degrees Celsius, of each recorded day."""

HORIZON_DAYS = 4 * 366
"""How far ahead a date is looked for."""
YEAR_DAYS = 365
YEAR_COVERAGE = 0.9
"""A past year is played again if at least this share of its days is on record."""

_DAY = timedelta(days=1)
_LEAP_YEAR = 2000


def day_of_year(day: date) -> int:
    """0 to 365 in the calendar of a leap year, so that a date has the same number every year."""
    return (date(_LEAP_YEAR, day.month, day.day) - date(_LEAP_YEAR, 1, 1)).days


def day_of_year_means(
    values: Mapping[date, float], half_window: int = HALF_WINDOW_DAYS
) -> list[float | None]:
    """Mean per day of the year (366 of them, 29 February in its place), the year being a ring.

    Each is the mean of all values whose day of the year lies within `half_window` days, so 29
    February leans on its neighbours of the common years. None where there are no such values.
    """
    sums, counts = [0.0] * 366, [0] * 366
    for day, value in values.items():
        index = day_of_year(day)
        sums[index] += value
        counts[index] += 1
    means: list[float | None] = []
    for index in range(366):
        window = [(index + step) % 366 for step in range(-half_window, half_window + 1)]
        count = sum(counts[near] for near in window)
        means.append(sum(sums[near] for near in window) / count if count else None)
    return means


@dataclass(frozen=True)
class Behind:
    """Degree-days from `first` to yesterday, running totals with a leading zero.

    `interpolated`, `by_mean` and `unknown` run along: days filled between neighbours, filled by
    the day-of-year mean, and not to be filled at all.
    """

    first: date
    degree_days: Sequence[float]
    interpolated: Sequence[int]
    by_mean: Sequence[int]
    unknown: Sequence[int]


@dataclass(frozen=True)
class Outlook:
    """One site's thermal time on one day, for one way of counting it; shared by all its lots.

    `ahead` holds running totals from today on, with a leading zero, by the day-of-year means; it
    ends early (`ahead_ends_for_want` says so) where the site's record has no such days.
    `replays` holds one like it for each past year, `years` says which years.
    """

    site: str
    today: date
    thresholds: Thresholds
    behind: Behind
    ahead: Sequence[float]
    ahead_ends_for_want: bool
    replays: Sequence[Sequence[float]]
    years: Sequence[int]
    recorded_days: int
    last_recorded: date | None


def degree_days_of(history: History, thresholds: Thresholds) -> dict[date, float]:
    """Degree-days (Cd) of each recorded day."""
    lows = {day: low for day, (low, _) in history.items()}
    return {
        day: thresholds.of_day(low, high, lows.get(day + _DAY))
        for day, (low, high) in history.items()
    }


def interpolate_short_gaps(
    history: History, short_gap: int = SHORT_GAP_DAYS
) -> dict[date, tuple[float, float]]:
    """The days of gaps of at most `short_gap` days between recorded days, in a straight line.

    Minimum and maximum are each drawn from the day before the gap to the day after it.
    """
    if not history:
        return {}
    filled: dict[date, tuple[float, float]] = {}
    for gap in missing_ranges(history, min(history), max(history)):
        if gap.days > short_gap:
            continue
        (low, high), (low_after, high_after) = history[gap.first - _DAY], history[gap.last + _DAY]
        for step in range(gap.days):
            share = (step + 1) / (gap.days + 1)
            filled[gap.first + step * _DAY] = (
                low + (low_after - low) * share,
                high + (high_after - high) * share,
            )
    return filled


def outlook(
    site: str, history: History, thresholds: Thresholds, *, since: date, today: date
) -> Outlook:
    """The thermal time of a site behind and ahead of `today`, from its record.

    Days before today are behind; a record of today or later is left aside, since the day is not
    over. `since` is the earliest day any lot counts from. The record may be empty.
    """
    past = {day: pair for day, pair in history.items() if day < today}
    recorded = degree_days_of(past, thresholds)
    between = degree_days_of(interpolate_short_gaps(past), thresholds)
    means = day_of_year_means(recorded)
    ahead: list[float] = []
    for step in range(HORIZON_DAYS):
        mean = means[day_of_year(today + step * _DAY)]
        if mean is None:
            break
        ahead.append(mean)
    years, replays = _replays({**between, **recorded}, recorded, means, today)
    return Outlook(
        site,
        today,
        thresholds,
        _behind(min(since, today), today, recorded, between, means),
        _running(ahead),
        len(ahead) < HORIZON_DAYS,
        replays,
        years,
        len(recorded),
        max(recorded, default=None),
    )


def _running(values: Sequence[float]) -> list[float]:
    return list(accumulate(values, initial=0.0))


def _behind(
    first: date,
    today: date,
    recorded: Mapping[date, float],
    between: Mapping[date, float],
    means: Sequence[float | None],
) -> Behind:
    values, interpolated, by_mean, unknown = [], [], [], []
    for step in range((today - first).days):
        day = first + step * _DAY
        value = recorded.get(day, between.get(day))
        interpolated.append(day not in recorded and day in between)
        mean = means[day_of_year(day)] if value is None else None
        by_mean.append(value is None and mean is not None)
        unknown.append(value is None and mean is None)
        values.append(value if value is not None else mean or 0.0)
    return Behind(
        first,
        _running(values),
        list(accumulate(interpolated, initial=0)),
        list(accumulate(by_mean, initial=0)),
        list(accumulate(unknown, initial=0)),
    )


def _replays(
    known: Mapping[date, float],
    recorded: Mapping[date, float],
    means: Sequence[float | None],
    today: date,
) -> tuple[list[int], list[list[float]]]:
    """Each past year's degree-days laid ahead of today, newest year first.

    A past year is the 365 days from today's date in it, all before today, with at least
    `YEAR_COVERAGE` of them on record; what it lacks comes from neighbours or the mean. A look
    further ahead than a year plays the same year again: a cold year stays cold.
    """
    years: list[int] = []
    replays: list[list[float]] = []
    for year in range(today.year - 1, min(recorded, default=today).year - 2, -1):
        # 29 February begins a common year's replay on 1 March.
        start = today.replace(year=year) if _exists(today, year) else date(year, 3, 1)
        days = [start + step * _DAY for step in range(YEAR_DAYS)]
        if sum(day in recorded for day in days) < YEAR_COVERAGE * YEAR_DAYS:
            continue
        values = []
        for day in days:
            value = known.get(day, means[day_of_year(day)])
            if value is None:
                break
            values.append(value)
        else:
            rounds = -(-HORIZON_DAYS // YEAR_DAYS)
            years.append(year)
            replays.append(_running((values * rounds)[:HORIZON_DAYS]))
    return years, replays


def _exists(day: date, year: int) -> bool:
    try:
        day.replace(year=year)
    except ValueError:
        return False
    return True


def first_step_reaching(running: Sequence[float], total: float) -> int | None:
    """Index of the first day (0 the first) at whose end the running total reaches `total`.

    None when it never does. A hair is allowed for rounding.
    """
    index = bisect_left(running, total - 1e-9)
    return None if index >= len(running) else max(index - 1, 0)
