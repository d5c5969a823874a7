"""Degree-days of many days at once: the published table, one with the plain formulas; gaps."""

import math
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.forecast.degree_days import Cutoff, Method, daily
from service.forecast.numerics.thermal import carried, day_of_year, degree_days, filled, hourly_sum
from service.forecast.requirements import Thresholds
from tests.forecast.test_degree_days import (
    BY_RANGE,
    LOWER,
    MISPRINT,
    SINE,
    SINE_2,
    TRIANGLE,
    TRIANGLE_2,
    UPPER,
    ZALOM_TABLE_7,
    temperature,
)

NAN = math.nan
WAYS = [
    Thresholds(LOWER, upper, method, cutoff)
    for method in BY_RANGE
    for cutoff in Cutoff
    if method is not Method.MODIFIED_AVERAGE or cutoff is Cutoff.HORIZONTAL
    for upper in (UPPER, math.inf)
]
FIRST = date(2024, 1, 1).toordinal()


@pytest.mark.parametrize(
    ("column", "method"), [(4, TRIANGLE), (5, TRIANGLE_2), (6, SINE), (7, SINE_2)]
)
def test_zalom_1983_table_7_at_once(column: int, method: Method) -> None:
    """Each day of the table is followed by a day that has the next minimum."""
    lows = [low for row in ZALOM_TABLE_7 for low in (row[1], row[3])]
    highs = [high for row in ZALOM_TABLE_7 for high in (row[2], 120)]
    got = degree_days(lows, highs, Thresholds(55, 90, method))[::2]
    for row, value in zip(ZALOM_TABLE_7, got, strict=True):
        if (*row[1:4], method) != MISPRINT:
            # The table is printed to 0.01.
            assert value == pytest.approx(row[column], abs=0.0051)


@given(
    st.sampled_from(WAYS),
    st.lists(st.tuples(st.one_of(st.just(LOWER), temperature), st.floats(0, 25)), max_size=8),
    st.sets(st.integers(0, 7)),
)
def test_it_is_what_each_day_alone_gives(
    way: Thresholds, days: list[tuple[float, float]], missing: set[int]
) -> None:
    lows = [NAN if n in missing else low for n, (low, _) in enumerate(days)]
    highs = [low + swing for low, (_, swing) in zip(lows, days, strict=True)]
    got = degree_days(lows, highs, way)
    assert len(got) == len(days)
    for n, value in enumerate(got):
        if n in missing:
            assert math.isnan(value)
            continue
        following = lows[n + 1] if n + 1 < len(lows) else NAN
        alone = daily(
            way.method,
            way.cutoff,
            minimum=lows[n],
            maximum=highs[n],
            lower=way.lower_c,
            upper=way.upper_c,
            next_minimum=None if math.isnan(following) else following,
        )
        assert value == pytest.approx(alone, abs=1e-9)


@pytest.mark.parametrize("way", WAYS)
def test_a_day_that_touches_a_threshold(way: Thresholds) -> None:
    """Where cases meet the two must choose alike."""
    lows = [LOWER, UPPER, LOWER - 5, LOWER, UPPER - 5]
    highs = [LOWER, UPPER, LOWER, UPPER, UPPER]
    alone = [
        daily(way.method, way.cutoff, minimum=low, maximum=high, lower=LOWER, upper=way.upper_c,
              next_minimum=following)
        for low, high, following in zip(lows, highs, [*lows[1:], None], strict=True)
    ]  # fmt: skip
    assert degree_days(lows, highs, way) == pytest.approx(alone, abs=1e-12)


@pytest.mark.parametrize(
    ("low", "high", "way", "words"),
    [
        ([10, 21], [20, 20], Thresholds(13, 35), "minimum 21.0 is above the maximum 20.0"),
        ([10], [20], Thresholds(35, 13), "not below"),
        ([10], [math.inf], Thresholds(13, 35), "finite"),
        ([10], [20], Thresholds(13, 35, Method.HOURLY_SUM), "hours are not summed"),
        (
            [10],
            [20],
            Thresholds(13, 35, Method.MODIFIED_AVERAGE, Cutoff.VERTICAL),
            "horizontal cutoff only",
        ),
    ],
)
def test_nonsense_is_refused(
    low: list[float], high: list[float], way: Thresholds, words: str
) -> None:
    with pytest.raises(ValueError, match=words):
        degree_days(low, high, way)


