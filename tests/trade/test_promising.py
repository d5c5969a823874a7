"""The arithmetic of a promise: against a published table, against looking at every single day."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.settings import Settings
from service.trade.promising import (
    LEVELS,
    PROMISED_AT,
    STEP_DAYS,
    Due,
    at_level,
    earliest,
    left,
    lefts,
    level_of,
    promise,
    steps_of,
    sure,
)
from service.variables import VARIABLES

# Blok, "Available to Promise inventory calculations": the published table. Eight periods; a lot
# comes in with every other one; the last line is what it gives as available out of each.
ON_HAND = 15
ORDERS = (18, 15, 27, 22, 10, 8, 6, 5)
COMING_IN = (40, 0, 40, 0, 40, 0, 40, 0)
PUBLISHED = (22, -9, 22, 29)


def test_a_published_table_of_what_is_available() -> None:
    there = [ON_HAND + sum(COMING_IN[: n + 1]) for n in range(8)]
    steps = steps_of(0, there)
    due = [Due(STEP_DAYS * n, count) for n, count in enumerate(ORDERS)]
    # What is available of a receipt is left in the last of its two periods beside what was before.
    for pair in range(4):
        last = 2 * pair + 1
        of_pairs = left(steps[: last + 1], due[: last + 1], STEP_DAYS * last)
        assert of_pairs == sum(PUBLISHED[: pair + 1])
    # What a later period is short of is kept back from what is there earlier.
    kept = [min(sum(PUBLISHED[:n]) for n in range(pair + 1, 5)) for pair in range(4)]
    assert [promise(steps, due, STEP_DAYS * n) for n in range(8)] == [
        kept[n // 2] for n in range(8)
    ]
    assert kept == [13, 13, 35, 64]


QUANTITIES = st.lists(st.integers(-20, 80), min_size=1, max_size=6)
CLAIMS = st.lists(st.builds(Due, st.integers(0, 60), st.integers(0, 40)), max_size=6)


def day_by_day(first: int, quantities: list[int], gone: int, due: list[Due], day: int) -> int:
    """The least that is left on `day` or any later one on which something is due."""
    return min(
        quantities[min(max(each - first, 0) // STEP_DAYS, len(quantities) - 1)]
        - gone
        - sum(one.quantity for one in due if one.day <= each)
        for each in range(day, 200)
        if each == day or each in {one.day for one in due}
    )


@given(st.integers(0, 10), QUANTITIES, st.integers(-5, 30), CLAIMS, st.integers(10, 70))
def test_it_is_the_least_of_the_day_and_each_later_one_that_something_is_due(
    first: int, quantities: list[int], gone: int, due: list[Due], day: int
) -> None:
    steps = steps_of(first, quantities, gone)
    slowly = day_by_day(first, quantities, gone, due, day)
    assert left(steps, due, day) == slowly
    assert promise(steps, due, day) == max(0, slowly)


@given(st.integers(0, 10), QUANTITIES, CLAIMS)
def test_many_days_asked_at_once_are_each_answered_alone(
    first: int, quantities: list[int], due: list[Due]
) -> None:
    steps, days = steps_of(first, quantities), list(range(75))
    assert lefts(steps, due, days) == [left(steps, due, day) for day in days]


@given(QUANTITIES, CLAIMS, st.integers(0, 70))
def test_where_supply_never_falls_it_is_the_least_of_every_later_day(
    quantities: list[int], due: list[Due], day: int
) -> None:
    rising = sorted(quantities)
    there = [rising[min(each // STEP_DAYS, len(rising) - 1)] for each in range(200)]
    each_day = [
        there[each] - sum(one.quantity for one in due if one.day <= each)
        for each in range(day, 200)
    ]
    assert left(steps_of(0, rising), due, day) == min(each_day)


def test_trees_that_may_die_unsold_later_can_be_promised_today() -> None:
    steps = steps_of(0, [37, 35, 33, 30])
    assert promise(steps, [], 0) == 37
    # What is promised for later is kept back.
    assert promise(steps, [Due(15, 20)], 0) == 13


@given(QUANTITIES, CLAIMS, st.integers(1, 60), st.integers(0, 40))
def test_the_earliest_day_is_the_first_that_has_enough(
    quantities: list[int], due: list[Due], wanted: int, today: int
) -> None:
    steps = steps_of(0, quantities)
    days = [day for day in range(today, 200) if promise(steps, due, day) >= wanted]
    assert earliest(steps, due, wanted, today) == (days[0] if days else None)


def test_a_confidence_between_two_counts_as_the_surer_one() -> None:
    assert [LEVELS[level_of(asked)] for asked in (0.5, 0.55, 0.8, 0.81, 0.99)] == [
        *(0.5, 0.6, 0.8, 0.85, 0.99)
    ]
    with pytest.raises(ValueError, match="surer"):
        level_of(0.995)


def test_one_level_is_taken_out_of_all_that_are_stored() -> None:
    flat = [100 * step + n for step in range(3) for n in range(len(LEVELS))]
    assert list(at_level(flat, 4)) == [4, 104, 204]


def test_confidences_in_a_clerks_words() -> None:
    words = {0.8: "8 in 10", 0.5: "5 in 10", 0.75: "75 in 100", 0.99: "99 in 100"}
    assert {asked: sure(asked) for asked in words} == words
    assert sure(0.975) == "975 in 1000"


def test_the_setting_goes_by_what_is_told() -> None:
    # Settings stand below the trade, so they name the figures once more.
    assert Settings(data_dir=Path("/tmp")).promise_confidence == PROMISED_AT
    variable = next(one for one in VARIABLES if one.field == "promise_confidence")
    for confidence in (LEVELS[0], PROMISED_AT, LEVELS[-1]):
        assert variable.read(str(confidence)) == confidence
    for beyond in ("0.49", "0.995"):
        with pytest.raises(ValueError):  # noqa: PT011 - it says nothing: settings word it
            variable.read(beyond)
