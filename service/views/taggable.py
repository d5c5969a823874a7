"""What a tag says of places, lots and bags: by their codes, or of all that stand somewhere."""

from typing import Any, Literal

import msgspec

from service.storage.pool import Connection
from service.storage.sql import load
from service.trade.tagged import BagTold, LotTold, PlaceTold, Told

SQL = load(__package__, "taggable.sql")
Tagged = Literal["places", "lots", "bags"]


class Wanted(msgspec.Struct, frozen=True, kw_only=True):
    """Which things are wanted: all that is said narrows. `structure` is for places alone, `places`
    for what stands there."""

    of: Tagged
    codes: list[str] | None = None
    site: str | None = None
    places: list[str] | None = None
    structure: str | None = None


async def told(conn: Connection, wanted: Wanted, most: int) -> list[Told]:
    """At most `most` of them in the order in which they are printed: places house by house, else
    by code. Run it where the sites are known that may be seen."""
    if wanted.of == "places":
        in_house = (wanted.codes, wanted.site, wanted.structure, most)
        return await _rows(conn, SQL.places, PlaceTold, *in_house)
    parts = (wanted.codes, wanted.site, wanted.places, most)
    if wanted.of == "lots":
        return await _rows(conn, SQL.lots, LotTold, *parts)
    return await _rows(conn, SQL.bags, BagTold, *parts)


async def _rows(conn: Connection, sql: Any, struct: Any, *parts: Any) -> list[Told]:
    return [struct(**dict(row)) for row in await conn.fetch(sql, *parts)]
