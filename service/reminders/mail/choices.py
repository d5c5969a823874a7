"""What a person chose about mails, and what a site did."""

from datetime import datetime, time
from typing import Any

import msgspec

from service.reminders.mail.mornings import MORNING, Quiet
from service.reminders.raising import FROST, OUT_OF_RANGE, WEBHOOK_STOPPED
from service.storage.pool import Connection
from service.storage.sql import load

SQL = load(__package__, "mail.sql")
# Told at once unless somebody chose otherwise: it gets worse by the hour, or nothing goes out.
USUAL_AT_ONCE = (FROST, OUT_OF_RANGE, "breach", "shortfall", "sold_meanwhile", WEBHOOK_STOPPED)
# What does harm before the morning is told in quiet hours too.
NIGHT = frozenset({FROST, OUT_OF_RANGE})
USUAL_QUIET = Quiet(time(20), MORNING)


class MailChoices(msgspec.Struct, frozen=True, kw_only=True):
    """What one person wants. `at_once` None: what is usual; `left_out` are kinds of alerts."""

    digest: bool = True
    empty_digest: bool = False
    at_once: frozenset[str] | None = None
    left_out: frozenset[str] = frozenset()
    sites_left_out: frozenset[str] = frozenset()
    quiet: Quiet | None = USUAL_QUIET
    stopped_at: datetime | None = None

    @property
    def kinds_at_once(self) -> frozenset[str]:
        """Kinds of alerts that are mailed at once."""
        usual = frozenset(USUAL_AT_ONCE)
        return (usual if self.at_once is None else self.at_once) - self.left_out


class SiteMail(msgspec.Struct, frozen=True, kw_only=True):
    """When a site's digests go out, and who hears of what nobody has seen to."""

    morning: time = MORNING
    escalate_to: str | None = None
    escalate_after_hours: int | None = None


async def all_choices(connection: Connection) -> dict[str, MailChoices]:
    """What everybody chose who did, by reference. For the writer's role."""
    return {row["person"]: _choices(row) for row in await connection.fetch(SQL.all_choices)}


async def choices_of(connection: Connection, person: str) -> MailChoices:
    """What a person chose, or what is usual."""
    row = await connection.fetchrow(SQL.choices, person)
    return _choices(row) if row else MailChoices()


def _choices(row: Any) -> MailChoices:
    quiet = None
    if row["quiet_from"] is not None:
        quiet = Quiet(row["quiet_from"], row["quiet_until"])
    return MailChoices(
        digest=row["digest"],
        empty_digest=row["empty_digest"],
        at_once=None if row["at_once"] is None else frozenset(row["at_once"]),
        left_out=frozenset(row["left_out"]),
        sites_left_out=frozenset(row["sites_left_out"]),
        quiet=quiet,
        stopped_at=row["stopped_at"],
    )


async def choose(connection: Connection, person: str, chosen: MailChoices, now: datetime) -> None:
    """Keep what a person chose, whole."""
    await connection.execute(
        SQL.choose,
        person,
        chosen.digest,
        chosen.empty_digest,
        None if chosen.at_once is None else sorted(chosen.at_once),
        sorted(chosen.left_out),
        sorted(chosen.sites_left_out),
        chosen.quiet.from_ if chosen.quiet else None,
        chosen.quiet.until if chosen.quiet else None,
        chosen.stopped_at,
        now,
    )


async def stop(connection: Connection, person: str, now: datetime) -> None:
    """No mail to that person from now on, also none that is on its way; again changes nothing."""
    await connection.execute(SQL.stop, person, now, USUAL_QUIET.from_, USUAL_QUIET.until)


async def site_mails(connection: Connection) -> dict[str, SiteMail]:
    """What each site chose that did."""
    return {
        row["site"]: SiteMail(
            morning=row["morning"],
            escalate_to=row["escalate_to"],
            escalate_after_hours=row["escalate_after_hours"],
        )
        for row in await connection.fetch(SQL.site_mails)
    }


async def choose_site(
    connection: Connection, site: str, chosen: SiteMail, by: str, now: datetime
) -> None:
    """Keep what a site chose, whole."""
    hours = chosen.escalate_after_hours
    await connection.execute(
        SQL.choose_site, site, chosen.morning, chosen.escalate_to, hours, now, by
    )
