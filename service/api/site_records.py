"""What the records of a site's weather share: whose they are, how they come in, what is refused."""

import re
from collections.abc import Awaitable, Callable
from datetime import date, datetime
from typing import Annotated, Any, TypeVar

import msgspec
from msgspec import Meta

from service.api import shapes
from service.api.headers import media_type
from service.api.operation import CSV, Call, Reply
from service.api.problems import (
    Mistake,
    Problem,
    bad_parameter,
    lacks_scope,
    mistake_of,
    not_found,
)
from service.api.taking_in import unreadable
from service.forecast.records.sent import Fault, NotRecordedError, lines_of
from service.log import read
from service.log.incoming import FUTURE_TOLERANCE
from service.log.rights import HISTORY
from service.storage.pool import Connection
from service.trade.events.catalogue import Site
from service.trade.words import EARLIEST_YEAR, LATEST_YEAR
from service.views.site_days import zone

T = TypeVar("T")
_PLACE = re.compile(r"/[a-z]+/([0-9]+)")

RecordedAt = (
    Annotated[
        str,
        # As text: a bare number would be taken for seconds.
        Meta(
            pattern=r"^[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt ][0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]{1,6})?"
            r"([Zz]|[+-][0-9]{2}:[0-9]{2})$(?!\n)",
            examples=["2026-03-07T09:00:00Z"],
            description="When it became known, if that was before now: imports of old records say "
            "it (scope history). Not before the newest version of the record.",
        ),
    ]
    | None
)


async def site_of(call: Call[Any]) -> Site:
    """The site in the path. Raises 404."""
    code = call.code()
    async with call.services.reading() as connection:
        found = await read.catalogue_entry(connection, call.principal.site_list, "site", code)
    if found is None or not isinstance(found.entry, Site):
        raise not_found(f"The site {code}")
    return found.entry


def today_of(site: Site, now: datetime) -> date:
    """The site's calendar day at a moment."""
    return now.astimezone(zone(site.time_zone)).date()


def moment_of(call: Call[Any], told: str | None) -> datetime:
    """When it counts as recorded: now, or earlier where the sender tells it and may.

    Raises 403 without the scope for it, 422 for what is no moment or is to come.
    """
    now = call.services.clock()
    if told is None:
        return now
    if not call.principal.may(HISTORY):
        raise lacks_scope(HISTORY)
    try:
        moment: datetime = msgspec.convert(told, Annotated[datetime, Meta(tz=True)])
    except msgspec.ValidationError as error:
        raise bad_parameter("recorded_at", f"{told} is no time.", "not_a_day") from error
    if not EARLIEST_YEAR < moment.year < LATEST_YEAR:
        detail = f"{told} lies outside the years that are told of."
        raise bad_parameter("recorded_at", detail, "not_a_day")
    if moment > now + FUTURE_TOLERANCE:
        raise bad_parameter("recorded_at", f"{told} is still to come.", "in_the_future")
    return min(moment, now)


def is_csv(call: Call[Any]) -> bool:
    """Whether the body is CSV."""
    return media_type(call.header("content-type")) == CSV


def from_json(body: bytes, shape: type[T]) -> T:
    """What a JSON body says. Raises 400 and 422."""
    try:
        return msgspec.json.decode(body, type=shape)
    except msgspec.ValidationError as error:
        mistake = mistake_of(shapes.fault_of(str(error), shape, body))
        raise _problem([mistake]) from error
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise unreadable(error, body) from error


def from_csv(body: bytes, parse: Callable[[str], T]) -> T:
    """What a CSV body says. Raises 400 and 422."""
    try:
        return parse(body.decode("utf-8"))
    except UnicodeDecodeError as error:
        raise unreadable(error, body) from error
    except NotRecordedError as error:
        raise refused(error.faults) from error


async def recorded(
    call: Call[Any], record: Callable[[Connection], Awaitable[Any]], *, sheet: bytes | None = None
) -> Reply:
    """The report of what `record` did with a writer's connection.

    `sheet` is the body where it was CSV: what is refused then names its line. Raises 422, 503.
    """
    try:
        async with call.services.writing() as connection:
            report = await record(connection)
    except NotRecordedError as error:
        raise refused(error.faults, sheet) from error
    return Reply(report, cache="no-store")


def refused(faults: list[Fault], sheet: bytes | None = None) -> Problem:
    """The problem that names every fault, by its line where what was sent is a CSV."""
    lines = [] if sheet is None else lines_of(sheet.decode("utf-8"))
    return _problem([_mistake(fault, lines) for fault in faults])


def _problem(mistakes: list[Mistake]) -> Problem:
    return Problem("validation-error", "Nothing was recorded: see errors.", errors=mistakes)


def _mistake(fault: Fault, lines: list[int]) -> Mistake:
    line, pointer = fault.line, fault.pointer
    if lines and pointer is not None and (place := _PLACE.match(pointer)) is not None:
        line, pointer = lines[int(place[1])], None
    return Mistake(
        kind=fault.kind,
        detail=fault.detail,
        pointer=f"#{pointer}" if pointer is not None else None,
        parameter=fault.parameter,
        numbers={"line": line} if line is not None else {},
    )
