"""Degree-days of one day from its minimum and maximum temperature.

Temperatures in, degree-days out, in one and the same unit: the service uses degrees Celsius
(degree-days in Cd); the formulas hold for Fahrenheit alike.

Sources of the formulas:

- single and double sine and triangle, their six cases and cutoffs: Zalom, Goodell, Wilson,
  Barnett & Bentley 1983, *Degree-days: the calculation and use of heat units in pest management*,
  University of California Leaflet 21373; the sine after Baskerville & Emin 1969, Ecology
  50:514-517, and Allen 1976, Environmental Entomology 5:388-396;
- simple and modified average: methods 1 and 2 of McMaster & Wilhelm 1997, Agricultural and Forest
  Meteorology 87:291-300.

The six cases (whole day above the upper threshold, whole day below the lower one, whole day
between, crossing the lower, crossing the upper, crossing both) are not written out. All follow
from one quantity, the area of the day's curve above a threshold, taken at the lower threshold and
again at the upper: horizontal cutoff is `above(lower) - above(upper)`. The tests write the six
cases out and compare.

A requirement of degree-days holds only for the method and cutoff that it was learned with.
"""

import math
from enum import Enum


class Method(Enum):
    """How a day's temperatures between its minimum and maximum are imagined."""

    SINGLE_SINE = "single_sine"
    DOUBLE_SINE = "double_sine"
    SINGLE_TRIANGLE = "single_triangle"
    DOUBLE_TRIANGLE = "double_triangle"
    SIMPLE_AVERAGE = "simple_average"
    MODIFIED_AVERAGE = "modified_average"
    HOURLY_SUM = "hourly_sum"
    """Nothing is imagined: the hours that a logger read are summed."""


class Cutoff(Enum):
    """What warmth above the upper threshold does.

    `HORIZONTAL`: growth goes on at the rate of the threshold. `INTERMEDIATE`: it slows by as much
    as the threshold is passed. `VERTICAL`: it stands still.
    """

    HORIZONTAL = "horizontal"
    INTERMEDIATE = "intermediate"
    VERTICAL = "vertical"


def daily(
    method: Method,
    cutoff: Cutoff = Cutoff.HORIZONTAL,
    *,
    minimum: float,
    maximum: float,
    lower: float,
    upper: float = math.inf,
    next_minimum: float | None = None,
) -> float:
    """Degree-days of one day, never below zero, at most `upper - lower`.

    `next_minimum` is tomorrow's minimum and matters to the double methods only, which take the
    day's second half from today's maximum down to it; left out (the last day of a record), today's
    minimum stands in. Where tomorrow's minimum is above today's maximum the second half rises
    between the two.

    Raises ValueError when the minimum is above the maximum, the lower threshold is not below the
    upper, a temperature is not a finite number, the modified average is asked for with another
    cutoff than the horizontal, which it has built in, or hours are to be summed.
    """
    _refuse_nonsense(minimum, maximum, lower, upper)
    if method is Method.SINGLE_SINE or method is Method.SINGLE_TRIANGLE:
        return _half(method, cutoff, minimum, maximum, lower, upper)
    if method is Method.DOUBLE_SINE or method is Method.DOUBLE_TRIANGLE:
        single = Method.SINGLE_SINE if method is Method.DOUBLE_SINE else Method.SINGLE_TRIANGLE
        second = minimum if next_minimum is None else next_minimum
        _refuse_nonsense(min(second, maximum), max(second, maximum), lower, upper)
        return (
            _half(single, cutoff, minimum, maximum, lower, upper)
            + _half(single, cutoff, min(second, maximum), max(second, maximum), lower, upper)
        ) / 2
    if method is Method.SIMPLE_AVERAGE:
        average = (minimum + maximum) / 2
        return _half(Method.SINGLE_TRIANGLE, cutoff, average, average, lower, upper)
    if method is Method.HOURLY_SUM:
        raise ValueError("hours are not summed from a minimum and a maximum")
    return _modified_average(cutoff, minimum, maximum, lower, upper)


def _refuse_nonsense(minimum: float, maximum: float, lower: float, upper: float) -> None:
    if not (math.isfinite(minimum) and math.isfinite(maximum) and math.isfinite(lower)):
        raise ValueError("temperatures and the lower threshold must be finite numbers")
    if minimum > maximum:
        raise ValueError(f"the minimum {minimum} is above the maximum {maximum}")
    if not lower < upper:
        raise ValueError(f"the lower threshold {lower} is not below the upper {upper}")


def _half(
    shape: Method,
    cutoff: Cutoff,
    minimum: float,
    maximum: float,
    lower: float,
    upper: float,
) -> float:
    """Degree-days of a day whose curve swings symmetrically between two temperatures.

    The cutoffs after Zalom et al. 1983: horizontal takes off what lies above the upper threshold;
    intermediate takes it off once more; vertical takes off the whole column that stands over the
    time spent above it.
    """
    above = _above_sine if shape is Method.SINGLE_SINE else _above_triangle
    degree_days = above(minimum, maximum, lower)[0]
    if maximum > upper:
        excess, share = above(minimum, maximum, upper)
        degree_days -= excess
        if cutoff is Cutoff.INTERMEDIATE:
            degree_days -= excess
        elif cutoff is Cutoff.VERTICAL:
            degree_days -= (upper - lower) * share
    return min(max(degree_days, 0.0), upper - lower)


def _above_sine(minimum: float, maximum: float, threshold: float) -> tuple[float, float]:
    """Area of the sine curve above a threshold (degree-days), and the share of the day there.

    Baskerville & Emin 1969: with mean A, amplitude a and t = asin((T - A) / a), the area is
    ((A - T)(pi/2 - t) + a cos t) / pi. A day without amplitude lies above the threshold or does
    not; the argument of asin is clamped, since rounding can carry it past 1.
    """
    mean, amplitude = (minimum + maximum) / 2, (maximum - minimum) / 2
    if minimum >= threshold:
        return mean - threshold, 1.0
    if maximum <= threshold or amplitude == 0:
        return 0.0, 0.0
    angle = math.asin(min(max((threshold - mean) / amplitude, -1.0), 1.0))
    area = ((mean - threshold) * (math.pi / 2 - angle) + amplitude * math.cos(angle)) / math.pi
    return area, 0.5 - angle / math.pi


def _above_triangle(minimum: float, maximum: float, threshold: float) -> tuple[float, float]:
    """Area of the triangle above a threshold (degree-days), and the share of the day there.

    Zalom et al. 1983: (M - T)^2 / (2 (M - m)) where the triangle crosses the threshold.
    """
    if minimum >= threshold:
        return (minimum + maximum) / 2 - threshold, 1.0
    if maximum <= threshold:
        return 0.0, 0.0
    share = (maximum - threshold) / (maximum - minimum)
    return (maximum - threshold) * share / 2, share


def _modified_average(
    cutoff: Cutoff, minimum: float, maximum: float, lower: float, upper: float
) -> float:
    """Method 2 of McMaster & Wilhelm 1997: the thresholds hold both temperatures first."""
    if cutoff is not Cutoff.HORIZONTAL:
        raise ValueError("the modified average knows the horizontal cutoff only")
    low = min(max(minimum, lower), upper)
    high = min(max(maximum, lower), upper)
    return (low + high) / 2 - lower
