"""Lineage: what a lot came of, and what came of it, with where that is now."""

from typing import Annotated, Literal

from litestar.handlers import HTTPRouteHandler
from msgspec import Meta

from service.api.lots import PARTS, Part
from service.api.operation import Call, Reply, operation
from service.api.problems import not_found
from service.api.services import UNREACHABLE, unreachable
from service.api.views import Reflecting, wait_for_view
from service.log.rights import READ
from service.views import lineage


class LineageParameters(Reflecting, frozen=True, kw_only=True):
    """Which way to follow."""

    direction: Annotated[
        Literal["back", "forward"],
        Meta(description="back: to the source trees. forward: all that came of it."),
    ] = "back"


def _of_lots(part: Part) -> HTTPRouteHandler:
    @operation(
        "GET",
        f"/v1/{part.path}/{{code:str}}/lineage",
        tag="Lots",
        scope=READ,
        query=LineageParameters,
        answer=lineage.Trace,
        request_headers=("Prefer",),
        name=f"get_{part.kind}_lot_lineage",
        doc=f"What a {part.one} came of, or all that came of it, and where that is now.",
    )
    async def get_lineage(call: Call[LineageParameters]) -> Reply:
        code, sites = call.code(), call.principal.site_list
        headers = await wait_for_view(call, lineage.NAME)
        pool = call.services.database.reader
        try:
            if call.query.direction == "back":
                found = await lineage.trace_back(pool, code, sites)
            else:
                found = await lineage.trace_forward(pool, "lot", code, sites)
        except UNREACHABLE as error:
            raise unreachable() from error
        # The first step is the lot itself; a lot of another kind, or a bag, is not here.
        if found is None or found.of != f"lot:{code}" or found.steps[0].kind != part.kind:
            raise not_found(f"The {part.one} {code}")
        return Reply(found, headers=headers)

    return get_lineage


@operation(
    "GET",
    "/v1/source-trees/{code:str}/lineage",
    tag="Lots",
    scope=READ,
    query=Reflecting,
    answer=lineage.Trace,
    request_headers=("Prefer",),
)
async def get_source_tree_lineage(call: Call[Reflecting]) -> Reply:
    """All that came of a source tree, and where it is now."""
    code = call.code()
    headers = await wait_for_view(call, lineage.NAME)
    try:
        found = await lineage.trace_forward(
            call.services.database.reader, "source_tree", code, call.principal.site_list
        )
    except UNREACHABLE as error:
        raise unreachable() from error
    if found is None:
        raise not_found(f"The source tree {code}")
    return Reply(found, headers=headers)


HANDLERS = [*(_of_lots(part) for part in PARTS), get_source_tree_lineage]
