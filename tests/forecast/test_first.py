"""Ready dates of the first forecast, worked by hand on weather that fingers can count."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from service.forecast.backtest.first import LotFacts, ReadyDate, ready_date
from service.forecast.backtest.first_weather import History, Outlook, outlook
from service.forecast.degree_days import Method
from service.forecast.requirements import (
    REQUIREMENTS,
    Need,
    Requirement,
    Thresholds,
    requirement_for,
)

DAY = timedelta(days=1)
CITRUS = Thresholds(13, 35)
TODAY = date(2025, 6, 1)
NEEDS = Requirement(
    "citrus",
    None,
    CITRUS,
    "worked example",
    Need(500, "worked example", "worked example"),
    Need(100, "worked example", "worked example"),
    Need(400, "worked example", "worked example"),
)
LOT = LotFacts("LOT-1", "citrus", "inverted_t_bud", date(2025, 5, 1))


def weather(by_year: dict[int, float], today: date = TODAY) -> dict[date, tuple[float, float]]:
    """Each year from 1 June to 31 May at one still temperature, by the year it begins in."""
    return {
        date(year, 6, 1) + step * DAY: (t, t)
        for year, t in by_year.items()
        for step in range(366)
        if date(year, 6, 1) + step * DAY < min(date(year + 1, 6, 1), today)
    }


def at(history: History, since: date = date(2025, 1, 1), today: date = TODAY) -> Outlook:
    return outlook("HOME", history, CITRUS, since=since, today=today)


def asked(history: History, lot: LotFacts = LOT, needs: Requirement = NEEDS) -> ReadyDate:
    return ready_date(lot, at(history), needs)


def test_the_first_day_that_reaches_it() -> None:
    """At 23 C a day gives 10 Cd: 30 days of May from the 2nd on give 300, 20 more are needed."""
    got = asked(weather({2023: 23, 2024: 23}))
    assert (got.accumulated, got.needed) == (300, 500)
    assert got.expected == date(2025, 6, 20)
    assert (got.earliest, got.latest, got.n_years) == (got.expected, got.expected, 2)
    assert (got.phase, got.counted_from, got.gap_days) == ("grafted", date(2025, 5, 1), 0)
    assert (got.method, got.cutoff, got.lower_c, got.upper_c) == (
        "single_sine",
        "horizontal",
        13,
        35,
    )
    assert (got.basis, got.basis_n) == ("weak prior", 0)
    assert "weak prior" in got.remarks[0]


def test_a_read_push_counts_anew() -> None:
    """From the push on 22 May nine days of 10 Cd are behind, 31 of 400 Cd's 40 days are ahead."""
    got = asked(weather({2023: 23, 2024: 23}), replace(LOT, pushed_on=date(2025, 5, 22)))
    assert (got.phase, got.counted_from, got.needed, got.accumulated) == (
        "pushed",
        date(2025, 5, 22),
        400,
        90,
    )
    assert got.expected == date(2025, 7, 1)


def test_a_push_without_its_own_requirement_changes_nothing() -> None:
    whole = replace(NEEDS, grafted_to_push=None, pushed_to_ready=None)
    history = weather({2023: 23, 2024: 23})
    got = asked(history, replace(LOT, pushed_on=date(2025, 5, 22)), whole)
    assert (got.phase, got.expected) == ("grafted", date(2025, 6, 20))


def test_the_range_is_that_of_past_years() -> None:
    """Years at 33, 23 and 18 C give 20, 10 and 5 Cd a day: with 150 behind, 350 are ahead."""
    got = asked(weather({2022: 33, 2023: 23, 2024: 18}))
    assert got.accumulated == 150
    assert got.earliest == TODAY + 17 * DAY
    assert got.latest == TODAY + 69 * DAY
    assert got.earliest < got.expected < got.latest
    # The mean year gives 35/3 Cd a day, less where the window reaches over the year's end.
    assert abs((got.expected - (TODAY + 29 * DAY)).days) <= 1
    assert "earliest to the latest of 3 past years" in got.remarks[-1]


def test_from_ten_years_on_the_range_leaves_out_the_edges() -> None:
    years = {2025 - n: 23.0 for n in range(1, 11)} | {2015: 33.0, 2016: 15.0}
    got = asked(weather(years))
    assert got.n_years == 10
    assert got.earliest == got.latest == date(2025, 6, 20)
    assert "leaves out the 1 earliest and 1 latest of 10" in got.remarks[-1]


def test_one_past_year_gives_no_range_and_says_so() -> None:
    got = asked(weather({2024: 23}))
    assert got.expected == date(2025, 6, 20)
    assert (got.earliest, got.latest, got.n_years) == (None, None, 1)
    assert got.remarks[-1] == "No range: 1 past year on record, at least 2 are needed."


def test_reached_already() -> None:
    got = asked(weather({2023: 23, 2024: 23}), replace(LOT, grafted_on=date(2025, 3, 1)))
    assert got.expected == got.earliest == got.latest == date(2025, 4, 20)
    assert got.accumulated == 910
    assert "reached on 2025-04-20" in got.remarks[-1]


