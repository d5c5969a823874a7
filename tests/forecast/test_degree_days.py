"""Degree-days against published tables, and against the curve itself summed finely."""

import math
from dataclasses import dataclass

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from service.forecast.degree_days import Cutoff, Method, daily

SINE, SINE_2 = Method.SINGLE_SINE, Method.DOUBLE_SINE
TRIANGLE, TRIANGLE_2 = Method.SINGLE_TRIANGLE, Method.DOUBLE_TRIANGLE
BY_RANGE = [method for method in Method if method is not Method.HOURLY_SUM]
WITH_CUTOFFS = [SINE, SINE_2, TRIANGLE, TRIANGLE_2, Method.SIMPLE_AVERAGE]


# --- Zalom, Goodell, Wilson, Barnett & Bentley 1983, UC Leaflet 21373, table 7: 55 and 90 F, -----
# horizontal cutoff. Case, minimum, maximum, next day's minimum, then single triangle, double
# triangle, single sine, double sine.
ZALOM_TABLE_7 = [
    (1, 96, 110, 91, 35.00, 35.00, 35.00, 35.00),
    (1, 91, 105, 96, 35.00, 35.00, 35.00, 35.00),
    (2, 45, 54, 38, 0.0, 0.0, 0.0, 0.0),
    (2, 38, 50, 45, 0.0, 0.0, 0.0, 0.0),
    (3, 60, 80, 75, 15.00, 18.75, 15.00, 18.75),
    (3, 75, 88, 60, 26.50, 22.75, 26.50, 22.75),
    (4, 50, 82, 45, 11.39, 10.62, 11.85, 11.31),
    (4, 45, 70, 50, 4.50, 5.06, 5.31, 5.70),
    (5, 60, 100, 75, 23.75, 24.88, 22.82, 26.26),
    (5, 75, 95, 60, 29.38, 25.76, 28.91, 25.30),
    (6, 50, 101, 48, 19.56, 19.19, 18.95, 18.69),
    (6, 48, 95, 50, 16.76, 17.13, 16.96, 17.23),
]
# The table's own double triangle of its first case-5 day cannot be: it must be the mean of the
# single triangles of (60, 100) = 23.75, in the table, and (75, 100) = 30.5.
MISPRINT = (60, 100, 75, TRIANGLE_2)
ZALOM_CELLS = [
    (case, low, high, following, method, value)
    for case, low, high, following, *values in ZALOM_TABLE_7
    for method, value in zip((TRIANGLE, TRIANGLE_2, SINE, SINE_2), values, strict=True)
]


@pytest.mark.parametrize(("case", "low", "high", "following", "method", "value"), ZALOM_CELLS)
def test_zalom_1983_table_7(
    case: int, low: float, high: float, following: float, method: Method, value: float
) -> None:
    got = daily(method, minimum=low, maximum=high, next_minimum=following, lower=55, upper=90)
    if (low, high, following, method) == MISPRINT:
        assert got == pytest.approx(27.125, abs=1e-9)
        assert abs(got - value) > 2
    else:
        # The table is printed to 0.01.
        assert got == pytest.approx(value, abs=0.0051)


# --- McMaster & Wilhelm 1997, Agric. For. Meteorol. 87:291-300, table 1: base 0 C ----------------
@pytest.mark.parametrize(
    ("high", "low", "method_1", "method_2"),
    [
        (20, 10, 15, 15),
        (10, 1, 5.5, 5.5),
        (8, -2, 3, 4),
        (6, 0, 3, 3),
        (10, 5, 7.5, 7.5),
        (5, -5, 0, 2.5),
        (-2, -7, 0, 0),
        (-5, -10, 0, 0),
        (10, -2, 4, 5),
        (15, 2, 8.5, 8.5),
    ],
)
def test_mcmaster_wilhelm_1997_table_1(
    high: float, low: float, method_1: float, method_2: float
) -> None:
    assert daily(Method.SIMPLE_AVERAGE, minimum=low, maximum=high, lower=0) == method_1
    assert daily(Method.MODIFIED_AVERAGE, minimum=low, maximum=high, lower=0) == method_2


