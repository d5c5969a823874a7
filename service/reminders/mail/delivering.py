"""Sends what is on its way, tries again what failed, and tells when an address does not work.

Mails are taken by several processes without meeting: who takes one keeps the others off it for some
minutes. A process that dies in between has it sent once more, under the same Message-ID.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

import structlog

from service.clock import Clock
from service.reminders.mail.choices import SQL
from service.reminders.mail.composing import Envelope, Written, mail
from service.reminders.mail.posting import Line, Outcome, Post, Result, ServerAway
from service.reminders.mail.writing import Office
from service.reminders.raising import MAIL_FAILED, by_watch, keep
from service.storage.pool import Connection

_log = structlog.get_logger(__name__)
PAUSES = (1, 5, 15, 60, 120, 240)  # minutes after each failure; then the last of them again
# As long as one that takes mails may be at it before another process takes them for lost.
_HELD = timedelta(minutes=10)
_PORTION = 100
# A server that can't be reached is asked again so soon.
_SOON = timedelta(minutes=1)
# What of it a process uses up at most before it takes what is left anew: a server may be slow.
_AT_IT = _HELD / 2
# In place of the contact's version: the next mail is tried all the same.
_GIVEN_UP = 0
# A server that takes nothing for as long is told of.
AWAY_FOR = timedelta(hours=1)


async def deliver(office: Office, post: Post, clock: Clock) -> int:
    """Send what is due to be sent. Returns how many mails went out."""
    sent = 0
    async with office.database.writer.acquire() as conn:
        await conn.execute(SQL.without_waiting)
        while True:
            now = clock()
            rows = await conn.fetch(SQL.claim, now, now + _HELD, _PORTION)
            if not rows:
                break
            wanted = [row for row in rows if not await _dropped(conn, row, now)]
            round_ = _Delivery(office, post, conn, clock)
            went, goes_on = await round_.of(wanted)
            sent += went
            if not goes_on:
                break
        await _tell_trouble(conn, clock())
    return sent


async def _dropped(conn: Connection, row: Any, now: datetime) -> bool:
    """End a mail that nobody is to have any more."""
    if row["email"] is None:
        why = "no_address"
    elif row["stopped"]:
        why = "stopped"
    elif not row["open"]:
        why = "seen_to"
    else:
        return False
    await conn.execute(SQL.ended, row["id"], "dropped", why, now)
    return True


class _Delivery:
    """One connection to the server, and what goes over it."""

    def __init__(self, office: Office, post: Post, conn: Connection, clock: Clock) -> None:
        self._office, self._post, self._conn, self._clock = office, post, conn, clock
        self._until = clock() + _AT_IT

    async def of(self, rows: Sequence[Any]) -> tuple[int, bool]:
        """Send these. How many went out, and whether the server goes on taking mails."""
        left = list(rows)
        sent = 0
        if not left:
            return 0, True
        try:
            async with self._post.open() as line:
                while left and self._clock() < self._until:
                    row = left.pop(0)
                    try:
                        sent += await self._one(line, row)
                    except ServerAway as error:
                        await self._again(row, str(error), self._clock())
                        raise
        except ServerAway as error:
            _log.warning("mail_server_away", error=str(error))
            await self._away(left, str(error))
            return sent, False
        await self._conn.execute(SQL.trouble_over)
        await self._put_off(left, self._clock(), "the server is slow")
        return sent, True

    async def _one(self, line: Line, row: Any) -> bool:
        try:
            message = mail(Written(row["subject"], row["plain"], row["html"]), self._envelope(row))
        except ValueError:
            result = Result(Outcome.NOT_THERE, "no address that mail can go to")
        else:
            result = await line.send(message, row["email"])
        now = self._clock()
        match result.outcome:
            case Outcome.SENT:
                await self._conn.execute(SQL.sent, row["id"], now)
            case Outcome.LATER:
                await self._again(row, result.said, now)
            case Outcome.REFUSED:
                await self._failed(row, result.said, now, _GIVEN_UP)
            case Outcome.NOT_THERE:
                await self._failed(row, result.said, now, row["contact_version"])
        return result.outcome is Outcome.SENT

    async def _again(self, row: Any, said: str, now: datetime) -> None:
        """Try the mail again later, as long as it is worth it."""
        at = now + timedelta(minutes=PAUSES[min(row["attempts"], len(PAUSES)) - 1])
        if at > row["until"]:
            await self._failed(row, said, now, _GIVEN_UP)
        else:
            await self._conn.execute(SQL.again, row["id"], at, said)

    async def _failed(self, row: Any, said: str, now: datetime, of_version: int) -> None:
        await self._conn.execute(SQL.ended, row["id"], "failed", said, now)
        await self._conn.execute(SQL.trouble, row["person"], now, said, of_version)

    async def _away(self, untried: Sequence[Any], said: str) -> None:
        now = self._clock()
        await self._conn.execute(SQL.trouble, "", now, said, None)
        await self._put_off(untried, now + _SOON, said)

    async def _put_off(self, untried: Sequence[Any], to: datetime, said: str) -> None:
        ids = [row["id"] for row in untried]
        await self._conn.execute(SQL.put_off, ids, self._clock(), to, said)

    def _envelope(self, row: Any) -> Envelope:
        return Envelope(
            sender=self._post.sender,
            name=row["name"],
            email=row["email"],
            id=row["id"],
            thread=row["thread"],
            made_at=row["made_at"],
            stop=self._office.stop(row["person"]),
        )


async def _tell_trouble(conn: Connection, now: datetime) -> None:
    """Have an alert open for each address that is refused and for a server that is long away."""
    await conn.execute(SQL.forget_trouble)
    wanted = [
        by_watch(
            MAIL_FAILED,
            row["person"],
            row["sites"],
            f"Mails to {row['person']} do not arrive; is the address right?"
            if row["person"]
            else "Reminders can't be sent by mail: the mail server does not take them.",
            now,
            numbers={"because": row["because"], "since": row["since"].isoformat()},
            subject=row["person"] or None,
        )
        for row in await conn.fetch(SQL.troubles, now - AWAY_FOR)
    ]
    await keep(conn, MAIL_FAILED, wanted, now)
