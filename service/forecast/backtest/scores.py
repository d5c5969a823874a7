"""How good past forecasts and promises were."""

from collections.abc import Callable, Iterable, Sequence
from statistics import median

import msgspec

from service.forecast.backtest.cases import LEADS, Case, Promise, before_true, first_within
from service.forecast.shapes import ALL_SITES, LEVELS
from service.trade.take import wilson


class LotScore(msgspec.Struct, frozen=True, kw_only=True):
    """Scores of forecasts of lots; shares from 0 to 1, days; None where there is nothing to score.

    `inside`: true days after P20 and by P80, aim 0.6; `early`: by P20, `late`: after P80.
    `error`: median of |P50 - true|; `bias`: median of true - P50, positive when it was later.
    `calendar`: the calendar average's median error on the `by_calendar` cases that it has a date
    for, `of_calendar` the forecast's there over it. `first` likewise, of the first forecast.
    `ready_inside`: numbers that became ready from P20 to P80; `ready_off`: all that became ready
    over all that were expected.
    """

    what: str
    n: int
    lots: int
    inside: float | None
    early: float | None
    late: float | None
    error: float | None
    bias: float | None
    by_calendar: int
    calendar: float | None
    of_calendar: float | None
    by_first: int
    first: float | None
    of_first: float | None
    ready_inside: float | None
    ready_off: float | None


def lot_score(what: str, cases: Sequence[Case]) -> LotScore:
    """The score of some cases."""

    def share(hit: Callable[[Case], bool]) -> float | None:
        return sum(map(hit, cases)) / len(cases) if cases else None

    calendar = [case for case in cases if case.calendar]
    first = [case for case in cases if case.first]
    errors = _errors(calendar, lambda case: case.calendar), _errors(first, lambda case: case.first)
    expected = sum(case.ready for case in cases)
    return LotScore(
        what=what,
        n=len(cases),
        lots=len({case.lot for case in cases}),
        inside=share(lambda case: case.p20 < case.true <= case.p80),
        early=share(lambda case: case.true <= case.p20),
        late=share(lambda case: case.true > case.p80),
        error=_errors(cases, lambda case: case.p50),
        bias=median(case.true - case.p50 for case in cases) if cases else None,
        by_calendar=len(calendar),
        calendar=errors[0],
        of_calendar=_ratio(_errors(calendar, lambda case: case.p50), errors[0]),
        by_first=len(first),
        first=errors[1],
        of_first=_ratio(_errors(first, lambda case: case.p50), errors[1]),
        ready_inside=share(lambda case: case.ready_low <= case.came <= case.ready_high),
        ready_off=_ratio(sum(case.came for case in cases), expected),
    )


def _errors(cases: Sequence[Case], said: Callable[[Case], int]) -> float | None:
    return median(abs(said(case) - case.true) for case in cases) if cases else None


def _ratio(part: float | None, whole: float | None) -> float | None:
    return part / whole if part is not None and whole else None


class PromiseScore(msgspec.Struct, frozen=True, kw_only=True):
    """Scores of promises at one confidence, those of no trees left out.

    `kept`: the share of which so many there were on the date; `kept_low` to `kept_high`: Wilson's
    95 % interval of it, were all independent. `used`: trees promised over those that could have
    been with hindsight, those of promises of none too.
    """

    what: str
    confidence: float
    n: int
    kept: float | None
    kept_low: float | None
    kept_high: float | None
    used: float | None


def promise_score(what: str, confidence: float, promises: Iterable[Promise]) -> PromiseScore:
    """The score of the promises at a confidence."""
    those = [one for one in promises if one.confidence == confidence]
    some = [one for one in those if one.promised > 0]
    # A share of a lot's trees need not be whole.
    kept = sum(one.promised <= one.came + 1e-9 for one in some)
    bounds = wilson(kept, len(some))
    return PromiseScore(
        what=what,
        confidence=confidence,
        n=len(some),
        kept=_ratio(kept, len(some)),
        kept_low=bounds[0] if bounds else None,
        kept_high=bounds[1] if bounds else None,
        used=_ratio(sum(one.promised for one in those), sum(one.came for one in those)),
    )


class Scores(msgspec.Struct, frozen=True, kw_only=True):
    """All scores: as first said, by days before the true one, by crop, and of promises.

    Promises: all of any grade at one site; of those, the ones for which trees had to become ready;
    by grade at one site; at all sites together.
    """

    first_said: list[LotScore]
    before_true: list[LotScore]
    by_crop: list[LotScore]
    promises: list[PromiseScore]
    growing: list[PromiseScore]
    by_grade: list[PromiseScore]
    all_sites: list[PromiseScore]


def scores_of(cases: Sequence[Case], promises: Sequence[Promise], every: int) -> Scores:
    """Score what was forecast on days `every` days apart."""
    said = {lead: first_within(cases, lead) for lead in LEADS}
    crops = sorted({(case.crop, case.method) for case in cases})
    kinds = {
        "promises": [one for one in promises if not one.grade and one.site != ALL_SITES],
        "by_grade": [one for one in promises if one.grade and one.site != ALL_SITES],
        "all_sites": [one for one in promises if not one.grade and one.site == ALL_SITES],
    }
    # decided by what was known then, for all confidences alike: did it rest on growing trees?
    kinds["growing"] = [one for one in kinds["promises"] if one.promised > one.ready_now]
    return Scores(
        first_said=[lot_score(f"{lead} days", some) for lead, some in said.items()],
        before_true=[lot_score(f"{lead} days", before_true(cases, lead, every)) for lead in LEADS],
        by_crop=[
            lot_score(
                f"{crop} {method}, {lead} days".strip(),
                [case for case in some if (case.crop, case.method) == (crop, method)],
            )
            for crop, method in crops
            for lead, some in said.items()
        ],
        **{
            name: [promise_score(name, level, some) for level in LEVELS]
            for name, some in kinds.items()
        },
    )
