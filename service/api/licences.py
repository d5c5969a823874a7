"""What is owed for protected cultivars, by holder of the right."""

from datetime import date
from typing import Annotated

import msgspec
from msgspec import Meta

from service.api.operation import Call, Reply, operation
from service.api.problems import bad_parameter
from service.log import read
from service.log.rights import READ
from service.trade.words import Code, Ref
from service.views import licences as view


class LicencesQuery(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Over which days, where, for whom."""

    first: Annotated[date, Meta(description="From this day on; left out: from the beginning.")] | (
        None
    ) = None
    last: Annotated[date, Meta(description="Up to this day; left out: to now.")] | None = None
    site: Annotated[Code, Meta(description="Left out: all that the key sees.")] | None = None
    licence_holder: Annotated[Ref, Meta(description="Only this holder's.")] | None = None


class LicencesNow(view.Licences, frozen=True, kw_only=True):
    """Counts by holder; `position` is the log's position that they reflect, or a later one."""

    position: Annotated[int, Meta(ge=0)]


@operation(
    "GET",
    "/v1/licences",
    tag="Sales",
    scope=READ,
    query=LicencesQuery,
    answer=LicencesNow,
)
async def list_licences(call: Call[LicencesQuery]) -> Reply:
    """Protected cultivars by licence holder: grafted, sold, returned, and the count owed.

    What a licence counts is told in the cultivar's entry (`licence_counts`); where it is not,
    nothing is said to be owed. What a contract says beside this is for its parties.
    """
    query = call.query
    if query.first and query.last and query.first > query.last:
        raise bad_parameter("last", "It lies before the first day.", "not_together")
    async with call.services.reading() as connection:
        position = await read.head(connection)
        found = await view.licences(
            connection,
            call.principal.site_list,
            first=query.first,
            last=query.last,
            site=query.site,
            holder=query.licence_holder,
        )
    return Reply(LicencesNow(position=position, **msgspec.structs.asdict(found)))


HANDLERS = [list_licences]
