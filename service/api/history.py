"""GET /v1/events: what was recorded, in the order it was recorded."""

from datetime import date, datetime
from typing import Annotated, Any, Literal, Protocol

import msgspec
from msgspec import Meta

from service.api.conditional import etag
from service.api.cursors import after_number
from service.api.filters import check_word
from service.api.headers import names_type
from service.api.operation import (
    REVALIDATE,
    Call,
    NoQuery,
    Page,
    Paged,
    Reply,
    next_page,
    operation,
)
from service.api.problems import bad_parameter, not_found
from service.feed import cloud_events
from service.feed.cloud_events import binary_headers
from service.log import read
from service.log.rights import READ
from service.log.stored import StoredEvent
from service.trade.events import EVENT_TYPES
from service.trade.words import Code, Occurred

IMMUTABLE = "private, max-age=31536000, immutable"
# These are never voided (a wrong hold is lifted), so what is said of them never changes.
NEVER_VOIDED = frozenset(
    {
        "event.voided",
        "catalogue.changed",
        "reservation.made",
        "reservation.changed",
        "reservation.confirmed",
        "reservation.expired",
        "reservation.released",
        "alert.acknowledged",
        "alert.remind_on",
        "hold.placed",
        "hold.lifted",
    }
)


Position = Annotated[int, Meta(ge=0, lt=2**62)]


OfLot = Annotated[Code, Meta(description="Only events that speak of this lot.")] | None
OfPlace = Annotated[Code, Meta(description="Only events that speak of this place.")] | None
OfSite = Annotated[Code, Meta(description="Only events that touch this site.")] | None
OfTypes = (
    Annotated[
        list[Annotated[str, Meta(extra_json_schema={"enum": list(EVENT_TYPES)})]],
        Meta(
            min_length=1,
            max_length=len(EVENT_TYPES),
            description="Only events of this type, or of these.",
            examples=[["trees.grafted"]],
        ),
    ]
    | None
)


class Wanted(Protocol):
    """The part of a query that says which events are wanted, in a list and in a stream."""

    @property
    def lot(self) -> str | None: ...

    @property
    def place(self) -> str | None: ...

    @property
    def site(self) -> str | None: ...

    @property
    def type(self) -> list[str] | None: ...


class EventsQuery(Paged, frozen=True, kw_only=True, rename={"since": "from", "until": "to"}):
    """Which events are wanted, and where the list goes on."""

    lot: OfLot = None
    place: OfPlace = None
    site: OfSite = None
    type: OfTypes = None
    after: (
        Annotated[
            Position,
            Meta(
                description="Only events after this position: `after` of the last page that you "
                "have. So the log is followed: ask again, whenever you like."
            ),
        ]
        | None
    ) = None
    since: (
        Annotated[
            Occurred,
            Meta(
                description="Occurred on this day or later; with a time, at that instant or later."
            ),
        ]
        | None
    ) = None
    until: (
        Annotated[
            Occurred,
            Meta(description="Occurred on this day or earlier; with a time, before that instant."),
        ]
        | None
    ) = None
    order: Annotated[Literal["position"], Meta(description="The order they were recorded in.")] = (
        "position"
    )


class EventPage(Page[StoredEvent], frozen=True, kw_only=True):
    """A page of events, and where to go on after it."""

    after: Annotated[
        int,
        Meta(
            ge=0,
            description="Go on with this as `after`: on the last page too, when there is more to "
            "tell. All that is wanted up to there has been told.",
        ),
    ]


def day_or_time(name: str, text: str | None) -> tuple[date | None, datetime | None]:
    """A parameter that is a day or a time, as one of the two. Raises 422 for neither."""
    try:
        if text is None:
            return None, None
        if len(text) == 10:
            return date.fromisoformat(text), None
        moment: datetime = msgspec.convert(text, Annotated[datetime, Meta(tz=True)])
        return None, moment
    except (ValueError, OverflowError) as error:
        raise bad_parameter(
            name, f"{text} is no day or time of the calendar.", "not_a_day"
        ) from error


def wanted_of(query: Wanted) -> read.EventFilter:
    """What a query wants, as the log is asked. Raises 422 for what is no event type."""
    for kind in query.type or ():
        check_word("type", kind, EVENT_TYPES, "event type")
    return read.EventFilter(lot=query.lot, place=query.place, site=query.site, types=query.type)


def check_reached(name: str, after: int, head: int) -> None:
    """Raises 422 for a position that the log has not reached.

    To go on at its end would leave out for ever what is recorded in between.
    """
    if after > head:
        raise bad_parameter(
            name, f"The log ends at {head}, before {after}: begin again.", "beyond_log"
        )


@operation(
    "GET",
    "/v1/events",
    tag="Events",
    scope=READ,
    query=EventsQuery,
    answer=EventPage,
    also=((cloud_events.MANY, list[cloud_events.CloudEvent]),),
)
async def list_events(call: Call[EventsQuery]) -> Reply:
    """List recorded events in the order of the log.

    Positions are dense and in commit order, so who follows by position misses nothing: go on with
    `next` while there is one, and later with `after`. With `Accept:
    application/cloudevents-batch+json` the answer is a batch of CloudEvents 1.0; then `next` is in
    the header Link and `after` in Graftlog-After.
    """
    query = call.query
    from_day, since = day_or_time("from", query.since)
    to_day, until = day_or_time("to", query.until)
    wanted = msgspec.structs.replace(
        wanted_of(query), since=since, until=until, from_day=from_day, to_day=to_day
    )
    # A cursor is within the question that it came from.
    after = max(after_number(query.cursor), query.after or 0)
    async with call.services.reading() as connection:
        position = await read.head(connection)
        check_reached("after", query.after or 0, position)
        found = await read.events(
            connection, call.principal.site_list, wanted, after=after, limit=query.limit + 1
        )
    more, found = len(found) > query.limit, found[: query.limit]
    reached = found[-1].position if more else position
    body = {"position": position, "items": found, "after": reached}
    reply = next_page(call, body, str(reached) if more else None, {})
    if not names_type(call.header("accept"), cloud_events.MANY):
        return reply
    base = call.services.settings.base
    batch = [cloud_events.cloud_event(one, base) for one in found]
    said = reply.headers | {"Graftlog-Position": str(position), "Graftlog-After": str(reached)}
    return Reply(batch, headers=said, media_type=cloud_events.MANY)


@operation(
    "GET",
    "/v1/events/{id:str}",
    tag="Events",
    scope=READ,
    answer=StoredEvent,
    also=((cloud_events.ONE, cloud_events.CloudEvent),),
)
async def get_event(call: Call[NoQuery]) -> Reply:
    """One recorded event. A stored event never changes; only `voided_by` can still be set, once.

    With `Accept: application/cloudevents+json` it comes as a CloudEvent 1.0. Without, it is one
    too, in HTTP's binary mode: the rest of it is in headers that begin with `ce-`.
    """
    wanted = call.uuid()
    async with call.services.reading() as connection:
        found = await read.event(connection, call.principal.site_list, wanted)
    if found is None:
        raise not_found(f"The event {wanted}")
    told = cloud_events.cloud_event(found, call.services.settings.base)
    tag: Any = found.position if found.voided_by is None else f"{found.position}-{found.voided_by}"
    final = found.voided_by is not None or found.type in NEVER_VOIDED
    cache = IMMUTABLE if final else REVALIDATE
    if names_type(call.header("accept"), cloud_events.ONE):
        return Reply(told, etag=etag(f"{tag}-ce"), media_type=cloud_events.ONE, cache=cache)
    return Reply(found, etag=etag(tag), headers=binary_headers(told), cache=cache)