# --- Values of the University of California's degree-day calculator (Davis), as quoted in the ----
# tests of an open agricultural weather package: minimum, maximum, lower, upper, Fahrenheit.
@pytest.mark.parametrize(
    ("method", "low", "high", "lower", "upper", "value"),
    [
        (SINE, 30, 45, 40, 90, 1.2712244),
        (SINE, 38, 100, 40, 90, 27.419432),
        (SINE, 63, 95, 40, 90, 38.1473627),
        (SINE, 47, 80, 40, 90, 23.5),
        (SINE, 90, 95, 40, 80, 40),
        (Method.SIMPLE_AVERAGE, 48, 71, 50, math.inf, 9.5),
        (Method.SIMPLE_AVERAGE, -10, 80, 30, math.inf, 5),
        (Method.MODIFIED_AVERAGE, 38, 100, 40, 90, 25),
        (Method.MODIFIED_AVERAGE, 63, 95, 40, 90, 36.5),
        (Method.MODIFIED_AVERAGE, 30, 45, 40, 90, 2.5),
    ],
)
def test_calculator_values(
    method: Method, low: float, high: float, lower: float, upper: float, value: float
) -> None:
    got = daily(method, minimum=low, maximum=high, lower=lower, upper=upper)
    assert got == pytest.approx(value, abs=1e-6)


# --- Properties -----------------------------------------------------------------------------------
LOWER, UPPER = 13.0, 35.0
temperature = st.floats(-40, 60).map(lambda value: round(value, 3))
method = st.sampled_from(BY_RANGE)


def dd(kind: Method, low: float, high: float, cutoff: Cutoff = Cutoff.HORIZONTAL) -> float:
    return daily(kind, cutoff, minimum=low, maximum=high, lower=LOWER, upper=UPPER)


@given(method, temperature, temperature, temperature)
def test_between_zero_and_the_span_of_the_thresholds(
    kind: Method, one: float, two: float, following: float
) -> None:
    low, high = sorted((one, two))
    got = daily(
        kind,
        minimum=low,
        maximum=high,
        next_minimum=following,
        lower=LOWER,
        upper=UPPER,
    )
    assert 0 <= got <= UPPER - LOWER


@given(method, temperature, temperature, st.floats(0, 10), st.floats(0, 10))
def test_a_warmer_day_never_counts_less(
    kind: Method, one: float, two: float, minimum_by: float, maximum_by: float
) -> None:
    low, high = sorted((one, two))
    assume(low + minimum_by <= high + maximum_by)
    assert dd(kind, low + minimum_by, high + maximum_by) >= dd(kind, low, high) - 1e-9


@given(
    method,
    st.sampled_from([LOWER, UPPER]),
    st.floats(0, 30),
    st.booleans(),
)
def test_cases_meet_at_their_boundaries(
    kind: Method, threshold: float, swing: float, minimum_moves: bool
) -> None:
    """A hair to either side of a threshold gives the same figure to within a hair."""
    hair = 1e-7
    values = []
    for nudge in (-hair, 0.0, hair):
        edge = threshold + nudge
        low, high = (
            (edge, threshold + swing + hair)
            if minimum_moves
            else (
                threshold - swing - hair,
                edge,
            )
        )
        values.append(dd(kind, low, high))
    assert max(values) - min(values) < 1e-5


def six_cases(low: float, high: float) -> float:
    """Single sine with horizontal cutoff as Zalom et al. 1983 write it, case by case."""
    mean, a = (low + high) / 2, (high - low) / 2
    if low >= UPPER:
        return UPPER - LOWER
    if high <= LOWER:
        return 0.0
    if low >= LOWER and high <= UPPER:
        return mean - LOWER
    t1 = math.asin((LOWER - mean) / a) if low < LOWER else -math.pi / 2
    if high <= UPPER:
        return ((mean - LOWER) * (math.pi / 2 - t1) + a * math.cos(t1)) / math.pi
    t2 = math.asin((UPPER - mean) / a)
    over = (UPPER - LOWER) * (math.pi / 2 - t2)
    if low >= LOWER:
        return ((mean - LOWER) * (t2 + math.pi / 2) + over - a * math.cos(t2)) / math.pi
    return ((mean - LOWER) * (t2 - t1) + a * (math.cos(t1) - math.cos(t2)) + over) / math.pi


@given(temperature, temperature)
def test_the_area_form_equals_the_six_cases(one: float, two: float) -> None:
    low, high = sorted((one, two))
    assert dd(SINE, low, high) == pytest.approx(six_cases(low, high), abs=1e-9)


