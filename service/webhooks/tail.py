"""What was recorded, for all webhooks of a process: read, encoded and understood once."""

from collections.abc import Iterable, Sequence

from service.feed.newest import PAGE, Newest, Told
from service.log import read
from service.storage.pool import Database
from service.storage.sql import load
from service.storage.walls import seeing
from service.webhooks.wanted import ItemNamed

SQL = load(__package__, "webhooks.sql")
_MOST_KNOWN = 10_000
Items = frozenset[ItemNamed]


class Tail:
    """Hands out events by position: the newest from memory, what is further behind from the log.

    It sees the events of every site: who is told by it looks at the sites of each.
    """

    def __init__(self, database: Database, newest: Newest) -> None:
        self._database, self._newest = database, newest
        self._items: dict[int, Items] = {}

    async def page(self, after: int) -> Sequence[Told]:
        """The next events after a position, at most some hundreds; none: there are no more."""
        found = await self._newest.after(after)
        if found is not None:
            return found
        async with seeing(self._database.reader, None, timeout=10) as connection:
            stored = await read.events(
                connection, None, read.EventFilter(), after=after, limit=PAGE
            )
        return [Told(one) for one in stored]

    async def beyond(self, position: int, timeout: float) -> int:
        """Wait, at most `timeout` seconds, for something after a position; the newest known."""
        return await self._newest.follower.beyond(position, timeout)

    async def items_of(self, events: Iterable[Told]) -> dict[int, Items]:
        """The items that these events speak of, by position."""
        wanted = [one.position for one in events]
        missing = [position for position in wanted if position not in self._items]
        if missing:
            if len(self._items) > _MOST_KNOWN:
                self._items = {}
                missing = wanted
            found: dict[int, set[ItemNamed]] = {position: set() for position in missing}
            async with seeing(self._database.reader, None, timeout=10) as connection:
                for row in await connection.fetch(SQL.items_of, missing):
                    found[row[0]].add(ItemNamed(row[1], row[2], row[3]))
            self._items |= {position: frozenset(items) for position, items in found.items()}
        return {position: self._items[position] for position in wanted}
