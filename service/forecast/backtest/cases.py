"""Past forecasts of lots, and past promises, each beside what came of it.

Days are ordinals, 0 where there is none.
"""

from collections.abc import Sequence

import msgspec

from service.forecast.backtest.hindsight import Stand, coming, middle_day
from service.forecast.backtest.outcomes import Outcomes
from service.forecast.backtest.plain import FirstForecast, calendar_days
from service.forecast.shapes import LEVELS, Foretold, Known, LotTold
from service.trade.promising import at_level, promise, steps_of

LEADS = (90, 60, 30)
"""How many days ahead forecasts and promises are scored."""
BEYOND = 10**7
"""Later than any day: a P80 beyond the forecast's horizon."""


class Case(msgspec.Struct, frozen=True, kw_only=True):
    """A lot at a site as it was forecast on `today`: when half of what would be ready was.

    `true`: when it was. `calendar`, `first`: what the calendar's average and the first forecast
    said. `ready` (`ready_low` to `ready_high`): how many were expected, `came`: became ready.
    """

    lot: str
    site: str
    crop: str
    method: str
    phase: str
    today: int
    p20: int
    p50: int
    p80: int
    true: int
    calendar: int
    first: int
    trees: int
    ready: float
    ready_low: int
    ready_high: int
    came: int

    @property
    def lead(self) -> int:
        """Days ahead that it said."""
        return self.p50 - self.today


class Promise(msgspec.Struct, frozen=True, kw_only=True):
    """So many of an item that could be promised on `today` for a `date` at a confidence.

    `came`: how many there truly were; `ready_now`: were booked as ready on `today`.
    """

    cultivar: str
    rootstock: str
    size: str
    grade: str
    site: str
    today: int
    date: int
    confidence: float
    promised: int
    came: float
    ready_now: int


class Unscored(msgspec.Struct):
    """How many were left out, and why."""

    not_told: int = 0
    no_outcome: int = 0
    at_several_sites: int = 0
    promises: int = 0


def cases_of(known: Known, told: Foretold, outcomes: Outcomes, left_out: Unscored) -> list[Case]:
    """The forecasts of a day that can be scored."""
    today = {weather.site: weather.today for weather in known.sites}
    by_calendar, first = calendar_days(known), FirstForecast(known)
    sites: dict[int, int] = {}
    for one in told.lots:
        sites[one.lot] = sites.get(one.lot, 0) + 1
    cases = []
    for one in told.lots:
        fates = outcomes.get(known.lots.code[one.lot])
        day = today[one.site]
        true = middle_day(fates, day - 1) if fates is not None else None
        if sites[one.lot] > 1:
            left_out.at_several_sites += 1
        elif fates is None or true is None:
            left_out.no_outcome += 1
        elif not one.p50:
            left_out.not_told += 1
        else:
            came = coming(fates, day - 1)
            average = by_calendar.get(known.lots.crop[one.lot])
            cases.append(_case(known, one, day, true, came, average, first.day(one)))
    return cases


def _case(
    known: Known,
    told: LotTold,
    today: int,
    true: int,
    came: int,
    average: float | None,
    first: int | None,
) -> Case:
    lots, lot = known.lots, told.lot
    grafted, calendar = lots.grafted_on[lot], 0
    if average is not None and grafted:
        # Nobody who sees the lot unready says that it was ready last week.
        calendar = max(round(grafted + average), today)
    return Case(
        lot=lots.code[lot],
        site=told.site,
        crop=lots.crop[lot],
        method=lots.method[lot],
        phase=told.phase,
        today=today,
        p20=told.p20 or told.p50,
        p50=told.p50,
        p80=told.p80 or BEYOND,
        true=true,
        calendar=calendar,
        first=first or 0,
        trees=told.trees,
        ready=told.ready,
        ready_low=told.ready_low,
        ready_high=told.ready_high,
        came=came,
    )


def promises_of(
    known: Known, told: Foretold, outcomes: Outcomes, left_out: Unscored
) -> list[Promise]:
    """What could be promised of each item on a day, for each lead and confidence.

    Sales and reservations are taken off neither what is promised nor what came.
    """
    today = max((weather.today for weather in known.sites), default=0)
    stand = Stand(known, outcomes, today - 1)
    found = []
    for row in told.supply:
        item = (row.cultivar, row.rootstock, row.size, row.grade, row.site)
        ready_now = stand.ready_now(item)
        flat = [quantity for step in row.quantities for quantity in step]
        for lead in LEADS:
            came = stand.came(item, today + lead)
            if came is None:
                left_out.promises += 1
                continue
            for level, confidence in enumerate(LEVELS):
                steps = steps_of(row.first, at_level(flat, level))
                found.append(
                    Promise(
                        cultivar=row.cultivar,
                        rootstock=row.rootstock,
                        size=row.size,
                        grade=row.grade,
                        site=row.site,
                        today=today,
                        date=today + lead,
                        confidence=confidence,
                        promised=promise(steps, (), today + lead),
                        came=came,
                        ready_now=ready_now,
                    )
                )
    return found


def first_within(cases: Sequence[Case], lead: int) -> list[Case]:
    """Of each lot the case in which it was first said to be ready in at most `lead` days.

    That day was known then: nothing is looked up ahead. Lots that were so near already on the
    first day that was looked at are left out: nobody knows since when.
    """
    begun = min((case.today for case in cases), default=0)
    seen: dict[tuple[str, str], Case | None] = {}
    for case in sorted(cases, key=lambda one: one.today):
        key = (case.lot, case.site)
        if key not in seen and case.lead <= lead:
            seen[key] = None if case.today == begun else case
    return [case for case in seen.values() if case is not None]


def before_true(cases: Sequence[Case], lead: int, every: int) -> list[Case]:
    """Of each lot the case made `lead` days before it truly was ready, to within `every` days."""
    found: dict[tuple[str, str], Case] = {}
    for case in cases:
        off = abs(case.true - case.today - lead)
        key = (case.lot, case.site)
        if 2 * off <= every and (
            key not in found or off < abs(found[key].true - found[key].today - lead)
        ):
            found[key] = case
    return list(found.values())
