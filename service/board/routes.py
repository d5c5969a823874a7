"""All handlers of the pages."""

from litestar.handlers import HTTPRouteHandler

from service.board import (
    bag,
    bags,
    can_be_sold,
    cautions,
    counting,
    crew,
    device,
    evening,
    find,
    history,
    house,
    me,
    morning_round,
    ready,
    signing_in,
    stock,
    table,
    take,
    undo,
)

HANDLERS: list[HTTPRouteHandler] = [
    *bag.HANDLERS,
    *cautions.HANDLERS,
    *counting.HANDLERS,
    *device.HANDLERS,
    *evening.HANDLERS,
    *find.HANDLERS,
    *house.HANDLERS,
    *morning_round.HANDLERS,
    *table.HANDLERS,
    *undo.HANDLERS,
    *signing_in.HANDLERS,
    *me.HANDLERS,
    *crew.HANDLERS,
    *stock.HANDLERS,
    *ready.HANDLERS,
    *can_be_sold.HANDLERS,
    *take.HANDLERS,
    *bags.HANDLERS,
    *history.HANDLERS,
]
