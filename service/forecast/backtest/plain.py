"""What the forecast is measured against: the calendar's average, and the first forecast.

Both see the same as the forecast does, and no more.
"""

from collections import defaultdict
from datetime import date
from math import isnan

from service.forecast.backtest.first import LotFacts, ready_date
from service.forecast.backtest.first_weather import Outlook, outlook
from service.forecast.requirements import Thresholds, requirement_for
from service.forecast.shapes import Growths, Known, LotTold, SiteWeather

_RECORD_DAYS = 550


def calendar_days(known: Known) -> dict[str, float]:
    """By crop, the mean of days from grafting to ready over its past lots, as far as known.

    A past lot is one of which as many are ready as still grow. Its day is that of its middle ready
    tree, taken halfway between the two gradings that it lies between.
    """
    ready: dict[int, list[tuple[float, int]]] = defaultdict(list)
    growing: dict[int, int] = defaultdict(int)
    growths = known.growths
    for row, lot in enumerate(growths.lot):
        if growths.outcome[row] == "ready":
            ready[lot].append((_halfway(growths, row), growths.trees[row]))
        elif growths.outcome[row] == "growing":
            growing[lot] += growths.trees[row]
    took: dict[str, list[float]] = defaultdict(list)
    for lot, days in ready.items():
        trees = sum(n for _, n in days)
        if known.lots.grafted_on[lot] and trees >= growing[lot]:
            took[known.lots.crop[lot]].append(_middle(days, trees) - known.lots.grafted_on[lot])
    return {crop: sum(days) / len(days) for crop, days in took.items()}


def _halfway(growths: Growths, row: int) -> float:
    after, by = growths.after[row], growths.by[row]
    return (after + by) / 2 if after else by


def _middle(days: list[tuple[float, int]], trees: int) -> float:
    so_far = 0
    for day, n in sorted(days):
        so_far += n
        if 2 * so_far >= trees:
            return day
    raise AssertionError("the trees are those of the days")


class FirstForecast:
    """The date of the first forecast: weak priors and the mean weather of the time of year."""

    def __init__(self, known: Known) -> None:
        self._known = known
        self._weather = {one.site: one for one in known.sites}
        self._outlooks: dict[tuple[str, Thresholds], Outlook] = {}
        self._pushed: dict[tuple[int, str], int] = {}
        pushes = known.pushes
        for row, lot in enumerate(pushes.lot):
            if pushes.outcome[row] == "pushed":
                for site in (pushes.site[row], ""):
                    first = self._pushed.get((lot, site), pushes.by[row])
                    self._pushed[lot, site] = min(first, pushes.by[row])

    def day(self, told: LotTold) -> int | None:
        """When the lot would be ready, as an ordinal; None where it could not say."""
        lots, lot = self._known.lots, told.lot
        requirement = requirement_for(lots.crop[lot], lots.method[lot] or None)
        weather = self._weather.get(told.site)
        if requirement is None or weather is None:
            return None
        pushed = self._pushed.get((lot, told.site)) or self._pushed.get((lot, ""))
        grafted = lots.grafted_on[lot]
        facts = LotFacts(
            lots.code[lot],
            lots.crop[lot],
            lots.method[lot] or None,
            date.fromordinal(grafted) if grafted else None,
            date.fromordinal(pushed) if pushed and told.phase == "pushed" else None,
        )
        seen = self._outlook(weather, requirement.thresholds, grafted)
        expected = ready_date(facts, seen, requirement).expected
        return expected.toordinal() if expected else None

    def _outlook(self, weather: SiteWeather, thresholds: Thresholds, since: int) -> Outlook:
        key = (weather.site, thresholds)
        found = self._outlooks.get(key)
        if found is None or (since and found.behind.first.toordinal() > since):
            earliest = min(since or weather.today, weather.today - _RECORD_DAYS)
            history = {
                date.fromordinal(weather.first + n): (low, high)
                for n, (low, high) in enumerate(zip(weather.low, weather.high, strict=True))
                if not isnan(low) and not isnan(high)
            }
            found = outlook(
                weather.site,
                history,
                thresholds,
                since=date.fromordinal(earliest),
                today=date.fromordinal(weather.today),
            )
            self._outlooks[key] = found
        return found
