"""What is due: checks and places that want a look; and when trees will be ready."""

from datetime import date
from typing import Annotated, Any, Literal

from msgspec import Meta

from service.api.clocks import AsOf, ClockedPage, KnownAt, clocked_list
from service.api.filters import check_word
from service.api.operation import Call, Reply, operation
from service.api.views import ReflectingPage, question
from service.forecast import ready_view
from service.log import read
from service.log.rights import READ
from service.trade.check_plans import DEFAULT_PLANS, LOOK
from service.trade.words import Code, Word
from service.views import checks
from service.views.clocks import Asked

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
    ready_from: Annotated[date, Meta(description="Expected on this day or later.")] | None = None
    ready_by: Annotated[date, Meta(description="Expected on this day or earlier.")] | None = None
    as_of: AsOf = None
    known_at: KnownAt = None


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
        check_word("check", asked.check, names, "check known here", "unknown_code")

    async def ask(clocks: Asked, after: list[Any] | None) -> checks.ChecksPage:
        query = question(checks.ChecksQuery, asked, asked=clocks, after=after)
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
    answer=ClockedPage[ready_view.ReadyDateRow],
    request_headers=("Prefer",),
)
async def list_ready_dates(call: Call[ReadyParameters]) -> Reply:
    """List when the trees of each lot are expected to be ready, soonest first.

    An estimate from degree-days at the site, with its method and thresholds; not a promise. Of a
    past moment: by the temperatures known then, counted to that day.
    """
    asked, services = call.query, call.services

    async def ask(clocks: Asked, after: list[Any] | None) -> ready_view.ReadyPage:
        query = question(ready_view.ReadyQuery, asked, asked=clocks, after=after)
        return await ready_view.ready_dates(
            services.database.reader,
            query,
            call.principal.site_list,
            clock=services.clock,
            outlooks=services.outlooks,
        )

    return await clocked_list(call, READY, ask)


HANDLERS = [list_checks, list_ready_dates]
