"""All handlers of the interface, in the order of its description."""

from collections.abc import Iterator

from litestar.handlers import HTTPRouteHandler

from service.api import (
    alerts,
    catalogue,
    claims,
    due,
    events,
    history,
    lineage,
    lots,
    root,
    stock,
    temperatures,
)
from service.api.operation import Operation

HANDLERS: list[HTTPRouteHandler] = [
    *root.HANDLERS,
    events.record_events,
    history.list_events,
    history.get_event,
    *catalogue.HANDLERS,
    *lots.HANDLERS,
    *lineage.HANDLERS,
    *claims.HANDLERS,
    *stock.HANDLERS,
    *due.HANDLERS,
    *alerts.HANDLERS,
    *temperatures.HANDLERS,
]


def operations() -> Iterator[Operation]:
    """The declaration of each handler."""
    for handler in HANDLERS:
        yield handler.opt["operation"]