# --- Hours ----------------------------------------------------------------------------------------
def test_hours_are_held_between_the_thresholds() -> None:
    """Six hours each at 5, 20, 30 and 40 C between 10 and 30: (0 + 10 + 20 + 20) / 4."""
    day = np.repeat([5.0, 20.0, 30.0, 40.0], 6)[None]
    assert hourly_sum(day, Thresholds(10, 30)) == [12.5]
    # slowed by the ten degrees over; standing still
    assert hourly_sum(day, Thresholds(10, 30, cutoff=Cutoff.INTERMEDIATE)) == [10]
    assert hourly_sum(day, Thresholds(10, 30, cutoff=Cutoff.VERTICAL)) == [7.5]


def test_a_day_with_fewer_than_twenty_hours_is_not_summed() -> None:
    days = np.full((3, 24), 20.0)
    days[0, :4] = NAN
    days[1, :5] = NAN
    days[2] = NAN
    got = hourly_sum(days, Thresholds(10, 30))
    assert got[0] == 10
    assert np.isnan(got[1:]).all()


@given(st.lists(temperature, min_size=24, max_size=24), st.sampled_from(Cutoff))
def test_a_day_by_hours_is_never_below_zero(hours: list[float], cutoff: Cutoff) -> None:
    (got,) = hourly_sum([hours], Thresholds(LOWER, UPPER, cutoff=cutoff))
    assert 0 <= got <= UPPER - LOWER


# --- Gaps -----------------------------------------------------------------------------------------
def test_short_gaps_are_drawn_between_their_neighbours() -> None:
    got = filled([NAN, 2, NAN, NAN, 5, *[NAN] * 5, 11], FIRST)
    assert got.values[1:].tolist() == [2, 3, 4, 5, 6, 7, 8, 9, 10, 11]
    assert np.flatnonzero(got.interpolated).tolist() == [2, 3, 5, 6, 7, 8, 9]
    # before the record nothing is drawn: the mean of what was read within three days of it
    assert got.values[0] == 2
    assert got.by_mean.tolist() == [True, *[False] * 10]
    assert not got.unknown.any()


def test_long_gaps_take_the_mean_of_their_time_of_year() -> None:
    """Two years: 1 Cd a day in the first, 3 in the second, of which a spring month is missing."""
    days = [date(2023, 1, 1) + timedelta(days=n) for n in range(730)]
    values = [1.0 if day.year == 2023 else 3.0 for day in days]
    gap = [n for n, day in enumerate(days) if date(2024, 4, 1) <= day <= date(2024, 4, 30)]
    for n in gap:
        values[n] = NAN
    got = filled(values, days[0].toordinal())
    assert np.flatnonzero(got.by_mean).tolist() == gap
    # in the middle only the first year is near; at the edge three days of the second are too
    assert got.values[gap[15]] == 1
    assert got.values[gap[0]] == pytest.approx((7 * 1 + 3 * 3) / 10)


def test_what_nothing_is_known_of_stays_unknown() -> None:
    got = filled([1, *[NAN] * 20], FIRST)
    assert np.flatnonzero(got.by_mean).tolist() == [1, 2, 3]
    assert got.unknown.tolist() == np.isnan(got.values).tolist() == [*[False] * 4, *[True] * 17]
    nothing = filled([NAN] * 3, FIRST)
    assert nothing.unknown.all()
    assert filled([], FIRST).values.size == 0


def test_what_is_unknown_in_a_first_year_is_guessed_and_not_for_long() -> None:
    assert carried(np.array([1.0, *[NAN] * 39, 5.0])).tolist() == pytest.approx(
        np.linspace(1, 5, 41).tolist()
    )
    newest = [9.0, *range(1, 8)]
    assert carried(np.array([*newest, *[NAN] * 30]))[8:].tolist() == [4.0] * 30
    assert np.isnan(carried(np.array([*newest, *[NAN] * 31]))[8:]).all()
    # what lies before the record stays unknown
    assert np.isnan(carried(np.array([NAN, 2.0, NAN]))).tolist() == [True, False, False]
    assert np.isnan(carried(np.array([NAN] * 3))).all()


def test_a_day_has_the_same_number_every_year() -> None:
    of_year = day_of_year(date(2023, 1, 1).toordinal(), 366 * 3)
    days = [date(2023, 1, 1) + timedelta(days=n) for n in range(366 * 3)]
    # in a leap year itself the number of the day counts all there are
    expected = [int(day.replace(year=2024).strftime("%j")) - 1 for day in days]
    assert of_year.tolist() == expected
