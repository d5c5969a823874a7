"""The first forecast, kept to be measured against: one requirement, the mean weather of the year.

A lot is ready on the first day on which its degree-days reach what its crop needs.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from service.forecast.backtest.first_weather import HORIZON_DAYS, Outlook, first_step_reaching
from service.forecast.requirements import Need, Requirement

QUANTILES_FROM_YEARS = 10
"""From so many past years on the range runs from the 10th to the 90th percentile."""


@dataclass(frozen=True)
class LotFacts:
    """What is known of a tree lot: its crop, when it was grafted and when a push was first read."""

    lot: str
    crop: str
    graft_method: str | None
    grafted_on: date | None
    pushed_on: date | None = None


@dataclass(frozen=True)
class ReadyDate:
    """When a lot will be ready at a site, with all that the figure rests on.

    `expected` is null when it cannot be told, and `remarks` then says why; `earliest` and
    `latest` likewise. `phase` says what is counted from: `grafted` or `pushed`, on `counted_from`.
    `needed` and `accumulated` are degree-days (Cd) by `method` with `cutoff` between `lower_c` and
    `upper_c`, accumulated to the end of yesterday. `gap_days` of that stretch had no record and
    were filled. `n_years` past years made the range. `basis` and `basis_n` tell how good the
    requirement is; the date is an estimate.
    """

    lot: str
    site: str
    phase: str
    counted_from: date | None
    expected: date | None
    earliest: date | None
    latest: date | None
    method: str
    cutoff: str
    lower_c: float
    upper_c: float
    needed: float | None
    accumulated: float | None
    gap_days: int
    n_years: int
    basis: str
    basis_n: int
    remarks: tuple[str, ...]


@dataclass(frozen=True)
class _Stretch:
    """Degree-days between the day counted from and today, and how they came about."""

    accumulated: float
    interpolated: int
    by_mean: int
    unknown: int
    wait_days: int
    offset: int


def ready_date(lot: LotFacts, weather: Outlook, requirement: Requirement) -> ReadyDate:
    """The day on which a lot is expected to be ready at a site, and the range of that day.

    Days count from the day after grafting; once a push was read, from the day after it, against
    the requirement from push to ready where there is one. The range plays each past year's
    weather from today on.

    Raises ValueError when the weather was counted another way than the requirement, or begins
    after the day to count from: thermal time is never mixed.
    """
    if weather.thresholds != requirement.thresholds:
        raise ValueError(
            "the requirement holds for another method, cutoff or thresholds than the weather's"
        )
    phase, start, need = _phase(lot, requirement)
    if start is None:
        why = "The day of grafting is not known, so no degree-days can be counted."
        return _answer(lot, weather, phase, start, need, None, (None, None, None), (why,))
    stretch = _stretch(weather, start)
    remarks = _said_of(stretch, need)
    if weather.recorded_days == 0:
        why = f"Site {weather.site} has no temperatures on record."
        return _answer(lot, weather, phase, start, need, None, (None, None, None), (why,))
    if stretch.unknown:
        why = (
            f"{stretch.unknown} days since {start} have no temperature on record and no other "
            "year to take their place."
        )
        return _answer(lot, weather, phase, start, need, None, (None, None, None), (why,))
    if stretch.wait_days == 0 and stretch.accumulated >= need.degree_days - 1e-9:
        day = _day_reached_behind(weather, start, need.degree_days)
        remarks += (f"The degree-days needed were reached on {day}.",)
        return _answer(lot, weather, phase, start, need, stretch, (day, day, day), remarks)
    return _ahead(lot, weather, phase, start, need, stretch, remarks)


def _phase(lot: LotFacts, requirement: Requirement) -> tuple[str, date | None, Need]:
    if lot.pushed_on is not None and requirement.pushed_to_ready is not None:
        return "pushed", lot.pushed_on, requirement.pushed_to_ready
    return "grafted", lot.grafted_on, requirement.grafted_to_ready


def _stretch(weather: Outlook, start: date) -> _Stretch:
    """Count from the day after `start`; a start from today on makes for days to wait first."""
    behind = weather.behind
    begin = start + timedelta(days=1)
    offset = (begin - behind.first).days
    if offset < 0:
        raise ValueError(f"the weather begins on {behind.first}, after the day to count from")
    if begin >= weather.today:
        return _Stretch(0.0, 0, 0, 0, (begin - weather.today).days, offset)
    return _Stretch(
        behind.degree_days[-1] - behind.degree_days[offset],
        behind.interpolated[-1] - behind.interpolated[offset],
        behind.by_mean[-1] - behind.by_mean[offset],
        behind.unknown[-1] - behind.unknown[offset],
        0,
        offset,
    )


def _said_of(stretch: _Stretch, need: Need) -> tuple[str, ...]:
    said = []
    if need.n == 0:
        said.append(
            f"The requirement of {need.degree_days:g} Cd is a {need.basis} without observations "
            f"of this nursery: {need.derived}."
        )
    if stretch.interpolated:
        said.append(f"{_days_were(stretch.interpolated)} filled between neighbours.")
    if stretch.by_mean:
        said.append(f"{_days_were(stretch.by_mean)} filled by the site's mean of the time of year.")
    return tuple(said)


def _days_were(count: int) -> str:
    return "1 missing day was" if count == 1 else f"{count} missing days were"


def _past_years(count: int) -> str:
    return "1 past year" if count == 1 else f"{count} past years"


def _day_reached_behind(weather: Outlook, start: date, needed: float) -> date:
    behind = weather.behind
    offset = (start + timedelta(days=1) - behind.first).days
    step = first_step_reaching(behind.degree_days, behind.degree_days[offset] + needed)
    # The caller has seen that the total of the whole stretch reaches it.
    assert step is not None
    return behind.first + timedelta(days=step)


def _ahead(
    lot: LotFacts,
    weather: Outlook,
    phase: str,
    start: date,
    need: Need,
    stretch: _Stretch,
    remarks: tuple[str, ...],
) -> ReadyDate:
    remaining = need.degree_days - stretch.accumulated
    expected = _day_reached_ahead(weather, weather.ahead, stretch.wait_days, remaining)
    if expected is None:
        why = (
            "The site's record does not cover all times of the year that lie ahead."
            if weather.ahead_ends_for_want
            else f"Not reached within {HORIZON_DAYS} days by the site's own weather."
        )
        return _answer(
            lot, weather, phase, start, need, stretch, (None, None, None), (*remarks, why)
        )
    if len(weather.replays) < 2:
        why = f"No range: {_past_years(len(weather.replays))} on record, at least 2 are needed."
        return _answer(
            lot, weather, phase, start, need, stretch, (expected, None, None), (*remarks, why)
        )
    days = [
        _day_reached_ahead(weather, replay, stretch.wait_days, remaining)
        for replay in weather.replays
    ]
    earliest, latest, how = _range(days, expected)
    return _answer(
        lot, weather, phase, start, need, stretch, (expected, earliest, latest), (*remarks, how)
    )


def _day_reached_ahead(
    weather: Outlook, running: Sequence[float], wait: int, remaining: float
) -> date | None:
    if wait >= len(running):
        return None
    step = first_step_reaching(running, running[wait] + remaining)
    return None if step is None else weather.today + timedelta(days=step)


def _range(days: list[date | None], expected: date) -> tuple[date, date | None, str]:
    """Range over the past years' days; a year that never got there leaves the late end open.

    It is widened to hold the expected day, which smoothing can carry a little outside.
    """
    reached = sorted(day for day in days if day is not None)
    never = len(days) - len(reached)
    # Nearest rank, outward: a few years must not look surer than they are.
    cut = len(days) // 10 if len(days) >= QUANTILES_FROM_YEARS else 0
    how = (
        f"The range leaves out the {cut} earliest and {cut} latest of {len(days)} past years."
        if cut
        else f"The range is from the earliest to the latest of {len(days)} past years."
    )
    first = reached[cut] if cut < len(reached) else expected
    last_rank = len(days) - 1 - cut
    last = reached[last_rank] if last_rank < len(reached) else None
    if last is None:
        how += f" In {never} of them it was not reached within {HORIZON_DAYS} days."
    return min(first, expected), max(last, expected) if last else None, how


def _answer(
    lot: LotFacts,
    weather: Outlook,
    phase: str,
    start: date | None,
    need: Need,
    stretch: _Stretch | None,
    days: tuple[date | None, date | None, date | None],
    remarks: tuple[str, ...],
) -> ReadyDate:
    return ReadyDate(
        lot=lot.lot,
        site=weather.site,
        phase=phase,
        counted_from=start,
        expected=days[0],
        earliest=days[1],
        latest=days[2],
        method=weather.thresholds.method.value,
        cutoff=weather.thresholds.cutoff.value,
        lower_c=weather.thresholds.lower_c,
        upper_c=weather.thresholds.upper_c,
        needed=need.degree_days,
        accumulated=stretch.accumulated if stretch else None,
        gap_days=stretch.interpolated + stretch.by_mean if stretch else 0,
        n_years=len(weather.replays),
        basis=need.basis,
        basis_n=need.n,
        remarks=remarks,
    )
