"""What stored rows stand for: events, and what the books keep of them."""

from typing import Any
from zoneinfo import ZoneInfo

import msgspec

from service.log.upcasting import newest_data
from service.trade.books import Claim, Recorded, Reservation
from service.trade.entries import Catalogue
from service.trade.events import EVENT_TYPES
from service.trade.events.envelope import Envelope
from service.trade.words import understand_occurred

_RESERVATION = [name for name in Reservation.__struct_fields__ if name != "claims"]


def event_of(row: Any) -> Envelope:
    """The event of a stored row, in the newest shape of its type. Raises NewerVersion."""
    made: Envelope = msgspec.convert(
        {
            "type": row["type"],
            "id": row["id"],
            "site": row["site"],
            "occurred": row["occurred"],
            "actor": row["actor"],
            "happened": row["happened"],
            "replaces": row["replaces"],
            "data": newest_data(row["type"], row["version"], row["data"]),
        },
        EVENT_TYPES[row["type"]],
    )
    return made


def recorded_of(row: Any, catalogue: Catalogue) -> Recorded:
    """A stored event, decoded, with what a void needs to know of it; its legs come later."""
    zone = ZoneInfo(catalogue.site(row["site"]).time_zone)
    moment = understand_occurred(row["occurred"], zone)
    return Recorded(
        position=row["position"],
        event_id=row["id"],
        type=row["type"],
        digest=row["digest"],
        event=event_of(row),
        day=row["occurred_day"],
        at=row["occurred_at"],
        timed=moment.timed,
        voided_by=row["by_position"],
    )


def reservation_of(row: Any) -> Reservation:
    """A reservation, its claims still to come."""
    return Reservation(**{name: row[name] for name in _RESERVATION}, claims=[])


def claim_of(row: Any) -> Claim:
    """One line of a reservation."""
    return Claim(
        line=row["line"],
        item=row["item"],
        lot=row["lot"],
        site=row["claim_site"],
        asked=row["asked"],
        open=row["open"],
        promised=row["promised"],
    )
