"""The past days that a backtest of a log looks at, and what the log tells of the outcome."""

from collections.abc import AsyncIterator
from datetime import date, timedelta

import msgspec

from service.forecast.backtest.outcomes import Outcomes, from_log
from service.forecast.backtest.run import days_between
from service.forecast.replay import Replay
from service.forecast.shapes import Known
from service.storage.pool import Connection
from service.storage.sql import load

SQL = load(__package__, "past.sql")
UNFINISHED_DAYS = 120
"""Forecasts made nearer than this to the log's end are not scored by the log: those of lots that
came early would be known, those of lots that came late would not."""


class NoPastError(Exception):
    """There is nothing to look back on; the message says why."""


class Wanted(msgspec.Struct, frozen=True, kw_only=True):
    """Which past days, how many `draws` each; days that are None are chosen by the log."""

    first: date | None = None
    last: date | None = None
    every: int = 7
    draws: int = 200
    seed: int = 1


class Past:
    """A log to look back on. The connection sees every site and one moment throughout."""

    def __init__(self, conn: Connection, replay: Replay, last_told: date) -> None:
        self._conn, self._replay, self._last_told = conn, replay, last_told
        self.days: list[date] = []

    @classmethod
    async def load(cls, conn: Connection, wanted: Wanted, *, by_log: bool) -> "Past":
        """Load the log and choose the days; `by_log`: the outcomes will be the log's.

        By itself it looks at the second half of the days told, so that there was something to
        learn from. Raises NoPastError.
        """
        told = await conn.fetchrow(SQL.days_told)
        if told is None or told["first"] is None:
            raise NoPastError("the log holds no events to look back on")
        # What was dated on a day may have been told later; nothing was known before it was told.
        last_told: date = min(told["last"], told["recorded_at"].date())
        past = cls(conn, await Replay.load(conn), last_told)
        last = wanted.last or last_told - timedelta(days=UNFINISHED_DAYS if by_log else 0)
        first = wanted.first or told["first"] + (last_told - told["first"]) // 2
        if last > last_told:
            raise NoPastError(f"the log was last told something of {last_told}, before {last}")
        if first > last:
            raise NoPastError(
                f"there is no day to look at from {first} to {last}: say --from and --to, or wait "
                "until more is recorded"
            )
        past.days = days_between(first, last, wanted.every)
        return past

    async def known(self, wanted: Wanted) -> AsyncIterator[Known]:
        """What was known when each of the days had ended, in order."""
        for day in self.days:
            yield await self._replay.at(self._conn, day, draws=wanted.draws, seed=wanted.seed)

    async def outcomes(self) -> Outcomes:
        """What came of the lots, as well as the log tells at its end."""
        return from_log(await self._replay.at(self._conn, self._last_told))
