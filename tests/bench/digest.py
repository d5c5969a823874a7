"""Digests of 200 people: from the first second of their morning until the last mail is taken."""

import asyncio
import time
from collections.abc import Iterator

from service.log import contacts, people
from service.log.contacts import ContactDetails
from service.log.people import Choices
from service.log.rights import ROLES
from service.reminders.mail.delivering import deliver
from service.reminders.mail.writing import write_due
from service.storage.pool import Database, open_database
from tests.support.database import TestServer
from tests.support.mail_desk import MANAGER, Desk, moment
from tests.support.mail_server import Postbox, mail_server
from tests.support.nursery import budwood, graft, liners

PEOPLE, LOTS = 200, 300
SITES = (("CORIN",), ("CORIN", "TARNA"), ("*",))
ROLES_OF = ("site-manager", "recorder", "administrator")
MORNING = "2026-05-04T06:00:00+02:00"


async def _people(database: Database) -> None:
    """People with addresses, of several sites, roles and languages."""
    async with database.writer.acquire() as conn:
        for number in range(PEOPLE):
            reference, sites = f"p-{number:03}", SITES[number % 3]
            await people.put(
                conn,
                reference,
                scopes=frozenset(ROLES[ROLES_OF[number // 3 % 3]]),
                sites=frozenset(sites),
                choices=Choices(language="es" if number % 2 else "en", home_site="CORIN"),
                by="bench",
                at=moment(MORNING),
                version=0,
            )
            details = ContactDetails(
                kind="person", name=reference, email=f"{reference}@corin.example"
            )
            await contacts.put(
                conn,
                reference,
                details,
                list(sites),
                principal=MANAGER,
                at=moment(MORNING),
                version=0,
            )


async def _measure(server: TestServer) -> tuple[float, float, float, int]:
    settings = server.settings_for(await server.create())
    box = Postbox()
    async with mail_server(box), await open_database(settings) as database:
        desk = await Desk(database, settings, box).given()
        await budwood(desk.book, "BW9", "2026-03-19", {"BAG9": LOTS})
        await liners(desk.book, "LN9", "2026-03-19", "C-T1", LOTS)
        for number in range(LOTS):
            await graft(
                desk.book, f"B{number}", "2026-03-20", count=1, bag="BAG9", wood="BW9", onto="LN9"
            )
        await _people(database)
        # One look at the calendar before the morning: the checks of all lots are overdue.
        await desk.at("2026-05-04T05:00:00+02:00")
        desk.now = moment(MORNING)
        mailing = desk.mailing()
        begin, busy = time.perf_counter(), time.process_time()
        written = await write_due(mailing.office, mailing.clock)
        wrote = time.perf_counter()
        sent = await deliver(mailing.office, mailing.post, mailing.clock)
        done = time.perf_counter()
    assert written == sent == len(box.raw) == PEOPLE, (written, sent, len(box.raw))
    busy = time.process_time() - busy
    return wrote - begin, done - wrote, busy, len(box.raw[0])


def measure(server: TestServer) -> Iterator[tuple[str, str, str, list[str]]]:
    """Figures of one morning."""
    writing, sending, busy, size = asyncio.run(_measure(server))
    yield (
        f"digests of {PEOPLE} people, written and sent",
        f"{writing + sending:.2f} s",
        "< 5 s",
        [
            f"written in {writing:.2f} s, sent over one connection in {sending:.2f} s; "
            f"{LOTS} overdue checks; the first mail has {size / 1000:.0f} kB",
            f"this process, which is the mail server too, was at work for {busy:.2f} s of it",
        ],
    )
