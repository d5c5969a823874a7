"""What holds block on a day, by the names they go by: `lot:`, `bag:`, `place:`, `site:` …"""

from datetime import date

from service.storage.pool import Connection
from service.storage.sql import load
from service.storage.walls import past_the_wall
from service.trade.books import Hold
from service.trade.holds import BLOCKS

SQL = load(__package__, "holding.sql")


async def blocked(conn: Connection, day: date, action: str) -> set[str]:
    """Tokens of all that a hold keeps from `action` (of `trade/holds`) on `day`."""
    # A hold on a source tree blocks what came of it at every site, whoever placed it.
    async with past_the_wall(conn):
        in_force = [Hold(**dict(row)) for row in await conn.fetch(SQL.holds, day)]
    return {hold.token for hold in in_force if action in BLOCKS[hold.kind]}


async def places_apart(conn: Connection) -> frozenset[str]:
    """Tokens of the places for trees that came back."""
    return frozenset(f"place:{row['code']}" for row in await conn.fetch(SQL.apart))
