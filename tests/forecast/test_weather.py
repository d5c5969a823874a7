"""The weather behind and ahead: gaps, day-of-year means, past years played again."""

import itertools
import math
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.forecast.backtest.first_weather import (
    History,
    day_of_year,
    day_of_year_means,
    first_step_reaching,
    interpolate_short_gaps,
    outlook,
)
from service.forecast.degree_days import daily
from service.forecast.records.weather import Gap, missing_ranges
from service.forecast.requirements import Thresholds

DAY = timedelta(days=1)
CITRUS = Thresholds(13, 35)


def days(first: date, last: date) -> list[date]:
    return [first + step * DAY for step in range((last - first).days + 1)]


def flat(first: date, last: date, low: float, high: float) -> dict[date, tuple[float, float]]:
    return dict.fromkeys(days(first, last), (low, high))


def test_missing_ranges_name_both_ends_and_the_edges() -> None:
    recorded = flat(date(2025, 1, 3), date(2025, 1, 4), 10, 20)
    recorded |= flat(date(2025, 1, 8), date(2025, 1, 8), 10, 20)
    assert missing_ranges(recorded, date(2025, 1, 1), date(2025, 1, 10)) == [
        Gap(date(2025, 1, 1), date(2025, 1, 2)),
        Gap(date(2025, 1, 5), date(2025, 1, 7)),
        Gap(date(2025, 1, 9), date(2025, 1, 10)),
    ]
    assert missing_ranges(recorded, date(2025, 1, 3), date(2025, 1, 4)) == []
    assert Gap(date(2025, 1, 5), date(2025, 1, 7)).days == 3


@given(st.sets(st.integers(0, 60)))
def test_missing_ranges_and_recorded_days_make_up_the_whole(recorded: set[int]) -> None:
    first = date(2024, 2, 1)
    history = {first + step * DAY: None for step in recorded}
    gaps = missing_ranges(history, first, first + 60 * DAY)
    missing = {day for gap in gaps for day in days(gap.first, gap.last)}
    assert missing == set(days(first, first + 60 * DAY)) - set(history)
    assert all(b.first - a.last > DAY for a, b in itertools.pairwise(gaps))


def test_short_gaps_are_drawn_straight_and_long_ones_left() -> None:
    history: History = {
        date(2025, 3, 1): (10.0, 20.0),
        date(2025, 3, 4): (13.0, 26.0),
        date(2025, 3, 10): (0.0, 1.0),
    }
    assert interpolate_short_gaps(history, 4) == {
        date(2025, 3, 2): (pytest.approx(11.0), pytest.approx(22.0)),
        date(2025, 3, 3): (pytest.approx(12.0), pytest.approx(24.0)),
    }
    assert len(interpolate_short_gaps(history, 5)) == 7
    assert interpolate_short_gaps({}) == {}


def test_day_of_year_is_the_same_every_year() -> None:
    assert [day_of_year(date(y, 3, 1)) for y in (2023, 2024, 2025)] == [60, 60, 60]
    assert day_of_year(date(2024, 2, 29)) == 59
    assert day_of_year(date(2023, 12, 31)) == 365


def test_leap_day_leans_on_its_neighbours_and_the_year_is_a_ring() -> None:
    values = {date(2023, 2, 27): 1.0, date(2023, 3, 2): 4.0, date(2023, 12, 30): 8.0}
    means = day_of_year_means(values, 3)
    assert means[day_of_year(date(2024, 2, 29))] == 2.5
    assert means[day_of_year(date(2024, 1, 1))] == 8.0
    assert means[day_of_year(date(2024, 1, 3))] is None
    leap = day_of_year_means({date(2024, 2, 29): 7.0}, 0)
    assert [i for i, mean in enumerate(leap) if mean is not None] == [59]


def test_mean_over_years() -> None:
    values = {date(2023, 6, 1): 2.0, date(2024, 6, 1): 6.0}
    assert day_of_year_means(values, 0)[day_of_year(date(2025, 6, 1))] == 4.0


def test_ahead_is_the_mean_of_degree_days_not_of_temperatures() -> None:
    """One year all at 5 C, one all at 21 C: 4 Cd a day on average; 13 C on average gives none."""
    history = flat(date(2023, 1, 1), date(2023, 12, 31), 5, 5)
    history |= flat(date(2024, 1, 1), date(2024, 12, 31), 21, 21)
    seen = outlook("HOME", history, CITRUS, since=date(2025, 1, 1), today=date(2025, 1, 1))
    assert seen.ahead[101] - seen.ahead[100] == pytest.approx(4, abs=0.05)
    assert seen.years == [2024, 2023]
    assert [replay[100] for replay in seen.replays] == [pytest.approx(800), 0]


