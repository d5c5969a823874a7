"""What is due: checks and places that want a look; and when trees will be ready."""

from datetime import date
from typing import Annotated, Literal

from msgspec import Meta

from service.api.operation import Call, Page, Reply, bad_parameter, operation
from service.api.services import UNREACHABLE, unreachable
from service.api.views import ReflectingPage, after_list, view_page, wait_for_view
from service.forecast import ready_view
from service.log.rights import READ
from service.trade.words import Code, Word
from service.views import checks as checks_view
from service.views import positions
from service.views.paging import page_key


class ChecksParameters(ReflectingPage, frozen=True, kw_only=True):
    """Which checks are wanted."""

    site: Code | None = None
    place: Code | None = None
    lot: Code | None = None
    check: (
        Annotated[Word, Meta(description="Its name; `look` for looks at whole places.")] | None
    ) = None
    state: Literal["due", "overdue", "upcoming"] | None = None


class ReadyParameters(ReflectingPage, frozen=True, kw_only=True):
    """Which ready dates are wanted."""

    site: Code | None = None
    lot: Code | None = None
    cultivar: Code | None = None
    rootstock: Code | None = None
    size: Code | None = None
    ready_by: Annotated[date, Meta(description="Expected on this day or earlier.")] | None = None


@operation(
    "GET",
    "/v1/checks",
    tag="Checks",
    scope=READ,
    query=ChecksParameters,
    answer=Page[checks_view.CheckRow],
    request_headers=("Prefer",),
)
async def list_checks(call: Call[ChecksParameters]) -> Reply:
    """List checks by the day they are due: for a lot at a place, or a look at a whole place.

    Due and overdue go by the site's own calendar day. Nothing recorded is never shown as done.
    """
    asked, services = call.query, call.services
    query = checks_view.ChecksQuery(
        site=asked.site,
        place=asked.place,
        lot=asked.lot,
        check=asked.check,
        state=asked.state,
        limit=asked.limit,
        after=after_list(asked.cursor),
    )
    try:
        applied = await wait_for_view(call, checks_view.NAME)
        found = await checks_view.checks(
            services.database.reader, query, call.principal.site_list, clock=services.clock
        )
    except ValueError as error:
        raise bad_parameter("cursor", str(error)) from error
    except UNREACHABLE as error:
        raise unreachable() from error
    return view_page(
        call,
        position=found.position,
        items=found.rows,
        next_after=found.next_after,
        headers=applied,
    )


@operation(
    "GET",
    "/v1/ready-dates",
    tag="Forecast",
    scope=READ,
    query=ReadyParameters,
    answer=Page[ready_view.ReadyDateRow],
    request_headers=("Prefer",),
)
async def list_ready_dates(call: Call[ReadyParameters]) -> Reply:
    """List when the trees of each lot are expected to be ready, soonest first.

    An estimate from degree-days at the site, with its method and thresholds; not a promise.
    """
    asked = call.query
    sites = call.principal.site_list
    if asked.site is not None:
        sites = [asked.site] if call.principal.sees(asked.site) else []
    try:
        key = page_key(after_list(asked.cursor), (date | None, str, str))  # type: ignore[arg-type]
    except ValueError as error:
        raise bad_parameter("cursor", str(error)) from error
    applied = await wait_for_view(call, ready_view.ReadyDatesView.name)
    async with call.services.reading(one_moment=True) as connection:
        reached = await positions.position(connection, ready_view.ReadyDatesView.name)
        rows = await ready_view.answer(
            connection,
            sites=sites,
            lot=asked.lot,
            cultivar=asked.cultivar,
            rootstock=asked.rootstock,
            size=asked.size,
            ready_by=asked.ready_by,
            after=(key[0], key[1], key[2]) if asked.cursor else None,
            limit=asked.limit + 1,
        )
    more = None
    if len(rows) > asked.limit:
        rows = rows[: asked.limit]
        last = rows[-1]
        more = [last.expected and last.expected.isoformat(), last.lot, last.site]
    return view_page(call, position=reached, items=rows, next_after=more, headers=applied)


HANDLERS = [list_checks, list_ready_dates]
