"""What is on its way: each thing is told to each person once, whoever writes and however often.

Who inserts the rows of `mail_told` writes the mail, in the same transaction. Bodies are kept until
they are sent, without name and address: those are asked of the contacts when a mail goes out.
"""

from collections.abc import Iterable, Sequence
from datetime import date, datetime, timedelta
from typing import NamedTuple
from uuid import UUID, uuid5

from service.reminders.alerts import AlertRow
from service.reminders.mail.choices import SQL
from service.reminders.mail.composing import Written
from service.reminders.mail.gathering import SiteOf
from service.reminders.mail.letters import What
from service.reminders.mail.readers import Reader
from service.storage.pool import Connection

# Message-IDs hang on this: it never changes.
NAMESPACE = UUID("2f6c1a6e-6b0d-5c1b-8a4e-7d7b0e5a9c33")
# Later it would tell of what is long past.
GOOD_FOR: dict[What, timedelta] = {
    "digest": timedelta(hours=12),
    "urgent": timedelta(days=2),
    "escalation": timedelta(days=2),
}
# An alert is told again when it is raised again, or comes back on a day; not after so long. A
# digest is of a day.
REMEMBERED: dict[What, timedelta] = {
    "digest": timedelta(days=2),
    "urgent": timedelta(days=40),
    "escalation": timedelta(days=40),
}


class About(NamedTuple):
    """What one mail tells: the keys by which each of it counts as told, and the alerts."""

    what: What
    keys: list[str]
    alerts: list[str]

    @classmethod
    def of_alerts(cls, what: What, alerts: Sequence[AlertRow]) -> "About":
        return cls(what, [key_of(one) for one in alerts], [one.id for one in alerts])


def key_of(alert: AlertRow) -> str:
    """The alert as it was raised this time, or as it comes back on a day."""
    back = f"/{alert.remind_on}" if alert.remind_on else ""
    return f"{alert.id}/{alert.raised_at.isoformat()}{back}"


def digest_key(site: SiteOf, day: date) -> str:
    """A site's digest of a day."""
    return f"{site.code}/{day}"


class _Told(Exception):
    """Another process tells some of the same just now."""


class Outbox:
    """The outbox at a moment."""

    def __init__(self, conn: Connection, now: datetime) -> None:
        self._conn, self._now = conn, now

    async def told(self, what: What) -> set[tuple[str, str]]:
        """(person, key) of what was told."""
        rows = await self._conn.fetch(SQL.told, what, self._now - REMEMBERED[what])
        return {(row["person"], row["about"]) for row in rows}

    async def had_one(self, what: What, since: timedelta) -> set[str]:
        """Who got a mail of that kind so lately."""
        rows = await self._conn.fetch(SQL.last_made, what, self._now - since)
        return {row["person"] for row in rows}

    async def put(
        self, to: Reader, about: About, written: Written | None, *, first: str | None = None
    ) -> bool:
        """Put a mail on its way, or without one keep that there was nothing to tell.

        `first`: the key of the digest of their first site, when that is told here: the other mails
        of that day are joined to it. False when another process has told any of it: what that
        leaves is told at the next look.
        """
        thread = _named("day", to, [first or digest_key(to.sites[0], to.today(self._now))])
        mail = thread if first else _named(about.what, to, sorted(about.keys))
        try:
            async with self._conn.transaction():
                await self._tell(to, about, mail if written else None)
                if written is None:
                    return False
                await self._conn.execute(
                    SQL.put_mail,
                    mail,
                    about.what,
                    to.reference,
                    self._now,
                    thread,
                    *written,
                    about.alerts,
                    self._now + GOOD_FOR[about.what],
                )
        except _Told:
            return False
        return True

    async def _tell(self, to: Reader, about: About, mail: UUID | None) -> None:
        won = await self._conn.fetch(
            SQL.tell, to.reference, about.what, about.keys, mail, self._now
        )
        if len(won) < len(about.keys):
            raise _Told


def _named(what: str, to: Reader, keys: Iterable[str]) -> UUID:
    return uuid5(NAMESPACE, f"{what}/{to.reference}/{' '.join(keys)}")
