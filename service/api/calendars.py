"""Calendars: days of work in a person's own calendar program."""

from typing import Any

from msgspec.structs import asdict

from service.api.conditional import content_tag, etag, expected_position, is_unchanged
from service.api.cursors import after_code
from service.api.operation import JSON, Call, NoQuery, Page, Paged, Reply, operation, page
from service.api.problems import Mistake, Problem, not_found
from service.api.taking_in import decoded
from service.log import read
from service.log.rights import READ
from service.reminders.calendar import addresses
from service.reminders.calendar.addresses import Calendar, CalendarDetails, MadeCalendar
from service.reminders.calendar.days import days
from service.reminders.calendar.entries import mark, written
from service.reminders.calendar.text import MEDIA_TYPE
from service.storage.walls import seeing

TAG = "Calendars"
# An address goes by here, and who reads what is nobody else's to know.
CACHE = "no-store"
# Calendar programs ask when they like; a proxy of theirs need not ask more often than this.
_SHOWN_FOR = "private, max-age=900"


@operation("GET", "/v1/calendars", tag=TAG, scope=READ, query=Paged, answer=Page[Calendar])
async def list_calendars(call: Call[Paged]) -> Reply:
    """List your calendars by code: those made under the name of your key, or by you as a person."""
    after = after_code(call.query.cursor)
    async with call.services.reading() as connection:
        position = await read.head(connection)
        owner = call.principal.name
        found = await addresses.page(connection, owner, after=after, limit=call.query.limit + 1)
    return page(call, found, lambda one: one.code, position)


@operation("GET", "/v1/calendars/{code:str}", tag=TAG, scope=READ, answer=Calendar)
async def get_calendar(call: Call[NoQuery]) -> Reply:
    """One of your calendars. Its ETag is needed to change it."""
    found = await _own(call)
    return Reply(found, etag=etag(found.version))


@operation(
    "PUT",
    "/v1/calendars/{code:str}",
    tag=TAG,
    scope=READ,
    accepts=(JSON,),
    body=CalendarDetails,
    answer=MadeCalendar,
    answers=(200, 201),
    problems=("not-found", "refused", "precondition-failed", "precondition-required"),
    request_headers=("If-Match", "If-None-Match"),
)
async def put_calendar(call: Call[NoQuery]) -> Reply:
    """Make a calendar, or change what it shows, whole. You choose the code.

    The address of a new one is in this answer and in no other; a calendar program subscribes to it
    without a key. It shows what you may see at the time it is asked, as whole days: checks from
    the day they are due to the last before they are overdue, one entry for all that is overdue,
    orders, reservations, and bags by their use. It shows codes and counts, no names. To change one
    send its ETag in If-Match: its address stays. At most 20 of one name.
    """
    code = call.code()
    details = decoded(await call.body(), CalendarDetails)
    current = await _current(call, code)
    version = expected_position(
        call.header("if-match"),
        call.header("if-none-match"),
        current.version if current else None,
        f"The calendar {code}",
    )
    _check_sites(call, details)
    owner, at = call.principal.name, call.services.clock()
    token: str | None = None
    async with call.services.writing() as connection:
        if current is None:
            token = await addresses.make(connection, owner, code, details, at=at)
            if token is None:
                await _say_why_not(call, code)
        elif not await addresses.change(connection, owner, code, details, at=at, version=version):
            raise _changed(code)
    stored = await _own(call)
    return Reply(
        MadeCalendar(**asdict(stored), address=address_of(call.services.settings.base, token)),
        200 if current else 201,
        etag=etag(stored.version),
        headers={"Location": f"/v1/calendars/{code}"},
        cache=CACHE,
    )


