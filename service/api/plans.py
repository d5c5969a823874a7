"""Plans: what to graft, by when, to have so many trees; and what a bag can make."""

from typing import Any

from service.api.operation import JSON, Call, NoQuery, Reply, operation
from service.api.problems import Mistake, Problem
from service.api.taking_in import decoded
from service.forecast.answers.plan_rows import PlanAsked, Planned, TreesWanted
from service.forecast.answers.plan_view import NothingThereError, plan_bag, plan_trees
from service.forecast.answers.promise_view import PastDayError
from service.log import read
from service.log.rights import READ


@operation(
    "POST",
    "/v1/plans",
    tag="Forecast",
    scope=READ,
    accepts=(JSON,),
    body=PlanAsked,
    answer=Planned,
    problems=("malformed-request",),
)
async def make_plan(call: Call[NoQuery]) -> Reply:
    """Tell how many grafts, buds and liners make so many trees by a day, or what a bag makes.

    With `plan: trees` for each site and method: the last day to graft, how much to graft so that
    it is as sure as asked, and what is there of buds and liners. With `plan: bag` what the buds of
    a bag make by each method. Estimates; nothing is stored and nothing is ordered.
    """
    asked: Any = decoded(await call.body(), PlanAsked)
    confidence = asked.confidence or call.services.settings.promise_confidence
    now = call.services.clock()
    async with call.services.reading() as connection:
        sites = call.principal.site_list
        unknown = await _unknown(connection, asked, sites)
        if unknown:
            raise Problem(
                "validation-error", "Nothing is known by some of the codes.", errors=unknown
            )
        try:
            if isinstance(asked, TreesWanted):
                found: Planned = await plan_trees(connection, asked, confidence, sites, now)
            else:
                found = await plan_bag(connection, asked, confidence, now)
        except PastDayError as error:
            raise _mistaken("in_the_past", "needed_by", str(error)) from error
        except NothingThereError as error:
            raise _mistaken(
                "nothing_there", "bag", f"Bag {asked.bag} holds no buds of a known cultivar now."
            ) from error
    return Reply(found, cache="no-store")


def _mistaken(kind: str, field: str, detail: str) -> Problem:
    mistake = Mistake(kind=kind, detail=detail, pointer=f"#/{field}")
    return Problem("validation-error", "It can't be planned.", errors=[mistake])


async def _unknown(connection: Any, asked: Any, sites: list[str] | None) -> list[Mistake]:
    """A mistake for each code that names nothing which is seen."""
    given = {
        name: value
        for name in ("cultivar", "rootstock", "size", "bag")
        if (value := getattr(asked, name, None)) is not None
    }
    wrong = [
        (name, f"#/{name}", given[name])
        for name in await read.unknown_codes(connection, sites, given)
    ]
    for number, site in enumerate(getattr(asked, "sites", ())):
        if await read.unknown_codes(connection, sites, {"site": site}):
            wrong.append(("site", f"#/sites/{number}", site))
    return [
        Mistake(kind="unknown_code", detail=f"No {what} {code} is known.", pointer=pointer)
        for what, pointer, code in wrong
    ]


HANDLERS = [make_plan]
