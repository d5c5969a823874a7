"""Lots that are learned from together: of one crop and requirement, by one way of counting.

A group's lots have a clock each: the day with whose end the count of degree-days begins.
"""

import calendar
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from service.forecast.numerics.clocks import Clock
from service.forecast.requirements import DECIDUOUS, Requirement, Thresholds, requirement_for
from service.forecast.shapes import Known

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

SEASONS = ("winter", "spring", "summer", "autumn")
REST_ENDS: tuple[int, ...] = (0, 1, 2, 3)
"""Months (north) with whose first day the rest of buds set in summer may end; 0: they do not rest.
"""
REST_ENDS_BELIEVED = 1


@dataclass(frozen=True)
class Group:
    """Lots of a crop with one requirement and one way of counting.

    lots: int[L], of `Known.lots`. factors: by name, the level of each lot; `names` of the levels.
    site_clock: by site. `at`: position in the group of every lot of `Known`, -1 for others.
    """

    crop: str
    requirement: Requirement | None
    counting: Thresholds
    lots: Ints
    at: Ints
    sites: list[str]
    grafted_on: Ints
    forced_on: Ints
    resting: Flags
    south: Flags
    factors: Mapping[str, Ints]
    names: Mapping[str, list[str]]
    clocks: Mapping[str, Clock]

    @property
    def key(self) -> str:
        """A name that no other group has."""
        special = self.requirement.graft_method if self.requirement else None
        return f"{self.crop}/{special or ''}/{self.counting}"

    def level(self, factor: str, name: str) -> int:
        """The level of a name; -1 where no lot of the group has it."""
        names = self.names[factor]
        return names.index(name) if name in names else -1

    def between(self, lots: Ints, after: Ints, through: Ints) -> Floats:
        """Degree-days at the site where each lot was grafted; NaN where its record has none."""
        found = np.full(len(lots), np.nan)
        site_of = self.factors["site"][lots]
        for level, site in enumerate(self.names["site"]):
            here = site_of == level
            if here.any():
                found[here] = self.clocks[site].between(after[here], through[here])
        return found

    def begins(self, rest_ends: int) -> Ints:
        """The day after which each lot's degree-days count; 0 where it was grafted nobody knows
        when."""
        if not rest_ends or not self.resting.any():
            return self.grafted_on
        rested = [
            rest_end(int(day), rest_ends, bool(south)) if resting else int(day)
            for day, resting, south in zip(self.grafted_on, self.resting, self.south, strict=True)
        ]
        return np.array(rested, np.int64)


def rest_end(grafted_on: int, month: int, south: bool) -> int:
    """The first day of the month (half a year later in the south) that follows a grafting."""
    day = date.fromordinal(grafted_on)
    month = (month + 5) % 12 + 1 if south else month
    end = date(day.year, month, 1)
    return (end if end > day else date(day.year + 1, month, 1)).toordinal()


def rests(crop: str, grafted_on: int, south: bool) -> bool:
    """Whether buds set then sleep until the next spring: of deciduous crops, after midsummer."""
    if crop not in DECIDUOUS or not grafted_on:
        return False
    return (date.fromordinal(grafted_on).month > 6) != south


def season_of(grafted_on: int, south: bool) -> int:
    """Index of `SEASONS`; -1 where the day is not known."""
    if not grafted_on:
        return -1
    return (date.fromordinal(grafted_on).month % 12 // 3 + (2 if south else 0)) % 4


def month_name(month: int, south: bool) -> str:
    """The first day of a northern month, in words, as it is where the site lies."""
    return f"1 {calendar.month_name[(month + 5) % 12 + 1 if south else month]}"


def grouped(known: Known, clocks: Mapping[tuple[str, str], Clock]) -> list[Group]:
    """The lots by crop, requirement and way of counting; those of an unknown crop are in none."""
    lots = known.lots
    south = {site.site: site.south for site in known.sites}
    members: dict[tuple[str, str, Thresholds], list[int]] = {}
    of_crop: dict[tuple[str, str], Requirement | None] = {}
    for number, (crop, method, site) in enumerate(
        zip(lots.crop, lots.method, lots.site, strict=True)
    ):
        clock = clocks.get((site, crop))
        if clock is None:
            continue
        if (crop, method) not in of_crop:
            of_crop[crop, method] = requirement_for(crop, method or None, known.ways.get(crop))
        wanted = of_crop[crop, method]
        special = (wanted.graft_method if wanted else None) or ""
        members.setdefault((crop, special, clock.counting), []).append(number)
    return [
        _group(known, crop, special, counting, numbers, clocks, south)
        for (crop, special, counting), numbers in sorted(members.items(), key=str)
    ]


def _group(
    known: Known,
    crop: str,
    special: str,
    counting: Thresholds,
    numbers: list[int],
    clocks: Mapping[tuple[str, str], Clock],
    south: Mapping[str, bool],
) -> Group:
    lots, members = known.lots, np.array(numbers, np.int64)
    at = np.full(len(lots.code), -1, np.int64)
    at[members] = np.arange(len(members))
    sites = [lots.site[n] for n in numbers]
    grafted_on = np.array([lots.grafted_on[n] for n in numbers], np.int64)
    lies_south = np.array([south.get(site, False) for site in sites], bool)
    levels, names = {}, {}
    for factor, values in (
        ("method", [lots.method[n] for n in numbers]),
        ("site", sites),
        ("grafter", [lots.grafter[n] for n in numbers]),
    ):
        names[factor] = sorted(set(values) - {""})
        index = {name: level for level, name in enumerate(names[factor])}
        levels[factor] = np.array([index.get(value, -1) for value in values], np.int64)
    names["season"] = list(SEASONS)
    when = list(zip(grafted_on, lies_south, strict=True))
    levels["season"] = np.array([season_of(int(d), bool(s)) for d, s in when], np.int64)
    here = set(names["site"])
    return Group(
        crop=crop,
        requirement=requirement_for(crop, special or None, known.ways.get(crop)),
        counting=counting,
        lots=members,
        at=at,
        sites=sites,
        grafted_on=grafted_on,
        forced_on=np.array([lots.forced_on[n] for n in numbers], np.int64),
        resting=np.array([rests(crop, int(d), bool(s)) for d, s in when], bool),
        south=lies_south,
        factors=levels,
        names=names,
        clocks={site: clock for (site, of), clock in clocks.items() if of == crop and site in here},
    )
