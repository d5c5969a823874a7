"""The backtest: day by day, what was known then, what is forecast from it, and what came."""

from collections.abc import Callable, Sequence
from datetime import date, timedelta

import msgspec

from service.forecast.backtest.cases import Case, Promise, Unscored, cases_of, promises_of
from service.forecast.backtest.outcomes import Outcomes
from service.forecast.backtest.scores import Scores, scores_of
from service.forecast.shapes import Foretold, Known

PROMISES_EVERY = 4
"""Promises are scored on every so many-th of the days: those of one week are much like the last."""


class Backtest(msgspec.Struct, kw_only=True):
    """All that was forecast for past days, and how good it was."""

    days: list[date]
    cases: list[Case]
    promises: list[Promise]
    left_out: Unscored
    scores: Scores


def days_between(first: date, last: date, every: int) -> list[date]:
    """The days to look at, the last one among them; in order."""
    count = (last - first).days // every
    return [last - timedelta(days=every * back) for back in range(count, -1, -1)]


def backtest(
    at: Callable[[date], Known],
    days: Sequence[date],
    outcomes: Outcomes,
    forecast: Callable[[Known], Foretold],
    progress: Callable[[date], None] = lambda day: None,
) -> Backtest:
    """Forecast from what was known `at` the end of each day, and score by the outcomes.

    `days` are in order and equally far apart. Raises ValueError when there are none.
    """
    if not days:
        raise ValueError("there is no day to look at")
    every = (days[1] - days[0]).days if len(days) > 1 else 1
    cases: list[Case] = []
    promises: list[Promise] = []
    left_out = Unscored()
    for number, day in enumerate(days):
        known = at(day)
        told = forecast(known)
        cases += cases_of(known, told, outcomes, left_out)
        if number % PROMISES_EVERY == 0:
            promises += promises_of(known, told, outcomes, left_out)
        progress(day)
    return Backtest(
        days=list(days),
        cases=cases,
        promises=promises,
        left_out=left_out,
        scores=scores_of(cases, promises, every),
    )
