"""Where the links of a mail lead: pages of this service, by their full address."""

from datetime import date
from typing import NamedTuple
from urllib.parse import quote

from service.reminders.alerts import AlertRow
from service.reminders.mail.tokens import Links
from service.reminders.telling import page_of


class Ways(NamedTuple):
    """The links of one person's mails, made on their day `today`. `base`: the service's address."""

    base: str
    links: Links
    person: str
    today: date

    def alert(self, alert: str) -> str:
        """The page that says of an alert that it was seen, or puts it off."""
        return f"{self.base}/mail/alert/{self.links.about(self.person, alert, self.today)}"

    def thing(self, alert: AlertRow) -> str | None:
        """The page of what it is about."""
        path = page_of(alert)
        return f"{self.base}{path}" if path else None

    def round(self, site: str) -> str:
        """The morning round of a site."""
        return f"{self.base}/round?site={quote(site, safe='')}"

    @property
    def reminders(self) -> str:
        """All alerts, and what to be told of."""
        return f"{self.base}/reminders"

    def of_kind(self, kind: str) -> str:
        """All alerts of a kind."""
        return f"{self.reminders}?site=*&kind={quote(kind, safe='')}"

    @property
    def stop(self) -> str:
        """Ends all mails to the person."""
        return stop_page(self.base, self.links, self.person)


def stop_page(base: str, links: Links, person: str) -> str:
    """The page that ends all mails to a person."""
    return f"{base}/mail/stop/{links.stop(person)}"
