"""Writes what is due now: digests, what can't wait, and what nobody has seen to."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, time, timedelta
from typing import NamedTuple

from service.clock import Clock
from service.reminders.alerts import AlertRow, AlertsQuery
from service.reminders.mail import letters
from service.reminders.mail.addresses import Ways, stop_page
from service.reminders.mail.choices import NIGHT, SQL, SiteMail, site_mails
from service.reminders.mail.composing import Written, laid_out
from service.reminders.mail.gathering import (
    Gatherer,
    SiteOf,
    only_concerning,
    open_alerts,
    sites_in_use,
    urgency,
)
from service.reminders.mail.letters import Letter
from service.reminders.mail.mornings import MORNING, digest_day, moment_of
from service.reminders.mail.outbox import About, Outbox, digest_key, key_of
from service.reminders.mail.readers import Reader, readers
from service.reminders.mail.tokens import Links
from service.storage.pool import Connection, Database
from service.views.site_days import zone

# What was raised longer ago is for the digest: a service that begins to send begins quietly.
URGENT_FOR = timedelta(days=1)
ESCALATED_FOR = timedelta(days=7)
# Sooner after the last one of its kind nobody gets one; what comes meanwhile goes together.
URGENT_SPACING, ESCALATION_SPACING = timedelta(minutes=10), timedelta(hours=1)


class Office(NamedTuple):
    """What mails are written with. `base`: the service's address, which links begin with."""

    database: Database
    links: Links
    base: str

    def ways(self, to: Reader, now: datetime) -> Ways:
        """Where the links of somebody's mails lead."""
        return Ways(self.base, self.links, to.reference, to.today(now))

    def stop(self, person: str) -> str:
        """The page that ends a person's mails."""
        return stop_page(self.base, self.links, person)

    def laid_out(self, letter: Letter, to: Reader, now: datetime) -> Written:
        return laid_out(letter, to.shown, self.ways(to, now))


async def write_due(office: Office, clock: Clock) -> int:
    """Write what is due now. Returns how many mails were written."""
    now = clock()
    async with office.database.writer.acquire() as conn:
        await conn.execute(SQL.without_waiting)
        sites = await sites_in_use(conn, now)
        round_ = _Round(office, conn, sites, now)
        people = await readers(conn, sites, now)
        norms = await site_mails(conn)
        return (
            await round_.digests(people, norms)
            + await round_.urgent(people)
            + await round_.escalations(people, norms)
        )


async def digest_letter(
    office: Office, gatherer: Gatherer, to: Reader, sites: Sequence[SiteOf], now: datetime
) -> Letter:
    """The digest of some of a person's sites; with that of their first also what is of no site."""
    principal = to.person.principal
    told = await gatherer.mornings(
        [site.code for site in sites], principal.site_list, also_of_none=to.sites[0] in sites
    )
    told = only_concerning(told, principal, to.choices.left_out)
    return letters.digest(to.shown, told, to.today(now), office.ways(to, now))