@pytest.mark.parametrize(("needed", "day"), [(300, date(2025, 5, 31)), (301, TODAY)])
def test_yesterday_and_today_meet(needed: float, day: date) -> None:
    needs = replace(NEEDS, grafted_to_ready=Need(needed, "", ""))
    assert asked(weather({2023: 23, 2024: 23}), LOT, needs).expected == day


@pytest.mark.parametrize("later", [0, 1, 9])
def test_grafted_today_or_dated_ahead(later: int) -> None:
    lot = replace(LOT, grafted_on=TODAY + later * DAY)
    got = asked(weather({2023: 23, 2024: 23}), lot)
    assert got.accumulated == 0
    assert got.expected == got.earliest == TODAY + (50 + later) * DAY


def test_no_weather() -> None:
    got = asked({})
    assert (got.expected, got.earliest, got.latest, got.accumulated) == (None,) * 4
    assert got.remarks == ("Site HOME has no temperatures on record.",)


def test_unknown_day_of_grafting() -> None:
    got = asked(weather({2024: 23}), replace(LOT, grafted_on=None))
    assert got.expected is None
    assert "day of grafting is not known" in got.remarks[0]


def test_days_behind_that_nothing_can_fill() -> None:
    history = {day: pair for day, pair in weather({2024: 23}).items() if day > date(2025, 5, 20)}
    got = asked(history)
    assert got.expected is None
    assert got.remarks[0].startswith("16 days since 2025-05-01 have no temperature")


def test_seasons_ahead_that_are_not_on_record() -> None:
    history = {day: pair for day, pair in weather({2024: 23}).items() if day > date(2025, 4, 1)}
    got = asked(history)
    assert got.expected is None
    assert got.accumulated == 300
    assert "does not cover all times of the year" in got.remarks[-1]


def test_too_cold_for_ever() -> None:
    got = asked(weather({2023: 8, 2024: 8}))
    assert got.expected is None
    assert "Not reached within" in got.remarks[-1]


def test_a_year_that_never_reaches_it_leaves_the_late_end_open() -> None:
    got = asked(weather({2022: 23, 2023: 8, 2024: 23}))
    assert got.expected is not None
    assert got.earliest is not None
    assert got.latest is None
    assert "In 1 of them" in got.remarks[-1]


def test_filled_days_are_counted_and_said() -> None:
    history = weather({2023: 23, 2024: 23})
    for day in (date(2025, 5, 10), date(2025, 5, 30), date(2025, 5, 31)):
        del history[day]
    got = asked(history)
    assert (got.gap_days, got.accumulated) == (3, 300)
    assert "1 missing day was filled between neighbours." in got.remarks
    assert "2 missing days were filled by the site's mean of the time of year." in got.remarks


def test_thermal_time_is_never_mixed() -> None:
    other = replace(NEEDS, thresholds=Thresholds(13, 35, Method.SIMPLE_AVERAGE))
    with pytest.raises(ValueError, match="another method"):
        asked(weather({2024: 23}), LOT, other)
    with pytest.raises(ValueError, match="weather begins"):
        ready_date(LOT, at(weather({2024: 23}), since=TODAY), NEEDS)


# --- Requirements ---------------------------------------------------------------------------------
def test_a_method_of_its_own_or_the_crops() -> None:
    micro, plain = requirement_for("citrus", "micro_bud"), requirement_for("citrus", "chip_bud")
    assert micro is not None
    assert plain is not None
    assert micro.graft_method == "micro_bud"
    assert plain.graft_method is None
    assert requirement_for("citrus", None) == plain
    assert requirement_for("fig", "t_bud") is None


@pytest.mark.parametrize(
    "each", REQUIREMENTS.values(), ids=lambda each: str(f"{each.crop}-{each.graft_method}")
)
def test_every_requirement_says_what_it_is(each: Requirement) -> None:
    parts = [each.grafted_to_ready, each.grafted_to_push, each.pushed_to_ready]
    for need in filter(None, parts):
        assert need.source
        assert need.derived
        assert need.degree_days > 0
        assert (need.basis, need.n) == ("weak prior", 0)
    assert each.thresholds_source
    assert each.thresholds.method is Method.SINGLE_SINE
    if each.grafted_to_push and each.pushed_to_ready:
        assert each.grafted_to_push.degree_days + each.pushed_to_ready.degree_days == (
            each.grafted_to_ready.degree_days
        )


def test_citrus_by_the_calendar_it_was_worked_out_from() -> None:
    """24 weeks at a mean of 27 C (Olaniyan et al., Nigeria; the mean assumed): within a week."""
    history = weather({2023: 27, 2024: 27})
    needs = requirement_for("citrus", "t_bud")
    assert needs is not None
    got = ready_date(replace(LOT, grafted_on=TODAY), at(history), needs)
    assert got.expected is not None
    assert abs((got.expected - (TODAY + timedelta(weeks=24))).days) <= 7
