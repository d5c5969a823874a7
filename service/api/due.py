"""What is due: checks, and places that want a look."""

from typing import Annotated, Any, Literal

from msgspec import Meta

from service.api.clocks import AsOf, ClockedPage, KnownAt, clocked_list
from service.api.filters import check_word
from service.api.operation import Call, Reply, operation
from service.api.views import ReflectingPage, question
from service.log import read
from service.log.rights import READ
from service.trade.check_plans import DEFAULT_PLANS, LOOK
from service.trade.words import Code, Word
from service.views import checks
from service.views.clocks import Asked


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


HANDLERS = [list_checks]
