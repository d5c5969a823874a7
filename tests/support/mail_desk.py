"""A nursery after its season whose people read mail: given / when / then for reminders by mail."""

from datetime import datetime
from email.headerregistry import Address
from email.message import EmailMessage
from typing import Any

from service.log import contacts, people
from service.log.contacts import ContactDetails
from service.log.people import Choices, Person
from service.log.rights import ROLES, Principal
from service.mail_server import Server
from service.reminders.alerts import AlertRow, Alerts, AlertsQuery, alerts
from service.reminders.mail.choices import MailChoices, choose
from service.reminders.mail.mailing import Mailing, office
from service.reminders.mail.posting import Post
from service.reminders.raising import Raised, raise_alerts
from service.reminders.watch import look_at_calendar
from service.settings import Settings
from service.storage.pool import Database
from service.views.checks import Checks
from service.views.runner import Runner
from tests.support.ledger_rows import Ledger
from tests.support.mail_server import Postbox
from tests.support.nursery import nursery, season

SENDER = Address("Corin Nursery", "reminders", "corin.example")
MANAGER = Principal("owner", frozenset(ROLES["administrator"]), frozenset({"*"}))


def moment(text: str) -> datetime:
    return datetime.fromisoformat(text)


class Desk:
    """The nursery of `nursery.season`, and what is mailed about it."""

    def __init__(self, database: Database, settings: Settings, box: Postbox) -> None:
        self.database, self.box = database, box
        self.settings = settings
        self.runner = Runner(database, [Checks(), Alerts()])
        self.now = moment("2026-03-20T12:00:00+00:00")
        self.book: Ledger

    async def given(self) -> "Desk":
        """Its season: a check overdue on 24 March, a place that nobody looked at since 17 March."""
        self.book = await nursery(self.database.writer)
        await season(self.book)
        return self

    def mailing(self, *, post: Post | None = None) -> Mailing:
        """What writes and sends, as each process has one."""
        here = office(self.settings, self.database)
        assert here is not None
        server = Server("127.0.0.1", self.box.port, "none")
        return Mailing(here, post or Post(server, SENDER), lambda: self.now)

    async def person(
        self, reference: str, *sites: str, role: str = "site-manager", language: Any = "en",
        home: str | None = None, name: str | None = None,
    ) -> Person:  # fmt: skip
        """Somebody with an address who signs in."""
        async with self.database.writer.acquire() as conn:
            made = await people.put(
                conn,
                reference,
                scopes=frozenset(ROLES[role]),
                sites=frozenset(sites),
                choices=Choices(language=language, home_site=home),
                by="owner",
                at=self.now,
                version=0,
            )
            assert made is not None
            details = ContactDetails(
                kind="person", name=name or reference.title(), email=f"{reference}@corin.example"
            )
            await contacts.put(
                conn, reference, details, list(sites), principal=MANAGER, at=self.now, version=0
            )
        return made

    async def chooses(self, reference: str, chosen: MailChoices) -> None:
        """Somebody chooses about mails."""
        async with self.database.writer.acquire() as conn:
            await choose(conn, reference, chosen, self.now)

    async def raised(
        self, kind: str, number: int = 1, site: str | None = "CORIN", **more: Any
    ) -> str:
        """An alert of a kind about something; its id."""
        numbers = more.pop("numbers", {"rule": "held", "hold": f"H{number}"})
        one = Raised(
            key=f"{kind}/{number}",
            kind=kind,
            origin="watch",
            site=site,
            sites=more.pop("sites", [site] if site else []),
            detail=f"{kind} {number}",
            raised_at=self.now,
            numbers=numbers,
            subject=f"subject-{number}",
            **more,
        )
        async with self.database.writer.acquire() as conn:
            await raise_alerts(conn, [one])
        found = await self.alerts(kind=kind)
        return next(alert.id for alert in found if alert.subject == one.subject)

    async def say(self, type_: str, about: str, **data: Any) -> None:
        """Somebody says something of an alert, now."""
        await self.book.event(type_, "CORIN", self.now.isoformat(), {"alert": about, **data})
        await self.runner.catch_up()

    async def became(self, what: str) -> list[str]:
        """What became of mails of a kind, in the order in which they were made."""
        sql = "SELECT state FROM mails WHERE what = $1 ORDER BY made_at"
        return [row["state"] for row in await self.database.writer.fetch(sql, what)]

    async def alerts(self, **asked: Any) -> list[AlertRow]:
        """Alerts as they stand now."""
        query = AlertsQuery(**asked)
        return (await alerts(self.database.reader, query, None, clock=lambda: self.now)).rows

    async def at(self, text: str, *, calendar: bool = True) -> list[EmailMessage]:
        """It is then: the jobs run. The mails that came."""
        self.now = moment(text)
        await self.runner.catch_up()
        if calendar:
            await look_at_calendar(self.database.writer, lambda: self.now)
        before = len(self.box.raw)
        await self.mailing().run()
        return self.box.mails[before:]


def plain(mail: EmailMessage) -> str:
    """Its text part, with plain spaces before units."""
    part = mail.get_body(("plain",))
    assert part is not None
    return str(part.get_content()).replace("\xa0", " ")


def html(mail: EmailMessage) -> str:
    """Its HTML part."""
    part = mail.get_body(("html",))
    assert part is not None
    return str(part.get_content())
