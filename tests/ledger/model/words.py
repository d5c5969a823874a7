"""What the plain model speaks of."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

MAY_BE_NEGATIVE = ("source", "variance")


class Account(NamedTuple):
    """What an account holds: empty text where a part does not apply."""

    lot: str
    site: str
    kind: str
    place: str = ""
    stage: str = ""
    size: str = ""
    grade: str = ""
    ref: str = ""


class Entry(NamedTuple):
    """So many came or went on a day, told by the event with this number; `kept` is the number of
    the count that the entry keeps true."""

    day: date
    at: datetime
    timed: bool
    delta: int
    number: int
    kept: int | None = None


class Count(NamedTuple):
    """Somebody counted an account."""

    day: date
    at: datetime
    timed: bool
    number: int


class When(NamedTuple):
    """A moment as people say it: a time, or only a day (told among others as if at noon)."""

    day: date
    at: datetime
    timed: bool


class Low(NamedTuple):
    """An account below zero: since which day, and how far on that day."""

    account: Account
    day: date
    short: int


@dataclass
class Verdict:
    """What should become of an event."""

    word: str
    why: str = ""
    low: frozenset[Low] = frozenset()


@dataclass
class Told:
    """An event in the ledger, and the lots, bags and loads that it spoke of when it was told."""

    number: int
    event: dict[str, Any]
    when: When
    codes: set[str]
    voided: bool = False


@dataclass
class Lot:
    """A lot: the event that made it, what it is, and what each event made it of.

    `wood` names the budwood lot (of a budwood lot: the tree lot) that its source follows from.
    """

    made_by: int
    kind: str
    method: str | None = None
    month: tuple[int, int] | None = None
    source: str | None = None
    wood: str | None = None
    basis: str = "counted"
    gone: bool = False
    labelled: bool = True
    parents: dict[int, frozenset[str]] = field(default_factory=dict)


@dataclass
class Bag:
    """A bag, and the bag that its pieces were cut from."""

    made_by: int
    lot: str
    basis: str = "counted"
    cut_from: str | None = None
    gone: bool = False


@dataclass
class Hold:
    """A stop, from a day until the day before another."""

    kind: str
    token: str
    since: date
    site: str
    until: date | None = None


@dataclass
class Load:
    """A consignment between two sites."""

    made_by: int
    to_site: str
    gone: bool = False
    received: date | None = None


@dataclass
class Claim:
    """One line of a reservation."""

    size: str
    grade: str
    buds: bool
    lot: str | None
    site: str | None
    asked: int
    open: int
    promised: int


@dataclass
class Reservation:
    """Lines, and what sales took off them: by the number of the sale. `noted`: its expiry was
    recorded."""

    customer: str
    site: str
    any_site: bool
    lines: list[Claim]
    needed: date
    state: str = "open"
    drawn: dict[int, dict[int, int]] = field(default_factory=dict)
    confirmed: bool = False
    expired: bool = False
    noted: bool = False
    order: str | None = None

    @property
    def counts(self) -> bool:
        return self.state == "open" and not self.expired


@dataclass
class Order:
    """Grafting to do; what is done of it by the number of each grafting that stands."""

    site: str
    wanted: int
    since: date
    method: str | None
    done: dict[int, int] = field(default_factory=dict)
    ever: set[int] = field(default_factory=set)
    ended: bool = False


class Sale(NamedTuple):
    """So many sold of a size and grade at a site."""

    size: str
    grade: str
    site: str
    count: int


@dataclass
class Override:
    """A number said by hand: by which site, of what (grade "" any, no site: all), for which days.

    `gone`: what had been sold of it by then.
    """

    by: str
    size: str
    grade: str
    site: str | None
    quantity: int
    since: date
    until: date
    gone: int
    ended: bool = False


@dataclass
class Site:
    """A site: its zone, its rules, and its places (True: retired)."""

    zone: ZoneInfo
    returns_allowed: bool = True
    inspected: tuple[date, date] | None = None
    regraft_same_source: bool = True
    places: dict[str, bool] = field(default_factory=dict)
    for_returns: frozenset[str] = frozenset()


@dataclass
class Telling:
    """One event while it is told."""

    data: dict[str, Any]
    when: When
    site: str
    number: int
    replaces: str | None = None
    broken: list[str] = field(default_factory=list)


class Refused(Exception):
    """A unit can't be told."""

    def __init__(self, why: str, low: frozenset[Low] = frozenset()) -> None:
        super().__init__(why)
        self.why = why
        self.low = low


def when(occurred: str, zone: ZoneInfo) -> When:
    """The moment that an event's `occurred` means at a site."""
    if len(occurred) == 10:
        day = date.fromisoformat(occurred)
        return When(day, datetime.combine(day, time(12), zone).astimezone(UTC), False)
    at = datetime.fromisoformat(occurred)
    return When(at.astimezone(zone).date(), at.astimezone(UTC), True)


TELL: dict[str, Callable[[Any, Telling], None]] = {}


def tells(*kinds: str) -> Callable[[Any], Any]:
    """Register what events of these types do to the books."""

    def register(teller: Any) -> Any:
        TELL.update(dict.fromkeys(kinds, teller))
        return teller

    return register
