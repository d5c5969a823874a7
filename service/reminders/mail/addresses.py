"""Where the links of a mail lead: pages of this service, by their full address."""

from datetime import date
from typing import NamedTuple
from urllib.parse import quote

from service.reminders.mail.tokens import Links


class Ways(NamedTuple):
    """The links of one person's mails, made on their day `today`. `base`: the service's address."""

    base: str
    links: Links
    person: str
    today: date

    def alert(self, alert: str) -> str:
        """The page that says of an alert that it was seen, or puts it off."""
        return f"{self.base}/mail/alert/{self.links.about(self.person, alert, self.today)}"

    def thing(self, place: str | None, lot: str | None) -> str | None:
        """The page of the table or lot that it is about."""
        if place:
            return f"{self.base}/table/{quote(place, safe='')}"
        return f"{self.base}/lot/{quote(lot, safe='')}" if lot else None

    def round(self, site: str) -> str:
        """The morning round of a site."""
        return f"{self.base}/round?site={quote(site, safe='')}"

    @property
    def reminders(self) -> str:
        """All alerts, and what to be told of."""
        return f"{self.base}/reminders"

    @property
    def stop(self) -> str:
        """Ends all mails to the person."""
        return stop_page(self.base, self.links, self.person)


def stop_page(base: str, links: Links, person: str) -> str:
    """The page that ends all mails to a person."""
    return f"{base}/mail/stop/{links.stop(person)}"
