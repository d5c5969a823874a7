"""What binds of each item: open claims added up, and kept so while reservations change.

Adding up anew for every wish would cost as much as there are claims: a nursery has thousands.
"""

from collections.abc import Mapping
from datetime import date, datetime
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from service.trade.books import Books, Reservation


class Kind(NamedTuple):
    """What claims have alike: the item, the lot, the site, the day; see `books.Claim`."""

    item: str
    lot: str | None
    site: str | None
    needed_by: date | None

    @property
    def cultivar(self) -> str:
        """The item's, whether it is of trees or of buds."""
        first, _, rest = self.item.partition("/")
        return rest if first == "buds" else first


_NOTHING: Mapping[Kind, int] = {}


class Claimed:
    """How many are open of each kind of claim at a moment, and of each reservation."""

    def __init__(self, books: "Books") -> None:
        assert books.now is not None
        self.now: datetime = books.now
        self._all: dict[str, dict[Kind, int]] = {}
        self._parts: dict[str, dict[Kind, int]] = {}
        for reservation in books.reservations.values():
            self._take(reservation)

    def of(self, cultivar: str) -> Mapping[Kind, int]:
        """By kind, of a cultivar."""
        return self._all.get(cultivar, _NOTHING)

    def part(self, code: str | None) -> Mapping[Kind, int]:
        """What of it one reservation has."""
        return self._parts.get(code or "", _NOTHING)

    def again(self, code: str, reservation: "Reservation | None") -> None:
        """A reservation is otherwise, or no more."""
        for kind, count in self._parts.pop(code, {}).items():
            counts = self._all[kind.cultivar]
            counts[kind] -= count
            if not counts[kind]:
                del counts[kind]
        if reservation is not None:
            self._take(reservation)

    def _take(self, reservation: "Reservation") -> None:
        if not reservation.counts_at(self.now):
            return
        part = self._parts.setdefault(reservation.code, {})
        for claim in reservation.claims:
            if claim.open:
                kind = Kind(claim.item, claim.lot, claim.site, reservation.needed_by)
                part[kind] = part.get(kind, 0) + claim.open
                counts = self._all.setdefault(kind.cultivar, {})
                counts[kind] = counts.get(kind, 0) + claim.open


def claimed(books: "Books") -> Claimed:
    """What binds at the books' moment."""
    known = books.claimed
    if known is None or known.now != books.now:
        known = books.claimed = Claimed(books)
    else:
        for code in books.reclaimed:
            known.again(code, books.reservations.get(code))
    books.reclaimed.clear()
    return known
