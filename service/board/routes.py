"""All handlers of the pages."""

from litestar.handlers import HTTPRouteHandler

from service.board import house

HANDLERS: list[HTTPRouteHandler] = [
    *house.HANDLERS,
]
