"""GET /v1/events: what was recorded, in the order it was recorded."""

from datetime import date, datetime
from typing import Annotated, Any, Literal

import msgspec
from msgspec import Meta

from service.api.conditional import etag
from service.api.cursors import after_number
from service.api.filters import check_word
from service.api.operation import REVALIDATE, Call, NoQuery, Page, Paged, Reply, operation, page
from service.api.problems import bad_parameter, not_found
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
        "reservation.released",
        "alert.acknowledged",
        "alert.remind_on",
        "hold.placed",
        "hold.lifted",
    }
)


class EventsQuery(Paged, frozen=True, kw_only=True, rename={"since": "from", "until": "to"}):
    """Which events are wanted."""

    lot: Annotated[Code, Meta(description="Only events that speak of this lot.")] | None = None
    place: Annotated[Code, Meta(description="Only events that speak of this place.")] | None = None
    site: Annotated[Code, Meta(description="Only events that touch this site.")] | None = None
    type: (
        Annotated[
            str,
            Meta(
                description="Only events of this type.",
                examples=["trees.grafted"],
                extra_json_schema={"enum": list(EVENT_TYPES)},
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


@operation(
    "GET", "/v1/events", tag="Events", scope=READ, query=EventsQuery, answer=Page[StoredEvent]
)
async def list_events(call: Call[EventsQuery]) -> Reply:
    """List recorded events in the order of the log.

    Follow the log with `cursor`: positions are dense and in commit order, so nothing is skipped.
    """
    query = call.query
    check_word("type", query.type, EVENT_TYPES, "event type")
    from_day, since = day_or_time("from", query.since)
    to_day, until = day_or_time("to", query.until)
    wanted = read.EventFilter(
        lot=query.lot,
        place=query.place,
        site=query.site,
        type=query.type,
        since=since,
        until=until,
        from_day=from_day,
        to_day=to_day,
    )
    after = after_number(query.cursor)
    async with call.services.reading() as connection:
        position = await read.head(connection)
        found = await read.events(
            connection, call.principal.site_list, wanted, after=after, limit=query.limit + 1
        )
    return page(call, found, lambda event: event.position, position)


@operation("GET", "/v1/events/{id:str}", tag="Events", scope=READ, answer=StoredEvent)
async def get_event(call: Call[NoQuery]) -> Reply:
    """One recorded event. A stored event never changes; only `voided_by` can still be set, once."""
    wanted = call.uuid()
    async with call.services.reading() as connection:
        found = await read.event(connection, call.principal.site_list, wanted)
    if found is None:
        raise not_found(f"The event {wanted}")
    return event_reply(found)


def event_reply(found: StoredEvent) -> Reply:
    """One event with its ETag and how long it may be kept."""
    tag: Any = found.position if found.voided_by is None else f"{found.position}-{found.voided_by}"
    final = found.voided_by is not None or found.type in NEVER_VOIDED
    return Reply(found, etag=etag(tag), cache=IMMUTABLE if final else REVALIDATE)
