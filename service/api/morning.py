"""The morning round of a site: the page's answer, for programs."""

import msgspec

from service.api.operation import Call, Reply, operation
from service.api.problems import not_found
from service.log.rights import READ
from service.reminders.morning import morning
from service.reminders.morning_shapes import Morning
from service.trade.words import Code


class RoundQuery(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Which site's round."""

    site: Code


@operation("GET", "/v1/round", tag="Checks", scope=READ, query=RoundQuery, answer=Morning)
async def get_round(call: Call[RoundQuery]) -> Reply:
    """What must be looked at today at a site, in the order of urgency.

    Closed houses, loggers and frost, tables with their checks and how late these are in days and in
    degree-days, wood that will not keep, what comes this week and what was done. What was not
    recorded is not told, and that never means that a house is safe.
    """
    site = call.query.site
    async with call.services.reading() as connection:
        found = await morning(connection, site, call.services.clock())
    if found is None:
        raise not_found(f"The site {site}")
    return Reply(found)


HANDLERS = [get_round]