class _Round:
    """One look at all that may be due."""

    def __init__(
        self, office: Office, conn: Connection, sites: Mapping[str, SiteOf], now: datetime
    ) -> None:
        self._office, self._conn, self._sites, self._now = office, conn, sites, now
        self._outbox = Outbox(conn, now)

    async def digests(self, people: Sequence[Reader], norms: Mapping[str, SiteMail]) -> int:
        """At each site's morning, of all a person's sites that have theirs at once."""
        told = await self._outbox.told("digest")
        gatherer = Gatherer(self._office.database, self._sites, self._now)
        written = 0
        for to in people:
            if not to.choices.digest or to.is_quiet(self._now):
                continue
            due: dict[str, SiteOf] = {}
            for site in to.sites:
                day = digest_day(self._now, _morning(norms, site), site.zone, to.free_at)
                if day is not None and (to.reference, digest_key(site, day)) not in told:
                    due[digest_key(site, day)] = site
            if due:
                written += await self._digest(gatherer, to, due)
        return written

    async def _digest(self, gatherer: Gatherer, to: Reader, due: Mapping[str, SiteOf]) -> bool:
        sites = list(due.values())
        letter = await digest_letter(self._office, gatherer, to, sites, self._now)
        wanted = letter.waits or to.choices.empty_digest
        written = self._office.laid_out(letter, to, self._now) if wanted else None
        about = About("digest", list(due), [])
        first = next((key for key, site in due.items() if site is to.sites[0]), None)
        return await self._outbox.put(to, about, written, first=first)

    async def urgent(self, people: Sequence[Reader]) -> int:
        """What was raised since and can't wait for the morning."""
        kinds = {kind for to in people for kind in to.choices.kinds_at_once}
        found = await self._open([AlertsQuery(state="open", kind=kind) for kind in sorted(kinds)])
        found = sorted((one for one in found if self._is_fresh(one)), key=urgency)
        if not found:
            return 0
        touched = await self._touched(found)
        told = await self._outbox.told("urgent")
        lately = await self._outbox.had_one("urgent", URGENT_SPACING)
        written = 0
        for to in people:
            if to.reference in lately:
                continue
            quiet = to.is_quiet(self._now)
            mine = [
                one
                for one in found
                if one.kind in to.choices.kinds_at_once
                and (one.kind in NIGHT or not quiet)
                and (to.reference, key_of(one)) not in told
                and to.wants(one, touched.get(one.id, []))
            ]
            if mine:
                pairs = [(self._sites.get(one.site or ""), one) for one in mine]
                ways = self._office.ways(to, self._now)
                letter = letters.urgent(to.shown, pairs, to.today(self._now), ways)
                written += await self._alerts(to, letter, mine)
        return written

    async def escalations(self, people: Sequence[Reader], norms: Mapping[str, SiteMail]) -> int:
        """What nobody has seen to for so long, to who is named for it at the site."""
        by_reference = {to.reference: to for to in people}
        written = 0
        for code, norm in sorted(norms.items()):
            to = by_reference.get(norm.escalate_to or "")
            if to is None or norm.escalate_after_hours is None or to.is_quiet(self._now):
                continue
            site = next((one for one in to.sites if one.code == code), None)
            if site is not None:
                written += await self._escalated(to, site, norm.escalate_after_hours)
        return written

    async def _escalated(self, to: Reader, site: SiteOf, hours: int) -> bool:
        before = self._now - timedelta(hours=hours)
        if to.reference in await self._outbox.had_one("escalation", ESCALATION_SPACING):
            return False
        told = await self._outbox.told("escalation")
        mine = [
            one
            for one in await self._open([AlertsQuery(state="open", site=site.code)])
            if before - ESCALATED_FOR < self._open_since(one) <= before
            and (to.reference, key_of(one)) not in told
            and to.wants(one, [site.code])
        ]
        if not mine:
            return False
        mine.sort(key=urgency)
        ways = self._office.ways(to, self._now)
        letter = letters.escalation(to.shown, site, mine, hours, ways)
        return await self._alerts(to, letter, mine)

    async def _alerts(self, to: Reader, letter: Letter, mine: Sequence[AlertRow]) -> bool:
        written = self._office.laid_out(letter, to, self._now)
        return await self._outbox.put(to, About.of_alerts(letter.what, mine), written)

    async def _open(self, queries: Iterable[AlertsQuery]) -> list[AlertRow]:
        """Alerts of any site: each person is told of those that they see."""
        found: list[AlertRow] = []
        for asked in queries:
            found += await open_alerts(self._office.database.reader, None, asked, self._now)
        return found

    async def _touched(self, found: Sequence[AlertRow]) -> dict[str, list[str]]:
        """The sites that each of the alerts touches."""
        rows = await self._conn.fetch(SQL.sites_of, [one.id for one in found])
        return {row["id"]: row["sites"] for row in rows}

    def _is_fresh(self, alert: AlertRow) -> bool:
        """Whether it was raised lately, or came back lately."""
        return self._now - self._open_since(alert) < URGENT_FOR

    def _open_since(self, alert: AlertRow) -> datetime:
        """Since when it waits: it was raised, or is back on the day that somebody put it off to."""
        if alert.remind_on is None:
            return alert.raised_at
        site = self._sites.get(alert.site or "")
        back = moment_of(alert.remind_on, MORNING, site.zone if site else zone(None))
        return max(alert.raised_at, back)


def _morning(norms: Mapping[str, SiteMail], site: SiteOf) -> time:
    return norms.get(site.code, SiteMail()).morning
