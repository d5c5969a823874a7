"""Which way a site counts, and what its clock says of the days between."""

from datetime import date
from math import isnan, nan

import numpy as np
import pytest

from service.forecast.degree_days import Cutoff, Method
from service.forecast.numerics.clocks import clock_of
from service.forecast.requirements import Thresholds
from service.forecast.shapes import SiteWeather

CITRUS = Thresholds(13, 35, cutoff=Cutoff.VERTICAL)
FIRST = date(2025, 1, 1).toordinal()


def weather(hours: list[float], days: int = 500) -> SiteWeather:
    """Days of 20 C throughout, 7 Cd each by minimum and maximum; `hours` end with yesterday."""
    return SiteWeather(
        site="CORIN",
        today=FIRST + days,
        first=FIRST,
        low=[20.0] * days,
        high=[20.0] * days,
        hourly={"citrus": [*[nan] * (days - len(hours)), *hours]},
    )


@pytest.mark.parametrize(("read", "method"), [(360, "hourly_sum"), (359, "single_sine")])
def test_a_site_counts_by_hours_when_nearly_all_newest_days_have_them(
    read: int, method: str
) -> None:
    """Nine in ten of 400 days; the thresholds and the cutoff stay, and so does what is older."""
    clock = clock_of(weather([6.0] * read + [nan] * (400 - read)), "citrus", CITRUS)
    assert clock.counting == Thresholds(13, 35, Method(method), Cutoff.VERTICAL)
    by_hours = method == "hourly_sum"
    assert clock.by_day[100:].sum() == read * (6 if by_hours else 7) + (400 - read) * 7
    assert clock.by_day[:100].sum() == 700


def test_long_ago_does_not_make_a_site_count_by_hours() -> None:
    """A logger that was taken away: the newest days decide."""
    silent = clock_of(weather([6.0] * 900 + [nan] * 60, 1000), "citrus", CITRUS)
    assert silent.counting.method is Method.SINGLE_SINE
    young = clock_of(weather([6.0] * 399, 399), "citrus", CITRUS)
    assert young.counting.method is Method.SINGLE_SINE
    other = clock_of(weather([6.0] * 400), "mango", Thresholds(15, 32))
    assert (other.counting.method, other.by_day[-1]) == (Method.SINGLE_SINE, 5)


def test_days_between_are_counted_without_the_first_and_with_the_last() -> None:
    told = weather([], 30)
    told.low[10:12] = [nan, nan]
    clock = clock_of(told, "citrus", CITRUS)
    after, through = np.array([FIRST + 8, FIRST - 1, FIRST]), np.array([FIRST + 12] * 3)
    assert clock.between(after, through).tolist() == [28, 91, 84]
    assert clock.filled_between(after, through).tolist() == [2, 2, 2]
    outside = clock.between(np.array([FIRST - 2]), np.array([FIRST + 3]))
    assert isnan(outside[0])
    assert (clock.today, clock.years) == (FIRST + 30, pytest.approx(28 / 365.25))
