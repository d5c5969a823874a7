"""Reminders by mail as one piece of work: write what is due, send what is on its way."""

from datetime import datetime, timedelta

from service.clock import Clock
from service.reminders.mail.choices import SQL
from service.reminders.mail.delivering import deliver
from service.reminders.mail.posting import Post
from service.reminders.mail.tokens import Links
from service.reminders.mail.writing import Office, write_due
from service.settings import Settings
from service.storage.pool import Database, Pool

# What was told is remembered for as long (`outbox.REMEMBERED`), mails themselves less.
KEEP_MAILS, KEEP_TOLD = timedelta(days=30), timedelta(days=60)


class Mailing:
    """Writes and sends; run twice, or by several processes, it does no more than once."""

    def __init__(self, office: Office, post: Post, clock: Clock) -> None:
        self.office, self.post, self.clock = office, post, clock

    async def run(self) -> str:
        """Write and send what is due now; what was done, in a few words."""
        written = await write_due(self.office, self.clock)
        sent = await deliver(self.office, self.post, self.clock)
        return f"{written} mails written, {sent} sent"


def office(settings: Settings, database: Database) -> Office | None:
    """What mails are written with; None without a secrets key, since their links are signed."""
    if not settings.secrets_key:
        return None
    return Office(database, Links(settings.secrets_key), settings.base)


def mailing(settings: Settings, database: Database, clock: Clock) -> Mailing | None:
    """What writes and sends reminders; None where no mail server is set."""
    here = office(settings, database)
    if here is None or settings.mail_server is None or settings.mail_from is None:
        return None
    return Mailing(here, Post(settings.mail_server, settings.mail_from), clock)


async def sweep_mails(pool: Pool, now: datetime) -> None:
    """Forget mails of long ago, what was told, and what people chose who are gone."""
    await pool.execute(SQL.sweep, now - KEEP_MAILS, now - KEEP_TOLD)
    await pool.execute(SQL.sweep_choices)
