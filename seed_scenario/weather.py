"""The weather at the three sites: a season's wave, spells that last, a day's own range.

A day's mean is the season's (one cosine a year) plus a deviation that is an AR(1) process, so warm
and cold spells last some days. Half of the day's range is lognormal around the site's usual, its
logarithm an AR(1) process too (clear days follow clear days). Minimum and maximum lie half a range
below and above the mean. Sites are independent of each other.
"""

import math
import random
from bisect import bisect_left
from datetime import date, timedelta
from itertools import accumulate

import msgspec

from service.forecast.degree_days import Cutoff, Method, daily

# Before the first day told the process runs itself in, so that day one is like any other.
_RUN_IN = 60


class Climate(msgspec.Struct, frozen=True):
    """What the weather of a site is drawn from. Temperatures are degrees Celsius, in the house
    where the trees stand (Eldra Fields: in the field).

    `mean_c` and `swing_c`: yearly mean and half swing of the day's mean; `warmest_day`: day of the
    year. `spell_sd_c` and `spell_kept`: standard deviation of the deviation and the share of it
    that the next day keeps (lag-1 autocorrelation). `half_range_c`: median of half a day's range;
    `range_sd` and `range_kept`: the same two for its logarithm.
    """

    mean_c: float
    swing_c: float
    warmest_day: int
    spell_sd_c: float
    spell_kept: float
    half_range_c: float
    range_sd: float
    range_kept: float

    def usual_c(self, day: date) -> float:
        """The season's mean of a day."""
        turn = 2 * math.pi * (day.timetuple().tm_yday - self.warmest_day) / 365.25
        return self.mean_c + self.swing_c * math.cos(turn)


class Heat(msgspec.Struct, frozen=True):
    """A way of counting degree-days: single sine, horizontal cutoff, between two thresholds."""

    lower_c: float
    upper_c: float


class Weather:
    """The daily minima and maxima of a site from `first` to `last`, drawn once from a seed."""

    def __init__(self, site: str, climate: Climate, first: date, last: date, seed: int) -> None:
        self.first, self.last = first, last
        self.days = _drawn(climate, first, last, random.Random(f"weather {site} {seed}"))
        self._sums: dict[Heat, list[float]] = {}

    def on(self, day: date) -> tuple[float, float]:
        """Minimum and maximum of a day."""
        _, low, high = self.days[(day - self.first).days]
        return low, high

    def reached(self, heat: Heat, after: date, wanted: float) -> date | None:
        """The day on which so many degree-days have come together since the end of `after`.

        None where that lies beyond the last day drawn.
        """
        sums = self._sums.get(heat)
        if sums is None:
            sums = self._sums[heat] = list(accumulate(_degree_days(heat, day) for day in self.days))
        found = bisect_left(sums, sums[(after - self.first).days] + wanted)
        return self.first + timedelta(days=found) if found < len(sums) else None


def _degree_days(heat: Heat, day: tuple[date, float, float]) -> float:
    return daily(
        Method.SINGLE_SINE,
        Cutoff.HORIZONTAL,
        minimum=day[1],
        maximum=day[2],
        lower=heat.lower_c,
        upper=heat.upper_c,
    )


def _drawn(
    climate: Climate, first: date, last: date, chance: random.Random
) -> list[tuple[date, float, float]]:
    spell = wide = 0.0
    spell_step = climate.spell_sd_c * math.sqrt(1 - climate.spell_kept**2)
    wide_step = climate.range_sd * math.sqrt(1 - climate.range_kept**2)
    found = []
    for number in range(-_RUN_IN, (last - first).days + 1):
        spell = climate.spell_kept * spell + chance.gauss(0, spell_step)
        wide = climate.range_kept * wide + chance.gauss(0, wide_step)
        if number >= 0:
            day = first + timedelta(days=number)
            mean, half = climate.usual_c(day) + spell, climate.half_range_c * math.exp(wide)
            found.append((day, round(mean - half, 1), round(mean + half, 1)))
    return found
