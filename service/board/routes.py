"""All handlers of the pages."""

from litestar.handlers import HTTPRouteHandler

from service.board import bag, counting, device, find, house, morning_round, table, undo

HANDLERS: list[HTTPRouteHandler] = [
    *bag.HANDLERS,
    *counting.HANDLERS,
    *device.HANDLERS,
    *find.HANDLERS,
    *house.HANDLERS,
    *morning_round.HANDLERS,
    *table.HANDLERS,
    *undo.HANDLERS,
]
