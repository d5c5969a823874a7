"""All handlers of the pages."""

from litestar.handlers import HTTPRouteHandler

from service.board import (
    bag,
    counting,
    crew,
    device,
    find,
    house,
    me,
    morning_round,
    signing_in,
    table,
    undo,
)

HANDLERS: list[HTTPRouteHandler] = [
    *bag.HANDLERS,
    *counting.HANDLERS,
    *device.HANDLERS,
    *find.HANDLERS,
    *house.HANDLERS,
    *morning_round.HANDLERS,
    *table.HANDLERS,
    *undo.HANDLERS,
    *signing_in.HANDLERS,
    *me.HANDLERS,
    *crew.HANDLERS,
]
