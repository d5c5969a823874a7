"""The backtest: day by day, what was known then, what is forecast from it, and what came."""

from collections.abc import Sequence
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


class Run:
    """A backtest under way: give it each day in order, then ask for the result.

    `days` are in order and equally far apart; ValueError when there are none.
    """

    def __init__(self, days: Sequence[date], outcomes: Outcomes) -> None:
        if not days:
            raise ValueError("there is no day to look at")
        self.days, self._outcomes = list(days), outcomes
        self._cases: list[Case] = []
        self._promises: list[Promise] = []
        self._left_out = Unscored()
        self._taken = 0

    def take(self, known: Known, told: Foretold) -> None:
        """What was known when the next day had ended, and what is forecast from it."""
        self._cases += cases_of(known, told, self._outcomes, self._left_out)
        if self._taken % PROMISES_EVERY == 0:
            self._promises += promises_of(known, told, self._outcomes, self._left_out)
        self._taken += 1

    def result(self) -> Backtest:
        """All that was forecast, scored."""
        every = (self.days[1] - self.days[0]).days if len(self.days) > 1 else 1
        return Backtest(
            days=self.days,
            cases=self._cases,
            promises=self._promises,
            left_out=self._left_out,
            scores=scores_of(self._cases, self._promises, every),
        )
