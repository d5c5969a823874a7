"""All handlers of the pages."""

from litestar.handlers import HTTPRouteHandler

from service.board import device, house, morning_round

HANDLERS: list[HTTPRouteHandler] = [
    *device.HANDLERS,
    *house.HANDLERS,
    *morning_round.HANDLERS,
]
