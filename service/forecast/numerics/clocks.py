"""Thermal clocks: how many degree-days a site gave a crop between two days of its record.

A clock belongs to a site and a way of counting. Days are ordinals; degree-days are in Cd. A count
"from day a to day b" leaves out day a and holds the whole of day b.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.forecast.degree_days import Method
from service.forecast.numerics.thermal import carried, degree_days, filled
from service.forecast.requirements import Thresholds, requirement_for
from service.forecast.shapes import Known, SiteWeather

Floats = NDArray[np.float64]
Days = NDArray[np.int64]

HOURLY_FROM_SHARE = 0.9
"""A site counts by the hour when so large a share of its newest days was read by the hour."""
NEWEST_DAYS = 400


@dataclass(frozen=True)
class Clock:
    """The degree-days of a site's record for one crop.

    `running[n]`: all from the record's beginning to the end of the day before `first + n`; one more
    than there are days. NaN from the first day on that has no record and cannot be filled.
    `missing` runs along: days that were filled. `by_day`: each day's, filled. `years`: how many
    years of days were read.
    """

    site: str
    crop: str
    counting: Thresholds
    first: int
    running: Floats
    missing: Floats
    by_day: Floats
    years: float

    @property
    def today(self) -> int:
        """The first day after the record."""
        return self.first + len(self.by_day)

    def between(self, after: Days, through: Days) -> Floats:
        """Degree-days from the end of `after` to the end of `through`; NaN outside the record."""
        return self._at(self.running, through) - self._at(self.running, after)

    def filled_between(self, after: Days, through: Days) -> Floats:
        """Days of that stretch that had no record."""
        return self._at(self.missing, through) - self._at(self.missing, after)

    def _at(self, running: Floats, day: Days) -> Floats:
        index = np.asarray(day) + 1 - self.first
        inside = (index >= 0) & (index < len(running))
        return np.where(inside, running[np.clip(index, 0, len(running) - 1)], np.nan)


def clock_of(weather: SiteWeather, crop: str, thresholds: Thresholds) -> Clock:
    """The clock of a crop at a site: by the hour where nearly all newest days allow it.

    A day without enough hours is counted by the sine then, and one without any record is filled,
    as `thermal.filled` and `thermal.carried` say.
    """
    low, high = np.asarray(weather.low, float), np.asarray(weather.high, float)
    by_sine = degree_days(low, high, thresholds)
    counting, values = thresholds, by_sine
    hours = weather.hourly.get(crop)
    if hours is not None and counts_by_the_hour(hours):
        by_hour = np.asarray(hours, float)
        values = np.where(np.isnan(by_hour), by_sine, by_hour)
        counting = Thresholds(
            thresholds.lower_c, thresholds.upper_c, Method.HOURLY_SUM, thresholds.cutoff
        )
    by_day = carried(filled(values, weather.first).values)
    return Clock(
        weather.site,
        crop,
        counting,
        weather.first,
        np.concatenate([[0.0], np.cumsum(by_day)]),
        np.concatenate([[0.0], np.cumsum(np.isnan(values).astype(float))]),
        by_day,
        float(np.count_nonzero(~np.isnan(values))) / 365.25,
    )


def way_of(known: Known, crop: str) -> Thresholds | None:
    """How the degree-days of a crop are counted from extremes; None where nobody says."""
    stated: Thresholds | None = known.ways.get(crop)
    wanted = requirement_for(crop, None)
    return stated or (wanted.thresholds if wanted else None)


def counts_by_the_hour(hours: list[float]) -> bool:
    """Whether nearly all of the newest days were read by the hour."""
    newest = np.asarray(hours[-NEWEST_DAYS:], float)
    read = int(np.count_nonzero(~np.isnan(newest)))
    return len(newest) == NEWEST_DAYS and read >= HOURLY_FROM_SHARE * NEWEST_DAYS


@dataclass(frozen=True)
class Clocks:
    """Every clock, by site and crop."""

    by: Mapping[tuple[str, str], Clock]

    def between(self, sites: list[str], crop: str, after: Days, through: Days) -> Floats:
        """Row by row at each row's site; NaN where that has no clock for the crop."""
        found = np.full(len(sites), np.nan)
        names = np.asarray(sites, dtype=object)
        for site in set(sites):
            clock = self.by.get((site, crop))
            if clock is not None:
                here = names == site
                found[here] = clock.between(after[here], through[here])
        return found
