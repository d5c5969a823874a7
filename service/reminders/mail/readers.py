"""Who can be sent mail, by what they chose and which sites they see."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

from service.log.people import Person, person_of
from service.reminders.alerts import AlertRow
from service.reminders.mail.choices import SQL, MailChoices, all_choices
from service.reminders.mail.gathering import SiteOf, concerns
from service.storage.pool import Connection
from service.views.site_days import zone
from service.wording.shown import Shown, shown_to

# An address that was refused is tried once a day: it may be the server that was set up wrong.
REFUSED_FOR = timedelta(days=1)


class Reader(NamedTuple):
    """Somebody who reads mails. `sites`: those that they see and want to hear of, home first."""

    person: Person
    choices: MailChoices
    sites: list[SiteOf]

    @property
    def reference(self) -> str:
        return self.person.reference

    @property
    def shown(self) -> Shown:
        """How they like things written."""
        return shown_to(self.person.language, self.person.temperature, self.person.length)

    @property
    def zone(self) -> ZoneInfo:
        """By whose clock they live: that of their first site."""
        return self.sites[0].zone if self.sites else zone(None)

    def today(self, now: datetime) -> date:
        return now.astimezone(self.zone).date()

    def free_at(self, moment: datetime) -> datetime:
        """The first moment from another one on at which they may be disturbed."""
        quiet = self.choices.quiet
        return moment if quiet is None else quiet.free_at(moment, self.zone)

    def is_quiet(self, now: datetime) -> bool:
        """Whether they want no disturbance at the moment."""
        return self.free_at(now) > now

    def wants(self, alert: AlertRow, touched: Sequence[str]) -> bool:
        """Whether they want to hear of an alert that touches these sites.

        One that touches none is for those who see every site, as the walls have it.
        """
        principal = self.person.principal
        if touched:
            if {site.code for site in self.sites}.isdisjoint(touched):
                return False
        elif principal.site_list is not None:
            return False
        return alert.kind not in self.choices.left_out and concerns(alert.kind, principal)


def reader(person: Person, choices: MailChoices, sites: Mapping[str, SiteOf]) -> Reader:
    """The person with their sites: the home site first, the others by code."""
    principal = person.principal
    heard = [
        site
        for code, site in sorted(sites.items())
        if principal.sees(code) and code not in choices.sites_left_out
    ]
    heard.sort(key=lambda one: one.code != person.home_site)
    return Reader(person, choices, heard)


async def readers(conn: Connection, sites: Mapping[str, SiteOf], now: datetime) -> list[Reader]:
    """All who have an address, see a site, and did not stop mails. For the writer's role."""
    chosen = await all_choices(conn)
    people = [person_of(row) for row in await conn.fetch(SQL.readers, now - REFUSED_FOR)]
    found = [reader(one, chosen.get(one.reference, MailChoices()), sites) for one in people]
    return [one for one in found if one.sites and one.choices.stopped_at is None]