def test_what_is_behind_counts_recorded_filled_and_unknown_days() -> None:
    history = flat(date(2025, 5, 1), date(2025, 5, 10), 20, 20)
    history |= flat(date(2025, 5, 13), date(2025, 5, 20), 20, 20)
    today = date(2025, 5, 31)
    behind = outlook("HOME", history, CITRUS, since=date(2025, 4, 20), today=today).behind
    assert behind.first == date(2025, 4, 20)
    assert behind.interpolated[-1] == 2
    # Three days to either side of the record can borrow from it; the rest of the edges cannot.
    assert behind.by_mean[-1] == 6
    assert behind.unknown[-1] == 8 + 7
    assert behind.degree_days[-1] == pytest.approx((18 + 2 + 6) * 7)


def test_a_long_gap_takes_the_mean_of_other_years() -> None:
    history = flat(date(2023, 1, 1), date(2024, 12, 31), 18, 18)
    for day in days(date(2024, 5, 1), date(2024, 5, 20)):
        del history[day]
    seen = outlook("HOME", history, CITRUS, since=date(2024, 4, 1), today=date(2025, 1, 1))
    assert (seen.behind.by_mean[-1], seen.behind.interpolated[-1]) == (20, 0)
    assert seen.behind.unknown[-1] == 0
    assert seen.behind.degree_days[-1] == pytest.approx(5 * 275)


def test_today_and_later_records_are_left_aside() -> None:
    history = flat(date(2024, 1, 1), date(2025, 6, 2), 18, 18)
    history[date(2025, 6, 1)] = (50, 50)
    seen = outlook("HOME", history, CITRUS, since=date(2025, 5, 1), today=date(2025, 6, 1))
    assert seen.behind.degree_days[-1] == pytest.approx(5 * 31)
    assert seen.ahead[1] == pytest.approx(5)
    assert seen.last_recorded == date(2025, 5, 31)


def test_a_thin_year_is_not_played_again() -> None:
    history = flat(date(2023, 6, 1), date(2025, 5, 31), 18, 18)
    for day in days(date(2023, 8, 1), date(2023, 9, 10)):
        del history[day]
    seen = outlook("HOME", history, CITRUS, since=date(2025, 6, 1), today=date(2025, 6, 1))
    assert seen.years == [2024]


def test_a_replay_starts_at_todays_date_and_comes_round_again() -> None:
    history = {
        day: (t, t)
        for day in days(date(2024, 6, 1), date(2025, 5, 31))
        for t in [20 + 5 * math.sin(day_of_year(day) / 50)]
    }
    seen = outlook("HOME", history, CITRUS, since=date(2025, 6, 1), today=date(2025, 6, 1))
    (replay,) = seen.replays
    low, high = history[date(2024, 6, 11)]
    tenth = daily(CITRUS.method, minimum=low, maximum=high, lower=13, upper=35)
    assert replay[11] - replay[10] == pytest.approx(tenth)
    assert replay[376] - replay[375] == pytest.approx(tenth)


def test_replay_of_a_leap_day() -> None:
    history = flat(date(2021, 1, 1), date(2024, 2, 28), 18, 18)
    seen = outlook("HOME", history, CITRUS, since=date(2024, 2, 29), today=date(2024, 2, 29))
    assert seen.years == [2023, 2022, 2021]
    assert seen.replays[0][365] == pytest.approx(5 * 365)


def test_ahead_ends_where_the_record_has_no_such_season() -> None:
    history = flat(date(2025, 5, 1), date(2025, 5, 31), 20, 20)
    seen = outlook("HOME", history, CITRUS, since=date(2025, 5, 1), today=date(2025, 6, 1))
    assert seen.ahead_ends_for_want
    assert len(seen.ahead) == 1 + 3
    assert seen.replays == []


def test_an_empty_record() -> None:
    seen = outlook("HOME", {}, CITRUS, since=date(2025, 5, 1), today=date(2025, 6, 1))
    assert (seen.recorded_days, seen.behind.unknown[-1], list(seen.ahead)) == (0, 31, [0.0])


@pytest.mark.parametrize(
    ("total", "step"), [(0, 0), (0.5, 0), (1, 0), (1.1, 2), (3, 2), (3.1, None)]
)
def test_first_step_reaching(total: float, step: int | None) -> None:
    assert first_step_reaching([0.0, 1.0, 1.0, 3.0], total) == step
