"""A table of very many lots: its pages stay light, and every lot can be reached."""

import re

import httpx
import pytest

from service.log.keys import create_key
from service.storage.pool import open_database
from tests.board.at_bench import AtBench
from tests.board.served import Served

pytestmark = pytest.mark.asyncio(loop_scope="session")
LOTS, HEAVIEST = 520, 150_000
PLACE = "T-MANY"


async def fill(demo: Served) -> None:
    """A table of its own, with a tray of trees of each of many lots, the first the oldest."""
    async with (
        await open_database(demo.settings) as database,
        database.writer.acquire() as connection,
    ):
        key = await create_key(connection, name="many", role="administrator")
    place = {
        "kind": "place",
        "code": PLACE,
        "site": "TARNA",
        "place_kind": "table",
        "structure": "House 9",
    }
    events = [{"type": "catalogue.changed", "data": {"entry": place}}]
    trees = {"kind": "trees", "cultivar": "NAVEL", "rootstock": "CARRIZO", "method": "t_bud",
             "size": "P4", "place": PLACE}  # fmt: skip
    lines = [
        trees | {"lot": f"MANY-{n:03}", "grafted_on": f"2026-0{1 + n // 260}-0{1 + n % 9}",
                 "count": 20 + n % 5, "stage": ("grafted", "pushed")[n % 2]}
        for n in range(LOTS)
    ]  # fmt: skip
    for begin in range(0, LOTS, 260):
        data = {"lines": lines[begin : begin + 260]}
        events.append({"type": "stock.opened", "data": data})
    said = {"site": "TARNA", "occurred": "2026-11-20"}
    headers = {"Authorization": f"Bearer {key.token}"}
    async with httpx.AsyncClient(base_url=demo.url, headers=headers, trust_env=False) as client:
        for one in events:
            answer = await client.post("/v1/events", json=said | one)
            assert answer.status_code == 201, answer.text


async def test_pages_of_a_table_with_very_many_lots_are_light(demo: Served) -> None:
    await fill(demo)
    bench = AtBench(demo, "boss")
    table = f"/table/{PLACE}"
    forms = ["push-count", "loss", "unwrap", "forcing", "move", "regraft", "grade", "stock-count"]
    sheets = [f"/evening/TARNA/counts?place={PLACE}&count={count}" for count in ("push", "stock")]
    weights = {}
    for path in (table, *(f"{table}/{form}" for form in forms), *sheets):
        weights[path] = len(bench.see(path).encode())
    assert max(weights.values()) <= HEAVIEST, weights
    # The newest are named; any other by its code.
    assert "MANY-512" in bench.see(f"{table}/push-count")
    assert "MANY-003" not in bench.see(f"{table}/push-count")
    assert 'name="row" value="trees:MANY-003' in bench.see(f"{table}/push-count?lot=many-003")
    assert "counted:trees:MANY-004" in bench.see(f"{table}/stock-count?lot=MANY-004")
    # A sheet's pages follow each other to its end, each lot once.
    lots, path = [], sheets[0]
    while path:
        page = bench.see(path)
        lots += re.findall(r'value="(MANY-\d+)"', page)
        onward = re.search(r'<a class="button" href="(/evening[^"]*)"', page)
        path = onward[1].replace("&amp;", "&") if onward else ""
    assert len(lots) == len(set(lots)) == LOTS
    bench.client.close()
