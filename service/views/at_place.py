"""What stands at a place by the book, account by account: what a count is set against."""

import msgspec

from service.storage.pool import Connection
from service.storage.sql import load

SQL = load(__package__, "at_place.sql")


class AtPlace(msgspec.Struct, frozen=True, kw_only=True):
    """Liners or trees of a lot, or buds in a bag. Empty text where a part does not apply."""

    kind: str
    lot: str
    cultivar: str | None
    rootstock: str | None
    stage: str
    size: str
    grade: str
    bag: str
    count: int


async def at_place(conn: Connection, site: str, place: str) -> list[AtPlace]:
    """What stands there now: trees, then liners, then bags; each by its lot's code."""
    return [AtPlace(**dict(row)) for row in await conn.fetch(SQL.standing, place, site)]
