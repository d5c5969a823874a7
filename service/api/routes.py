"""All handlers of the interface, in the order of its description."""

from collections.abc import Iterator

from litestar.handlers import HTTPRouteHandler
from litestar.types import ASGIApp

from service.api import (
    alerts,
    availability,
    calendars,
    catalogue,
    contacts,
    crops,
    destinations,
    docs,
    due,
    events,
    history,
    holds,
    licences,
    lineage,
    lots,
    metrics,
    morning,
    papers,
    people,
    plans,
    printing,
    promises,
    put_right,
    readings,
    ready,
    reservations,
    returns,
    root,
    sales,
    schemas,
    sheets,
    stock,
    stream,
    tag_sheets,
    take,
    take_rates,
    temperatures,
    weather_ahead,
    webhook_actions,
    webhooks,
    work_orders,
)
from service.api.operation import Operation, Sent

HANDLERS: list[HTTPRouteHandler] = [
    *root.HANDLERS,
    metrics.get_metrics,
    *docs.HANDLERS,
    events.record_events,
    history.list_events,
    stream.stream_events,
    history.get_event,
    schemas.get_schema,
    *put_right.HANDLERS,
    *catalogue.HANDLERS,
    *lots.HANDLERS,
    *lineage.HANDLERS,
    *reservations.HANDLERS,
    *sales.HANDLERS,
    *returns.HANDLERS,
    *licences.HANDLERS,
    *tag_sheets.HANDLERS,
    *papers.HANDLERS,
    *holds.HANDLERS,
    *contacts.HANDLERS,
    *people.HANDLERS,
    *work_orders.HANDLERS,
    *printing.HANDLERS,
    *sheets.HANDLERS,
    *stock.HANDLERS,
    *take.HANDLERS,
    *take_rates.HANDLERS,
    *due.HANDLERS,
    *ready.HANDLERS,
    *promises.HANDLERS,
    *plans.HANDLERS,
    *availability.HANDLERS,
    *destinations.HANDLERS,
    *alerts.HANDLERS,
    *morning.HANDLERS,
    *calendars.HANDLERS,
    *webhooks.HANDLERS,
    *webhook_actions.HANDLERS,
    *temperatures.HANDLERS,
    *weather_ahead.HANDLERS,
    *crops.HANDLERS,
    *readings.HANDLERS,
]


def operations() -> Iterator[Operation]:
    """The declaration of each handler."""
    for handler in HANDLERS:
        yield handler.opt["operation"]


def option_handlers() -> list[HTTPRouteHandler]:
    """OPTIONS for each path. Litestar's own knows only the methods of the first handler there."""
    methods: dict[str, set[str]] = {}
    for one in operations():
        also = {"GET", "HEAD"} if one.method == "GET" else {one.method}
        methods.setdefault(one.path, {"OPTIONS"}).update(also)
    return [_options(path, sorted(found)) for path, found in methods.items()]


def _options(path: str, methods: list[str]) -> HTTPRouteHandler:
    answer = Sent(204, [(b"allow", ", ".join(methods).encode())], b"")

    async def endpoint() -> ASGIApp:
        return answer

    return HTTPRouteHandler(path, http_method=["OPTIONS"])(endpoint)
