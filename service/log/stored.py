"""What is read back from the log and its books."""

from datetime import date, datetime
from typing import Annotated, Any, Literal

import msgspec
from msgspec import Meta

from service.trade.events.catalogue import Entry

Position = Annotated[int, Meta(ge=0, description="A place in the log; the first event has 1.")]
AsOf = Annotated[
    int, Meta(ge=0, description="The log's position that this answer reflects, or a later one.")
]


class Row(msgspec.Struct, frozen=True, kw_only=True):
    """Base of everything read back."""


class StoredEvent(Row, frozen=True, kw_only=True):
    """An event as it was recorded, complete: nothing left to default or to derive."""

    id: Annotated[str, Meta(description="UUID of the event.")]
    type: Annotated[str, Meta(examples=["trees.grafted"])]
    version: Annotated[int, Meta(ge=1, description="Of the shape of `data`: the newest.")]
    site: Annotated[str, Meta(description="The site that acted.")]
    occurred: Annotated[str, Meta(description="When it happened: a time, or a site's day.")]
    occurred_at: Annotated[
        datetime, Meta(description="The moment it is ordered by: of a day alone, its noon there.")
    ]
    actor: str | None
    happened: bool
    replaces: str | None
    data: Annotated[
        dict[str, Any],
        Meta(description="What the event type says; its schema is the type's `…Data`."),
    ]
    position: Position
    recorded_at: Annotated[datetime, Meta(description="When the log learned of it.")]
    recorded_by: Annotated[str, Meta(description="The holder of the key.")]
    sites: Annotated[list[str], Meta(description="All sites it touches.")]
    remarks: Annotated[list[dict[str, Any]], Meta(description="What was worth saying of it.")]
    voided_by: Annotated[
        int | None, Meta(description="Position of the event that voided it, if any.")
    ]


class CatalogueItem(Row, frozen=True, kw_only=True):
    """An entry of the catalogue and the position of its last change, which is its ETag."""

    entry: Entry
    position: Position


class LotSummary(Row, frozen=True, kw_only=True):
    """A lot and how much of it stands at the sites that the key sees."""

    code: str
    kind: Literal["budwood", "liner", "tree"]
    site: Annotated[str, Meta(description="Where it was made or received.")]
    cultivar: str | None
    rootstock: str | None
    source: Annotated[
        str | None, Meta(description="The original source, such as source_tree:NAV-3.")
    ]
    method: str | None
    day: Annotated[date | None, Meta(description="Of cutting, receipt or grafting.")]
    attempt: int
    basis: Annotated[str, Meta(description="How its figures came to be: counted or less sure.")]
    identified: bool
    grown_for: str | None
    parents: Annotated[list[str], Meta(description="What it was made of, such as bag:B-0107.")]
    position: Position
    changed_position: Annotated[int, Meta(description="Of its last change: its ETag.")]
    on_hand: Annotated[int, Meta(description="Buds in bags, liners, or trees not failed.")]
    failed: Annotated[int, Meta(description="Trees that stand with a dead scion.")]
    in_transit: Annotated[int, Meta(description="On the way between sites.")]


class StandingNow(Row, frozen=True, kw_only=True):
    """How much of a lot stands at a place, in one stage, size and grade."""

    site: str
    place: str
    stage: str | None
    size: str | None
    grade: str | None
    count: int


class BagOnHand(Row, frozen=True, kw_only=True):
    """A bag of a budwood lot and the buds left in it, place by place."""

    code: str
    buds: Annotated[int, Meta(description="When it was filled.")]
    sticks: int | None
    basis: str
    parent: Annotated[str | None, Meta(description="The bag that its pieces were cut from.")]
    pieces: int | None
    buds_per_piece: int | None
    left: Annotated[int, Meta(description="Buds left now, at the sites that the key sees.")]
    site: str | None
    place: str | None


class Gone(Row, frozen=True, kw_only=True):
    """What left a lot: used, lost, discarded or sold, and to what or why; or was miscounted.

    What was made or received of a lot is what stands of it, travels and is gone, added up.
    """

    kind: Annotated[
        str,
        Meta(
            description="used, lost, discarded, customer; or variance: what stock counts and "
            "consignments found against the book.",
            examples=["lost"],
        ),
    ]
    ref: Annotated[str, Meta(description="The cause, the customer, or the lot it went into.")]
    site: str
    commodity: Literal["buds", "plants"]
    count: Annotated[
        int,
        Meta(
            description="How many are gone. Of kind variance: more than 0 when fewer were found "
            "than the book said, less than 0 when more were."
        ),
    ]


class Travelling(Row, frozen=True, kw_only=True):
    """What of a lot is on its way to a site."""

    consignment: str
    to_site: str
    stage: str | None
    size: str | None
    bag: str | None
    commodity: Literal["buds", "plants"]
    count: int


class PutRight(Row, frozen=True, kw_only=True):
    """Something a person recorded and the log refused, kept as it came."""

    id: int
    event_id: Annotated[
        str | None, Meta(description="Null for what has no readable id, or another event's.")
    ]
    principal: Annotated[str, Meta(description="Who sent it first.")]
    last_by: Annotated[str, Meta(description="Who tried last to have it recorded.")]
    site: Annotated[str | None, Meta(description="The site that it names.")]
    raw: Annotated[
        str, Meta(description="What was sent last; bytes that are not UTF-8 are replaced.")
    ]
    reasons: Annotated[list[dict[str, Any]], Meta(description="Why it was refused.")]
    attempts: Annotated[int, Meta(description="How often it was sent.")]
    state: Annotated[
        Literal["open", "recorded", "discarded"],
        Meta(description="open until an event of its id is recorded, or somebody discards it."),
    ]
    first_at: datetime
    last_at: datetime
    resolved_position: Annotated[
        int | None, Meta(description="Where the event that put it right is in the log.")
    ]
    resolved_by: Annotated[
        str | None, Meta(description="Who sent what was recorded, or discarded it.")
    ]
    resolved_at: datetime | None
    discard_reason: str | None


class RefusalReason(Row, frozen=True, kw_only=True):
    """One reason for a refusal, with what would settle it."""

    kind: str
    detail: Annotated[str, Meta(description="The reason in words.")]
    pointer: Annotated[
        str, Meta(description="Where in what was sent: a JSON Pointer (RFC 6901) as a fragment.")
    ]
    numbers: Annotated[
        dict[str, Any], Meta(description="What a person needs to put it right, by name.")
    ]
    settled_by: Annotated[str, Meta(description="What a person can do about it.")]


class EarlierSending(Row, frozen=True, kw_only=True):
    """What was sent for an item before other content took its place."""

    attempt: Annotated[int, Meta(ge=1, description="The last attempt with this content.")]
    principal: str
    at: datetime
    raw: str
    reasons: list[RefusalReason]


class PutRightWhole(PutRight, frozen=True, kw_only=True):
    """An item with all that was sent for it, and what would settle it."""

    reasons: list[RefusalReason]  # type: ignore[assignment]
    raw_base64: Annotated[
        str | None, Meta(description="The bytes as they came, where they are not UTF-8; else null.")
    ]
    earlier: Annotated[list[EarlierSending], Meta(description="Sent before, oldest first.")]
    recorded_event: Annotated[
        str | None, Meta(description="Id of the event that put it right, if any.")
    ]


class HoldNow(Row, frozen=True, kw_only=True):
    """A hold; in force until it is lifted."""

    code: str
    kind: str
    target: str
    target_code: str
    site: str
    reason: str
    from_day: date
    position: Position
    lifted_day: date | None
    lifted_position: int | None
