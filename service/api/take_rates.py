"""What works: take and survival compared by method, grafter, rootstock, cultivar, month, site."""

from typing import Annotated, Any

from msgspec import Meta

from service.api.filters import check_crop
from service.api.operation import Call, Page, Reply, operation
from service.api.problems import bad_parameter
from service.api.take import may_see_grafters
from service.api.views import ReflectingPage, question, view_list
from service.forecast.answers import ready_view
from service.forecast.answers import take_rates_view as view
from service.log.rights import READ
from service.trade.words import Code, Word


class TakeRatesParameters(ReflectingPage, frozen=True, kw_only=True):
    """What is to be compared."""

    by: Annotated[
        view.Factor,
        Meta(
            description="What is compared. `grafter` needs the scope grafters:read and goes over "
            "all crops. So does `site`, over all sites, for keys that see them all."
        ),
    ] = "method"
    measure: Annotated[view.Measure, Meta(description="Left out: both.")] | None = None
    site: Annotated[Code, Meta(description="Where it was grafted.")] | None = None
    crop: Annotated[Word, Meta(examples=["citrus"])] | None = None


@operation(
    "GET",
    "/v1/take-rates",
    tag="Take",
    scope=READ,
    query=TakeRatesParameters,
    answer=Page[view.TakeRateRow],
    request_headers=("Prefer",),
)
async def list_take_rates(call: Call[TakeRatesParameters]) -> Reply:
    """Compare take and survival, plain and adjusted for all else, with n and intervals.

    An estimate. Plain shares mislead where one had the harder rootstocks or the better month:
    `adjusted` tells each as if it had shared all else with the others. With fewer than 100 trees
    nothing is ranked. Worked out with each forecast.
    """
    asked, services = call.query, call.services
    if asked.by == view.GRAFTER:
        may_see_grafters(call)
    for name in view.WITHOUT.get(asked.by, ()):
        if getattr(asked, name) is not None:
            detail = f"By {asked.by} all are compared together: leave {name} out."
            raise bad_parameter(name, detail, "not_together")
    await check_crop(services, asked.crop)

    async def ask(after: list[Any] | None) -> view.TakeRatesPage:
        query = question(view.TakeRatesQuery, asked, after=after)
        return await view.take_rates(services.database.reader, query, call.principal.site_list)

    return await view_list(call, ready_view.NAME, ask)


HANDLERS = [list_take_rates]