@operation(
    "DELETE",
    "/v1/calendars/{code:str}",
    tag=TAG,
    scope=READ,
    answers=(204,),
    problems=("not-found", "precondition-failed"),
    request_headers=("If-Match",),
)
async def remove_calendar(call: Call[NoQuery]) -> Reply:
    """Take a calendar back: from now on its address shows nothing to whoever has it."""
    current = await _own(call)
    if call.header("if-match") is not None:
        what = f"The calendar {current.code}"
        expected_position(call.header("if-match"), None, current.version, what)
    async with call.services.writing() as connection:
        owner = call.principal.name
        removed = await addresses.remove(connection, owner, current.code, current.version)
    if not removed:
        raise _changed(current.code)
    return Reply(status=204, cache=CACHE)


@operation(
    "GET",
    "/calendar/{token:str}",
    tag=TAG,
    scope=None,
    answer=str,
    produces=MEDIA_TYPE.partition(";")[0],
    problems=("not-found", "quota-exceeded"),
    request_headers=("If-None-Match",),
)
async def read_calendar(call: Call[NoQuery]) -> Reply:
    """What a calendar program asks for: iCalendar (RFC 5545 and 7986), by the address alone.

    Entries keep their UID for as long as they are the same thing; what is over is CANCELLED for
    two weeks. Of more than 2,000 the nearest days are shown. An address that was taken back, or
    whose owner may read no more, is not known here.
    """
    services = call.services
    token = str(call.request.scope["path_params"]["token"]).removesuffix(".ics")
    caller = (call.request.scope["client"] or ("",))[0]
    services.limits.try_key(caller)
    now = services.clock()
    async with services.writing() as connection:
        found = await addresses.shown_at(connection, token, now)
    if found is None:
        services.limits.wrong_key(caller)
        raise not_found("A calendar of this address")
    call.request.scope["state"]["allowance"] = await services.limits.count(found.owner)
    sites = None if found.sites is None else sorted(found.sites)
    async with seeing(services.database.reader, sites, found.owner, timeout=10) as connection:
        shown = await days(connection, sites, found.shows, now)
    base = services.settings.base
    tag = content_tag(mark(shown, found.language, base))
    known = is_unchanged(call.header("if-none-match"), tag)
    return Reply(
        b"" if known else written(shown, found.language, base),
        etag=tag,
        headers={"Content-Disposition": 'inline; filename="graftlog.ics"'},
        media_type=MEDIA_TYPE,
        cache=_SHOWN_FOR,
    )


def address_of(base: str, token: str | None) -> str | None:
    """What a calendar program subscribes to."""
    return None if token is None else f"{base}/calendar/{token}.ics"


async def _current(call: Call[Any], code: str) -> Calendar | None:
    async with call.services.reading() as connection:
        return await addresses.calendar(connection, call.principal.name, code)


async def _own(call: Call[Any]) -> Calendar:
    """The calendar in the path. Raises 404 when the asker has none of the code."""
    code = call.code()
    found = await _current(call, code)
    if found is None:
        raise not_found(f"A calendar {code} of yours")
    return found


def _check_sites(call: Call[Any], details: CalendarDetails) -> None:
    """Raises 409 for sites that the asker does not see, there or not."""
    mistakes = [
        Mistake(
            kind="unknown_code",
            detail=f"No site {site} is known.",
            pointer=f"#/sites/{details.sites.index(site) if details.sites else 0}",
        )
        for site in addresses.outside(details, call.principal)
    ]
    if mistakes:
        raise Problem("refused", "Nothing was changed: see errors.", errors=mistakes)


async def _say_why_not(call: Call[Any], code: str) -> None:
    if await _current(call, code) is not None:
        raise _changed(code)
    most = addresses.MOST_OF_ONE_OWNER
    detail = f"{call.principal.name} has {most} calendars, and may have no more."
    mistake = Mistake(kind="too_many", detail=detail, pointer="#")
    raise Problem("refused", "Nothing was made.", errors=[mistake])


def _changed(code: str) -> Problem:
    return Problem("precondition-failed", f"The calendar {code} was changed since it was read.")


HANDLERS = [list_calendars, get_calendar, put_calendar, remove_calendar, read_calendar]
