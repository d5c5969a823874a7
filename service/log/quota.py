"""Quotas that hold over all processes: tokens leased in blocks from a table, spent from memory.

A process leases some of an asker's tokens for a few seconds and spends them without asking anybody.
A lease counts against the quota from the moment it is taken until a window after the last moment
at which a token of it may have been spent; so no window of that length, wherever it begins, sees
more than the quota. All moments are the database's: a lease ends here no later than there, since
its time is counted from before it was asked for. What was not spent is given back; what a process
that died had leased lapses by itself, as if it had been spent.
"""

import asyncio
import math
from contextlib import suppress
from dataclasses import dataclass
from time import monotonic
from typing import NamedTuple

import asyncpg

from service.storage.pool import Connection, Pool
from service.storage.sql import load

SQL = load(__package__, "quota.sql")
WINDOW = 60.0
LASTS = 10.0
# The first block of an asker; later ones are as large as what was spent of the last one asks for.
FIRST = 16
GROWTH = 8
# None left: asked again after this part of a lease at the latest, since others may give back.
ASK_AGAIN = 0.1
# The database is waited for no longer than this.
PATIENCE = 5.0
# What could not be given back lapses by itself.
_LAPSES = (OSError, TimeoutError, asyncpg.PostgresError, asyncpg.InterfaceError)


class Taken(NamedTuple):
    """Whether there was a token, how many are left, and in how many seconds more come back.

    Left is what this process still holds and what nobody held when it last asked, at most `lasts`
    seconds ago.
    """

    granted: bool
    left: int
    more_in: float


@dataclass(slots=True)
class _Lease:
    number: int
    tokens: int
    left: int
    # What nobody held when it was taken.
    free: int
    begun: float
    ends: float
    # When the oldest lease that counts leaves the window.
    more_at: float
    spent_at: float

    def is_good(self, now: float) -> bool:
        return self.left > 0 and now < self.ends

    def is_low(self, now: float) -> bool:
        """Whether the next one is to be asked for while this one still serves."""
        return self.left * 4 < self.tokens or (self.ends - now) * 4 < self.ends - self.begun


@dataclass(slots=True)
class _Held:
    """What this process holds for one asker."""

    lease: _Lease | None = None
    block: int = FIRST
    waiting: int = 0
    asking: asyncio.Task[None] | None = None
    # While none is to be had.
    none_until: float = -math.inf
    more_at: float = -math.inf


class Leases:
    """The quotas of one process: `quota` tokens for each name in any `window` seconds."""

    def __init__(
        self,
        pool: Pool,
        quota: int,
        *,
        window: float = WINDOW,
        lasts: float = LASTS,
    ) -> None:
        self.quota, self.window, self.lasts = quota, window, lasts
        self._pool = pool
        self._held: dict[str, _Held] = {}
        # Leases that are over and not settled: which, how much was spent, when last.
        self._over: list[tuple[int, int, float]] = []
        self._timer: asyncio.TimerHandle | None = None
        self._settling: asyncio.Task[None] | None = None

    async def take(self, name: str) -> Taken:
        """Take a token of `name`; asks the database only when a block is used up or over.

        Raises what the database raises when it can't be asked: then nobody knows what is left.
        """
        held = self._held.get(name)
        if held is None:
            held = self._held[name] = _Held()
        while True:
            now = monotonic()
            lease = held.lease
            if lease is not None and lease.is_good(now):
                lease.left -= 1
                lease.spent_at = now
                if held.asking is None and now >= held.none_until and lease.is_low(now):
                    self._ask(name, held)
                return Taken(True, lease.left + lease.free, max(0.0, lease.more_at - now))
            if now < held.none_until:
                return Taken(False, 0, held.more_at - now)
            held.waiting += 1
            try:
                # Others wait for it too, and it may not be left half done.
                await asyncio.shield(self._ask(name, held))
            finally:
                held.waiting -= 1

    async def close(self) -> None:
        """Give back what was not spent."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        for held in self._held.values():
            self._retire(held)
        self._held.clear()
        await self._settle_over()

    def _ask(self, name: str, held: _Held) -> asyncio.Task[None]:
        """The one question for `name` that is under way."""
        if held.asking is None:
            held.asking = asyncio.create_task(self._lease(name, held))
            # Nobody may be waiting for it: what it raised is then of no interest.
            held.asking.add_done_callback(lambda task: task.cancelled() or task.exception())
        return held.asking

    async def _lease(self, name: str, held: _Held) -> None:
        wanted = max(held.block, held.waiting)
        try:
            async with self._pool.acquire(timeout=PATIENCE) as connection:
                if held.lease is not None and not held.lease.is_good(monotonic()):
                    self._retire(held)
                await self._settle(connection)
                begun = monotonic()
                row = await connection.fetchrow(
                    SQL.lease, name, self.quota, wanted, self.window, self.lasts, timeout=PATIENCE
                )
        finally:
            held.asking = None
        assert row is not None, "a function answers"
        now = monotonic()
        if row["lease"] is None:
            held.more_at = now + row["more_in"]
            held.none_until = min(held.more_at, now + ASK_AGAIN * self.lasts)
            return
        # What is left of the one before is about to be given back.
        free = row["free"] + self._retire(held)
        held.lease = _Lease(
            number=row["lease"],
            tokens=row["tokens"],
            left=row["tokens"],
            free=free,
            begun=begun,
            ends=begun + self.lasts,
            more_at=now + row["more_in"],
            spent_at=begun,
        )
        self._look_later()

    def _retire(self, held: _Held) -> int:
        """End the lease, to be settled; how many of its tokens were not spent."""
        lease, held.lease = held.lease, None
        if lease is None:
            return 0
        now = monotonic()
        spent = lease.tokens - lease.left
        self._over.append((lease.number, spent, lease.spent_at))
        # As many as this pace would spend while a lease lasts, and a little more.
        seconds = max(min(now, lease.ends) - lease.begun, 0.001)
        pace = math.ceil(spent / seconds * self.lasts * 1.25)
        held.block = max(FIRST, min(pace, lease.tokens * GROWTH, self.quota))
        return lease.left

    async def _settle(self, connection: Connection) -> None:
        over, self._over = self._over, []
        if not over:
            return
        now = monotonic()
        numbers, spent = [one[0] for one in over], [one[1] for one in over]
        ago = [now - one[2] for one in over]
        with suppress(*_LAPSES):
            await connection.execute(SQL.settle, numbers, spent, ago, self.window, timeout=PATIENCE)

    async def _settle_over(self) -> None:
        with suppress(*_LAPSES):
            async with self._pool.acquire(timeout=PATIENCE) as connection:
                await self._settle(connection)

    def _look_later(self) -> None:
        if self._timer is None:
            loop = asyncio.get_running_loop()
            self._timer = loop.call_later(self.lasts, self._look)

    def _look(self) -> None:
        """Give back what leases hold whose asker has gone quiet, and forget the asker."""
        self._timer = None
        now = monotonic()
        for name, held in list(self._held.items()):
            if held.lease is not None and now >= held.lease.ends:
                self._retire(held)
            if held.lease is None and held.asking is None and now >= held.none_until:
                del self._held[name]
        if self._over:
            self._settling = asyncio.create_task(self._settle_over())
        if self._held:
            self._look_later()
