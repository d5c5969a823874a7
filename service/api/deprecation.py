"""How an operation says that it is on its way out: RFC 9745 (Deprecation), RFC 8594 (Sunset).

None is at present. One that is to go says so in its declaration, and then in every answer, in the
public description and, by a link, in words.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime


@dataclass(frozen=True)
class Deprecated:
    """Since when an operation is deprecated, and from when it may answer no more.

    Both are whole seconds with a zone; `instead` says in words what to do, `link` is a page about
    it. Raises ValueError for a sunset before the deprecation (RFC 9745 section 4) and for moments
    that no header can say.
    """

    since: datetime
    instead: str
    sunset: datetime | None = None
    link: str = "/docs"

    def __post_init__(self) -> None:
        for moment in (self.since, self.sunset or self.since):
            if moment.tzinfo is None or moment.microsecond:
                raise ValueError("give whole seconds with a zone")
        if self.sunset is not None and self.sunset < self.since:
            raise ValueError("nothing ends before it is deprecated")

    @property
    def headers(self) -> list[tuple[bytes, bytes]]:
        """What every answer of the operation says."""
        at = (self.since - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(seconds=1)
        said = {"deprecation": f"@{at}"}
        if self.sunset is not None:
            said["sunset"] = format_datetime(self.sunset.astimezone(UTC), usegmt=True)
        said["link"] = f'<{self.link}>; rel="deprecation"; type="text/html"'
        return [(name.encode(), value.encode("latin-1")) for name, value in said.items()]

    @property
    def words(self) -> str:
        """One sentence or two for the public description."""
        ends = f", ends after {self.sunset:%Y-%m-%d}" if self.sunset is not None else ""
        return f"Deprecated since {self.since:%Y-%m-%d}{ends}: {self.instead}"
