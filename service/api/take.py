"""What became of grafts: the take, losses by cause, when they pushed, when they were ready."""

from datetime import date
from typing import Annotated, Any, get_args

import msgspec
from msgspec import Meta

from service.api.filters import check_word
from service.api.operation import Call, Page, Reply, operation
from service.api.problems import lacks_scope
from service.api.views import ReflectingPage, question, view_list
from service.log.rights import GRAFTERS, READ
from service.trade.events.budwood import BudwoodDiscardedData
from service.trade.events.liners import LossCause
from service.trade.events.trees import Grade
from service.trade.growth import Outcome as Grown
from service.trade.methods import MethodName
from service.trade.push import Outcome
from service.trade.words import Code, Ref, Word
from service.views import growth as growth_view
from service.views import losses as loss_view
from service.views import push as push_view
from service.views import take as take_view

# Every word by which a loss may be told.
CAUSES: tuple[str, ...] = (
    *get_args(get_args(LossCause)[0]),
    *get_args(BudwoodDiscardedData.__annotations__["cause"]),
    "cutting_waste",
)
GraftedFrom = Annotated[date, Meta(description="Grafted on this day or later.")] | None
GraftedTo = Annotated[date, Meta(description="Grafted on this day or earlier.")] | None


class TakeParameters(ReflectingPage, frozen=True, kw_only=True):
    """How the take is asked for."""

    group_by: Annotated[
        list[take_view.Group],
        Meta(
            max_length=9,
            description="Groups, separated by commas; by site when left out. `grafter` needs the "
            "scope grafters:read.",
        ),
    ] = msgspec.field(default_factory=list)
    site: Annotated[Code, Meta(description="Where it was grafted.")] | None = None
    cultivar: Code | None = None
    rootstock: Code | None = None
    method: MethodName | None = None
    lot: Code | None = None
    attempt: (
        Annotated[int, Meta(ge=1, le=100, description="1: the first grafting; 2: a regraft …")]
        | None
    ) = None
    grafter: Annotated[Ref, Meta(description="Needs the scope grafters:read.")] | None = None
    grafted_from: GraftedFrom = None
    grafted_to: GraftedTo = None


class LossesParameters(ReflectingPage, frozen=True, kw_only=True):
    """How losses are asked for."""

    group_by: Annotated[
        list[loss_view.Group],
        Meta(max_length=9, description="Groups, separated by commas; by cause when left out."),
    ] = msgspec.field(default_factory=list)
    site: Code | None = None
    cultivar: Code | None = None
    rootstock: Code | None = None
    lot: Code | None = None
    stage: loss_view.Stage | None = None
    cause: (
        Annotated[Word, Meta(examples=["frost"], extra_json_schema={"enum": sorted(set(CAUSES))})]
        | None
    ) = None
    first: Annotated[date, Meta(description="Lost on this day or later.")] | None = None
    last: Annotated[date, Meta(description="Lost on this day or earlier.")] | None = None


class PushParameters(ReflectingPage, frozen=True, kw_only=True):
    """Which push observations are wanted."""

    site: Code | None = None
    place: Code | None = None
    lot: Code | None = None
    cultivar: Code | None = None
    rootstock: Code | None = None
    method: MethodName | None = None
    outcome: Outcome | None = None
    grafted_from: GraftedFrom = None
    grafted_to: GraftedTo = None


class GrowthParameters(ReflectingPage, frozen=True, kw_only=True):
    """Which pushed trees are asked for."""

    site: Annotated[Code, Meta(description="Where they ended, or stand.")] | None = None
    lot: Code | None = None
    cultivar: Code | None = None
    rootstock: Code | None = None
    method: MethodName | None = None
    outcome: Grown | None = None
    size: Annotated[Code, Meta(description="As they ended, or stand.")] | None = None
    grade: Grade | None = None
    grafted_from: GraftedFrom = None
    grafted_to: GraftedTo = None


