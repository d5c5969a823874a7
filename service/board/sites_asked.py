"""The sites that a page is asked about: one, or all that are seen."""

from datetime import date
from typing import Any, NamedTuple

from service.board.asking import ALL, code_in
from service.board.visit import SiteSeen, Visit


class Sites(NamedTuple):
    """`one` is None where all that are seen are asked about; `today` is the day there."""

    all: list[SiteSeen]
    one: SiteSeen | None
    zone: str
    today: date

    @property
    def code(self) -> str | None:
        return self.one.code if self.one else None

    @property
    def chosen(self) -> str:
        """As it stands in an address."""
        return self.one.code if self.one else ALL


async def sites_of(visit: Visit[Any], text: str) -> Sites:
    """The site of the address, else the one looked at last; `*` for all. Raises 404."""
    seen = await visit.sites()
    if text == ALL and seen:
        today = max(one.today for one in seen)
        return Sites(seen, None, seen[0].time_zone, today)
    one = await visit.site(None if text == ALL else code_in("site", text))
    return Sites(seen, one, one.time_zone, one.today)
