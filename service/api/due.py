"""What is due: checks and places that want a look; and when trees will be ready."""

from datetime import date
from typing import Annotated, Any, Literal

import msgspec
from msgspec import Meta

from service.api.clocks import AsOf, ClockedPage, KnownAt, clocked_list
from service.api.filters import check_word
from service.api.operation import Call, Page, Reply, operation
from service.api.views import ReflectingPage, view_list
from service.forecast import ready_view
from service.log import read
from service.log.rights import READ
from service.trade.check_plans import DEFAULT_PLANS, LOOK
from service.trade.words import Code, Word
from service.views import checks, positions
from service.views.clocks import Asked
from service.views.paging import page_key

READY = ready_view.ReadyDatesView.name


class ChecksParameters(ReflectingPage, frozen=True, kw_only=True):
    """Which checks are wanted."""

    site: Code | None = None
    place: Code | None = None
    lot: Code | None = None
    check: (
        Annotated[Word, Meta(description="Its name; `look` for looks at whole places.")] | None
    ) = None
    state: Literal["due", "overdue", "upcoming"] | None = None
    as_of: AsOf = None
    known_at: KnownAt = None


class ReadyParameters(ReflectingPage, frozen=True, kw_only=True):
    """Which ready dates are wanted."""

    site: Code | None = None
    lot: Code | None = None
    cultivar: Code | None = None
    rootstock: Code | None = None
    size: Code | None = None
    ready_by: Annotated[date, Meta(description="Expected on this day or earlier.")] | None = None


class ReadyPage(msgspec.Struct, frozen=True, kw_only=True):
    """A page of ready dates, as other views give theirs."""

    position: int
    rows: list[ready_view.ReadyDateRow]
    next_after: list[Any] | None


@operation(
    "GET",
    "/v1/checks",
    tag="Checks",
    scope=READ,
    query=ChecksParameters,
    answer=ClockedPage[checks.CheckRow],
    request_headers=("Prefer",),
)
async def list_checks(call: Call[ChecksParameters]) -> Reply:
    """List checks by the day they are due: for a lot at a place, or a look at a whole place.

    Due and overdue go by the site's own calendar day, now or as of `as_of`. Nothing recorded is
    never shown as done.
    """
    asked, services = call.query, call.services
    if asked.check is not None:
        async with services.reading() as connection:
            planned = await read.check_names(connection)
        names = [LOOK, *(plan.check for plan in DEFAULT_PLANS), *planned]
        check_word("check", asked.check, names, "check known here")

    async def ask(clocks: Asked, after: list[Any] | None) -> checks.ChecksPage:
        query = checks.ChecksQuery(
            site=asked.site,
            place=asked.place,
            lot=asked.lot,
            check=asked.check,
            state=asked.state,
            asked=clocks,
            limit=asked.limit,
            after=after,
        )
        return await checks.checks(
            services.database.reader, query, call.principal.site_list, clock=services.clock
        )

    return await clocked_list(call, checks.NAME, ask)


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
    return await view_list(call, READY, lambda after: _ready_dates(call, after))


async def _ready_dates(call: Call[ReadyParameters], after: list[Any] | None) -> ReadyPage:
    asked = call.query
    sites = call.principal.site_list
    if asked.site is not None:
        sites = [asked.site] if call.principal.sees(asked.site) else []
    day, lot, site = page_key(after, (date | None, str, str))  # type: ignore[arg-type]
    async with call.services.reading() as connection:
        reached = await positions.position(connection, READY)
        rows = await ready_view.answer(
            connection,
            sites=sites,
            lot=asked.lot,
            cultivar=asked.cultivar,
            rootstock=asked.rootstock,
            size=asked.size,
            ready_by=asked.ready_by,
            after=None if after is None else (day, lot, site),
            limit=asked.limit + 1,
        )
    more = None
    if len(rows) > asked.limit:
        rows = rows[: asked.limit]
        last = rows[-1]
        more = [last.expected and last.expected.isoformat(), last.lot, last.site]
    return ReadyPage(position=reached, rows=rows, next_after=more)


HANDLERS = [list_checks, list_ready_dates]