@operation(
    "GET",
    "/v1/take",
    tag="Take",
    scope=READ,
    query=TakeParameters,
    answer=Page[take_view.TakeRow],
    request_headers=("Prefer",),
)
async def get_take(call: Call[TakeParameters]) -> Reply:
    """Take and saleable of grafted, by groups, with counts and 95 % intervals.

    The take is what was alive of what was read when the wrap came off; what was not read yet, or
    went before, is told beside it and never counted as taken or failed. A push is not a take.
    Saleable of grafted is another number: what reached `ready` of all that was grafted. The take
    is read for whole lots: of a lot that several people grafted it is attributed to none of them.
    """
    asked = call.query
    if take_view.GRAFTER in asked.group_by or asked.grafter is not None:
        may_see_grafters(call)

    async def ask(after: list[Any] | None) -> take_view.TakePage:
        query = question(
            take_view.TakeQuery, asked, group_by=tuple(asked.group_by) or ("site",), after=after
        )
        pool = call.services.database.reader
        return await take_view.take(pool, query, call.principal.site_list)

    return await view_list(call, take_view.NAME, ask)


def may_see_grafters(call: Call[Any]) -> None:
    """How many of a person's grafts took is not everybody's to read. Raises 403."""
    if not call.principal.may(GRAFTERS):
        raise lacks_scope(GRAFTERS)


@operation(
    "GET",
    "/v1/losses",
    tag="Take",
    scope=READ,
    query=LossesParameters,
    answer=Page[loss_view.LossRow],
    request_headers=("Prefer",),
)
async def get_losses(call: Call[LossesParameters]) -> Reply:
    """Losses by groups: of what cause, at which stage, when. Culled is told apart from dead."""
    asked = call.query
    check_word("cause", asked.cause, CAUSES, "cause")

    async def ask(after: list[Any] | None) -> loss_view.LossesPage:
        query = question(
            loss_view.LossesQuery, asked, group_by=tuple(asked.group_by) or ("cause",), after=after
        )
        pool = call.services.database.reader
        return await loss_view.losses(pool, query, call.principal.site_list)

    return await view_list(call, loss_view.NAME, ask)


@operation(
    "GET",
    "/v1/push-observations",
    tag="Take",
    scope=READ,
    query=PushParameters,
    answer=Page[push_view.PushRow],
    request_headers=("Prefer",),
)
async def list_push_observations(call: Call[PushParameters]) -> Reply:
    """List when grafts pushed, as far as walks can tell: the input of a fit of the time to push.

    Nobody sees a bud push: a walk finds that it has. So each row says after which day and by which
    day so many trees of a lot pushed, or since when they are still waited for. Every graft of a
    lot is in one row.
    """
    asked = call.query

    async def ask(after: list[Any] | None) -> push_view.PushPage:
        query = question(push_view.PushQuery, asked, after=after)
        pool = call.services.database.reader
        return await push_view.push_observations(pool, query, call.principal.site_list)

    return await view_list(call, push_view.NAME, ask)


@operation(
    "GET",
    "/v1/growth",
    tag="Take",
    scope=READ,
    query=GrowthParameters,
    answer=Page[growth_view.GrowthRow],
    request_headers=("Prefer",),
)
async def list_growth(call: Call[GrowthParameters]) -> Reply:
    """List when pushed trees were ready, as far as gradings can tell, or what took them before.

    Nobody sees a tree become fit for sale: a grading finds that it is. So each row says after
    which day and by which day so many trees of a lot became ready, or until when they were known
    not to be. It is the input of a fit of the time from push to ready, and of survival. Every
    pushed tree of a lot is in one row that is not `ready_dead` or `ready_gone`.
    """
    asked = call.query

    async def ask(after: list[Any] | None) -> growth_view.GrowthPage:
        query = question(growth_view.GrowthQuery, asked, after=after)
        pool = call.services.database.reader
        return await growth_view.growth(pool, query, call.principal.site_list)

    return await view_list(call, growth_view.NAME, ask)


HANDLERS = [get_take, get_losses, list_push_observations, list_growth]
