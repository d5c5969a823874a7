"""When trees will be ready, how many, and what that was learned from: all of it estimates."""

from datetime import date
from typing import Annotated, Any

from msgspec import Meta

from service.api.clocks import AsOf, ClockedPage, KnownAt, clocked_list
from service.api.filters import check_crop
from service.api.operation import Call, Page, Reply, operation
from service.api.views import ReflectingPage, question, view_list
from service.forecast.answers import counts_view, learned_view, push_curves_view, ready_view
from service.log.rights import READ
from service.trade.events.trees import Grade
from service.trade.methods import MethodName
from service.trade.words import Code, Word
from service.views.clocks import Asked


class ReadyParameters(ReflectingPage, frozen=True, kw_only=True):
    """Which ready dates are wanted."""

    site: Code | None = None
    lot: Code | None = None
    cultivar: Code | None = None
    rootstock: Code | None = None
    size: Code | None = None
    ready_from: (
        Annotated[date, Meta(description="The middle day, p50, is this one or later.")] | None
    ) = None
    ready_by: Annotated[date, Meta(description="p50 is this day or earlier.")] | None = None
    as_of: AsOf = None
    known_at: KnownAt = None


class CountsParameters(ReflectingPage, frozen=True, kw_only=True):
    """Which numbers are wanted."""

    site: Code | None = None
    cultivar: Code | None = None
    rootstock: Code | None = None
    size: Code | None = None
    grade: Annotated[Grade, Meta(description="Left out: each, and any together.")] | None = None
    by: (
        Annotated[
            date,
            Meta(
                description="Told for this day alone, at most 78 weeks ahead; a day between two "
                "that are told counts as the earlier one."
            ),
        ]
        | None
    ) = None
    weeks: Annotated[int, Meta(ge=1, le=26, description="Without `by`: a day each so often.")] = 4
    as_of: AsOf = None
    known_at: KnownAt = None


class LearnedParameters(ReflectingPage, frozen=True, kw_only=True):
    """Which things learned are wanted."""

    crop: Annotated[Word, Meta(examples=["citrus"])] | None = None
    what: learned_view.What | None = None
    method: MethodName | None = None
    site: Code | None = None


class PushCurvesParameters(ReflectingPage, frozen=True, kw_only=True):
    """Which curves are wanted."""

    crop: Annotated[Word, Meta(examples=["citrus"])] | None = None
    method: MethodName | None = None
    since: (
        Annotated[push_curves_view.Since, Meta(description="Where the count of heat begins.")]
        | None
    ) = None


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
    """List when the trees of each lot should be ready, soonest first, and how sure that is.

    An estimate, not a promise, from degree-days and the nursery's own counts; `reasons` say what it
    rests on. Of a past moment: what was told then, by the last forecast of that day.
    """
    asked, services = call.query, call.services

    async def ask(clocks: Asked, after: list[Any] | None) -> ready_view.ReadyPage:
        query = question(ready_view.ReadyQuery, asked, asked=clocks, after=after)
        pool, sites = services.database.reader, call.principal.site_list
        return await ready_view.ready_dates(pool, query, sites, clock=services.clock)

    return await clocked_list(call, ready_view.NAME, ask)


@operation(
    "GET",
    "/v1/ready-counts",
    tag="Forecast",
    scope=READ,
    query=CountsParameters,
    answer=ClockedPage[counts_view.ReadyCountRow],
    request_headers=("Prefer",),
)
async def list_ready_counts(call: Call[CountsParameters]) -> Reply:
    """List how many of each item will be ready by which day, at each site and at all together.

    An estimate with its width; not a promise, since sales and reservations are not taken off. The
    sites together are told to keys that see every site. Of a past moment: what was told then.
    """
    asked, services = call.query, call.services

    async def ask(clocks: Asked, after: list[Any] | None) -> counts_view.CountsPage:
        query = question(counts_view.CountsQuery, asked, asked=clocks, after=after)
        pool, sites = services.database.reader, call.principal.site_list
        return await counts_view.ready_counts(pool, query, sites, clock=services.clock)

    return await clocked_list(call, ready_view.NAME, ask)


@operation(
    "GET",
    "/v1/learned",
    tag="Forecast",
    scope=READ,
    query=LearnedParameters,
    answer=Page[learned_view.LearnedRow],
    request_headers=("Prefer",),
)
async def list_learned(call: Call[LearnedParameters]) -> Reply:
    """List what the nursery's own counts taught of each crop: times, shares, how wide, and n.

    Where counts are few it says what it borrows, and from whom. Degree-days hold for the way of
    counting that is told beside them, and for no other.
    """
    asked, services = call.query, call.services
    await check_crop(services, asked.crop)

    async def ask(after: list[Any] | None) -> learned_view.LearnedPage:
        query = question(learned_view.LearnedQuery, asked, after=after)
        return await learned_view.learned(services.database.reader, query, call.principal.site_list)

    return await view_list(call, ready_view.NAME, ask)


@operation(
    "GET",
    "/v1/push-curves",
    tag="Forecast",
    scope=READ,
    query=PushCurvesParameters,
    answer=Page[push_curves_view.PushCurveRow],
    request_headers=("Prefer",),
)
async def list_push_curves(call: Call[PushCurvesParameters]) -> Reply:
    """List how the share of grafts that have pushed rises with the heat, by crop and method.

    As counted, without any assumed form, beside what was fitted and the forecast goes by: so that
    anybody can see how well it fits. Trees of all sites that count the heat alike are together.
    """
    asked, services = call.query, call.services
    await check_crop(services, asked.crop)

    async def ask(after: list[Any] | None) -> push_curves_view.PushCurvesPage:
        query = question(push_curves_view.PushCurvesQuery, asked, after=after)
        pool, sites = services.database.reader, call.principal.site_list
        return await push_curves_view.push_curves(pool, query, sites)

    return await view_list(call, ready_view.NAME, ask)


HANDLERS = [list_ready_dates, list_ready_counts, list_learned, list_push_curves]
