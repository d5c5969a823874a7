"""The corpus read, taken into the books, and added to."""

from datetime import UTC, date, datetime
from itertools import groupby
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import msgspec

from service.log.incoming import digest_of
from service.log.rows import event_of
from service.log.upcasting import newest_version
from service.trade import codes
from service.trade.books import Books
from service.trade.events import Event
from service.trade.units import Accepted, Incoming, take_in
from service.trade.words import Moment, understand_occurred

STORED = Path(__file__).with_name("stored.ndjson")
# The story's clock: long after all of it.
NOW = datetime(2026, 6, 30, 12, tzinfo=UTC)
_decode = msgspec.json.Decoder(Event).decode


class Stored(msgspec.Struct, kw_only=True):
    """One stored event: as it was sent, as the log keeps it, and what it moved."""

    position: int
    unit: int
    id: str
    type: str
    version: int
    site: str
    occurred: str
    occurred_at: datetime
    occurred_day: date
    actor: str | None
    happened: bool
    replaces: str | None
    digest: str
    data: dict[str, Any]
    remarks: list[dict[str, Any]]
    sites: list[str]
    subjects: list[tuple[str, str]]
    # lot, the account's key, day, delta, the count that the leg keeps true
    legs: list[tuple[str, list[str], date, int, int | None]]
    sent: dict[str, Any]

    def incoming(self, index: int) -> Incoming:
        """It as a refold takes it in: decoded in the newest shape."""
        timed = len(self.occurred) > len("2026-01-01")
        moment = Moment(self.occurred_at, self.occurred_day, timed)
        return Incoming(event_of(_Row(self)), moment, bytes.fromhex(self.digest), index)


class _Row:
    """A stored event under the names of a row of `events`."""

    def __init__(self, stored: Stored) -> None:
        self._stored = stored

    def __getitem__(self, name: str) -> Any:
        return getattr(self._stored, name)


def read() -> list[Stored]:
    """The corpus in order of position."""
    decoder = msgspec.json.Decoder(Stored)
    return [decoder.decode(line) for line in STORED.read_bytes().splitlines()]


def refold(corpus: list[Stored]) -> tuple[Books, list[Accepted]]:
    """Books and events taken in from the corpus alone, as a refold of the log does."""
    books, taken = Books(), []
    for _, unit in groupby(corpus, key=lambda one: one.unit):
        incoming = [one.incoming(index) for index, one in enumerate(unit)]
        taken += take_in(books, incoming, completed=True)
    return books, taken


def legs_of(books: Books, one: Accepted) -> list[Any]:
    """What an event moved, by names instead of the books' numbers."""
    found = []
    for posting in one.postings:
        account = books.account_by_id[posting.account_id]
        found.append((account.lot, list(account.key), posting.day, posting.delta, posting.anchor))
    return found


def told_anew(corpus: list[Stored], units: list[list[dict[str, Any]]]) -> list[Stored]:
    """What of a story is not in the corpus yet, judged after it and completed as the log does."""
    books, _ = refold(corpus)
    books.now = NOW
    there = {one.id for one in corpus}
    unit = max((one.unit for one in corpus), default=0)
    made: list[Stored] = []
    for sent_together in units:
        fresh = [sent for sent in sent_together if sent["id"] not in there]
        if not fresh:
            continue
        unit += 1
        books.fresh = [codes.mint(10 * unit + n) for n in range(10)]
        made += _recorded(books, unit, fresh)
    return made


def _recorded(books: Books, unit: int, sent_together: list[dict[str, Any]]) -> list[Stored]:
    incoming = []
    for index, sent in enumerate(sent_together):
        event = _decode(msgspec.json.encode(sent))
        moment = understand_occurred(event.occurred, ZoneInfo(_zone(books, event, sent_together)))
        incoming.append(Incoming(event, moment, digest_of(event), index))
    return [
        Stored(
            position=one.position,
            unit=unit,
            id=one.event.id or "",
            type=str(one.event.__struct_config__.tag),
            version=newest_version(str(one.event.__struct_config__.tag)),
            site=one.event.site,
            occurred=one.event.occurred,
            occurred_at=one.moment.at,
            occurred_day=one.moment.day,
            actor=one.event.actor,
            happened=one.event.happened,
            replaces=one.event.replaces,
            digest=one.digest.hex(),
            data=msgspec.to_builtins(one.event.data),  # type: ignore[attr-defined]
            remarks=msgspec.to_builtins(one.remarks),
            sites=one.sites,
            subjects=sorted(one.subjects),
            legs=legs_of(books, one),
            sent=sent_together[one.index],
        )
        for one in take_in(books, incoming)
    ]


def _zone(books: Books, event: Any, sent_together: list[dict[str, Any]]) -> str:
    for sent in sent_together:
        entry = sent["data"].get("entry", {})
        if (entry.get("kind"), entry.get("code")) == ("site", event.site):
            return str(entry["time_zone"])
    return books.catalogue.site(event.site).time_zone
