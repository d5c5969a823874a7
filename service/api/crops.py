"""How each crop's degree-days are counted, and what is assumed of it."""

import re

from service.api.cursors import decoded_cursor, no_cursor
from service.api.operation import Call, Page, Paged, Reply, operation, page
from service.forecast.records.crops import CropRow, crop_rows
from service.log import read
from service.log.rights import READ


@operation(
    "GET",
    "/v1/crops",
    tag="Forecast",
    scope=READ,
    query=Paged,
    answer=Page[CropRow],
)
async def list_crops(call: Call[Paged]) -> Reply:
    """List crops with the thresholds that their degree-days are counted between, by name.

    A rule of the catalogue with `degree_days` states the nursery's own. The weak figures are what
    a forecast leans on until the nursery's own counts carry it.
    """
    after = decoded_cursor(call.query.cursor) if call.query.cursor else ""
    if after and re.fullmatch(r"[a-z][a-z0-9_-]{0,39}", after) is None:
        raise no_cursor()
    async with call.services.reading() as connection:
        position = await read.head(connection)
        found = [row for row in await crop_rows(connection) if row.crop > after]
    return page(call, found[: call.query.limit + 1], lambda row: row.crop, position)


HANDLERS = [list_crops]
