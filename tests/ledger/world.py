"""One service and one database, shared by all examples of a run, and what is asked of them."""

import asyncio
from pathlib import Path
from typing import Any

import asyncpg

from service.jobs.every_view import every_view
from service.settings import Settings
from service.storage.pool import open_database, register_json
from service.views.rebuild import rebuild
from service.views.runner import Runner
from tests.ledger.served import Served
from tests.support.bench_side import entry

CATALOGUE = [
    entry("site", "ANY", "ANY", name="Any", time_zone="UTC", latitude=0, longitude=0),
    entry("rootstock", "CARRIZO", "ANY", crop="citrus", name="Carrizo"),
    entry("size", "P9", "ANY", label="9 cm pot"),
    entry("size", "P12", "ANY", label="12 cm pot"),
]
NO_DAY_BELOW_ZERO = """
SELECT lot_id, account_id, occurred_day, standing FROM (
    SELECT lot_id, account_id, occurred_day,
           sum(sum(delta)) OVER (PARTITION BY lot_id, account_id ORDER BY occurred_day) AS standing
    FROM legs WHERE position > $1 GROUP BY 1, 2, 3) AS days
JOIN balances USING (lot_id, account_id)
WHERE standing < 0 AND kind NOT IN ('source', 'variance')
"""
SUMS = """
SELECT b.commodity, sum(g.delta)::bigint AS sum
FROM legs g JOIN balances b USING (lot_id, account_id)
WHERE g.position > $1 GROUP BY 1 HAVING sum(g.delta) <> 0
"""
BOOKS_ARE_SUMS = """
SELECT lot_id, account_id, balance, sum
FROM (SELECT b.* FROM balances b JOIN lots l USING (lot_id) WHERE l.position > $1) AS b
FULL JOIN (SELECT lot_id, account_id, sum(delta) FROM legs WHERE position > $1 GROUP BY 1, 2) AS s
USING (lot_id, account_id) WHERE balance IS DISTINCT FROM coalesce(sum, 0)
"""
DAYS = """
SELECT l.code, b.site, b.kind, b.place, b.stage, b.size, b.grade, b.ref, g.occurred_day,
       sum(g.delta)::int
FROM lots l JOIN balances b USING (lot_id) JOIN legs g USING (lot_id, account_id)
WHERE starts_with(l.code, $1) GROUP BY 1, 2, 3, 4, 5, 6, 7, 8, 9 HAVING sum(g.delta) <> 0
"""
CLAIMS = """
SELECT r.code, r.state, r.confirmed_day IS NOT NULL, r.expired_day IS NOT NULL,
       c.asked::int, c.promised::int, c.open::int
FROM reservations r JOIN commitments c ON c.reservation = r.code
WHERE starts_with(r.code, $1) ORDER BY r.code, c.line
"""
HOLDS = """
SELECT code, kind, target || ':' || target_code, from_day, lifted_day
FROM holds WHERE starts_with(code, $1) ORDER BY code
"""
LOADS = """
SELECT code, to_site, voided, received_day FROM consignments
WHERE starts_with(code, $1) ORDER BY code
"""
ORDERS = """
SELECT code, site, wanted::int, done::int, ended IS NOT NULL FROM work_orders
WHERE starts_with(code, $1) ORDER BY code
"""
ITEMS_OUT = """
SELECT size, grade, site, total::int FROM item_out
WHERE starts_with(cultivar, $1) AND total <> 0 ORDER BY 1, 2, 3
"""
OVERRIDES = """
SELECT code, site, grade, any_site, quantity::int, from_day, until_day, went_out::int,
       ended_day IS NOT NULL
FROM promise_overrides WHERE starts_with(code, $1) ORDER BY code
"""
ANCESTRY = """
SELECT code, ancestry FROM lots WHERE starts_with(code, $1) AND NOT voided ORDER BY code
"""
DENSE = "SELECT count(*), max(position), min(position) FROM events"


class World:
    """One service and one database, which all examples of a run share: each has its own codes."""

    def __init__(self, served: Served) -> None:
        self.served = served
        self.examples = 0
        self.runner = asyncio.Runner()
        self.connection = self.runner.run(self._connect())
        self.client = served.client()
        settings = Settings(
            data_dir=Path("/nonexistent"), database_url=served.database_url, writer_pool=2
        )
        self.database = self.runner.run(open_database(settings))
        self.views = every_view()
        self.following = Runner(self.database, self.views)
        for part in (CATALOGUE[:1], CATALOGUE[1:]):
            answer = self.client.post("/v1/events", json=part)
            assert answer.status_code == 201, answer.text

    async def _connect(self) -> "asyncpg.Connection[Any]":
        connection = await asyncpg.connect(self.served.database_url)
        await register_json(connection)
        return connection

    def ask(self, sql: str, *parts: Any) -> list[tuple[Any, ...]]:
        rows = self.runner.run(self.connection.fetch(sql, *parts))
        return [tuple(row.values()) for row in rows]

    def views_follow(self) -> None:
        """Every view takes in what it has not seen yet."""
        self.runner.run(self.following.catch_up())

    def built_anew(self, name: str) -> list[str]:
        """How a view that has followed differs from what is built from nothing, and replaces it."""
        self.views_follow()
        found: list[str] = []
        (view,) = (view for view in self.views if view.name == name)
        self.runner.run(rebuild(self.database, view, found=found.append))
        return found

    @property
    def by_the_log(self) -> list[str]:
        """Views that the log alone decides."""
        return [view.name for view in self.views]

    def restart(self) -> None:
        self.client.close()
        self.served.kill()
        self.served.start()
        self.client = self.served.client()

    def close(self) -> None:
        self.client.close()
        self.runner.run(self.database.close())
        self.runner.run(self.connection.close())
        self.runner.close()