@dataclass(frozen=True)
class Curve:
    """A day's curve, summed finely: what every formula stands for."""

    sine: bool
    cutoff: Cutoff

    def degree_days(self, low: float, high: float, steps: int = 4000) -> float:
        return (
            sum(self.rate(self.at(low, high, (step + 0.5) / steps)) for step in range(steps))
            / steps
        )

    def at(self, low: float, high: float, share: float) -> float:
        """Temperature from the minimum (share 0) to the maximum (share 1): half a swing will do."""
        if self.sine:
            return (low + high) / 2 - (high - low) / 2 * math.cos(math.pi * share)
        return low + (high - low) * share

    def rate(self, temperature: float) -> float:
        over = max(temperature - UPPER, 0.0)
        if self.cutoff is Cutoff.VERTICAL and over > 0:
            return 0.0
        held = min(temperature, UPPER) - LOWER
        return max(held, 0.0) - (over if self.cutoff is Cutoff.INTERMEDIATE else 0.0)


@pytest.mark.parametrize("cutoff", list(Cutoff))
@pytest.mark.parametrize("kind", [SINE, TRIANGLE])
@pytest.mark.parametrize(
    ("low", "high"),
    [
        (36, 44),
        (2, 12),
        (15, 30),
        (5, 21),
        (20, 43),
        (8, 41),
        (12.9, 13.1),
        (34, 36),
        (20, 20),
    ],
)
def test_formula_against_the_curve_summed(
    kind: Method, cutoff: Cutoff, low: float, high: float
) -> None:
    curve = Curve(kind is SINE, cutoff)
    expected = max(curve.degree_days(low, high), 0.0)
    # A vertical cutoff jumps by 22 degrees inside one step of the sum: 22 / 4000 at most.
    allowed = 0.006 if cutoff is Cutoff.VERTICAL else 1e-4
    assert dd(kind, low, high, cutoff) == pytest.approx(expected, abs=allowed)


@given(temperature, temperature)
def test_sine_against_the_curve_summed(one: float, two: float) -> None:
    low, high = sorted((one, two))
    summed = Curve(True, Cutoff.HORIZONTAL).degree_days(low, high, steps=500)
    assert dd(SINE, low, high) == pytest.approx(summed, abs=2e-3)


@given(st.sampled_from(WITH_CUTOFFS), temperature, temperature)
def test_a_harder_cutoff_never_counts_more(kind: Method, one: float, two: float) -> None:
    low, high = sorted((one, two))
    horizontal = dd(kind, low, high)
    assert dd(kind, low, high, Cutoff.INTERMEDIATE) <= horizontal
    assert dd(kind, low, high, Cutoff.VERTICAL) <= horizontal


# --- Guards ---------------------------------------------------------------------------------------
@pytest.mark.parametrize("kind", BY_RANGE)
@pytest.mark.parametrize(("still", "value"), [(10, 0), (13, 0), (20, 7), (35, 22), (40, 22)])
def test_a_day_without_swing(kind: Method, still: float, value: float) -> None:
    assert dd(kind, still, still) == value


def test_a_swing_too_small_to_halve() -> None:
    tiny = 5e-324
    assert daily(SINE, minimum=0.0, maximum=tiny, lower=tiny / 2 or 1e-320, upper=1.0) == 0
    assert daily(SINE, minimum=-tiny, maximum=tiny, lower=0.0, upper=1.0) < 1e-300


@pytest.mark.parametrize("kind", BY_RANGE)
def test_minimum_above_maximum_is_refused(kind: Method) -> None:
    with pytest.raises(ValueError, match="above the maximum"):
        dd(kind, 20, 19.9)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_no_number_is_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        dd(SINE, bad, bad)


def test_thresholds_the_wrong_way_round_are_refused() -> None:
    with pytest.raises(ValueError, match="not below"):
        daily(SINE, minimum=10, maximum=20, lower=35, upper=13)


def test_modified_average_refuses_other_cutoffs() -> None:
    with pytest.raises(ValueError, match="horizontal cutoff only"):
        dd(Method.MODIFIED_AVERAGE, 10, 20, Cutoff.VERTICAL)


def test_hours_are_not_summed_from_a_range() -> None:
    with pytest.raises(ValueError, match="not summed from a minimum"):
        dd(Method.HOURLY_SUM, 10, 20)


@given(temperature, temperature, temperature)
def test_double_sine_is_the_mean_of_two_halves(one: float, two: float, following: float) -> None:
    low, high = sorted((one, two))
    got = daily(
        SINE_2,
        minimum=low,
        maximum=high,
        next_minimum=following,
        lower=LOWER,
        upper=UPPER,
    )
    second = dd(SINE, *sorted((following, high)))
    assert got == pytest.approx((dd(SINE, low, high) + second) / 2)
    assert daily(SINE_2, minimum=low, maximum=high, lower=LOWER, upper=UPPER) == pytest.approx(
        dd(SINE, low, high)
    )
