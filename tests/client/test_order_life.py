"""The worked example, against a service that is up: what it prints is what the books say."""

import importlib
from pathlib import Path
from types import ModuleType

import pytest
from graftlog_client import Client, problems, said, shapes

from service.application import build, deliverer
from service.clock import system_clock
from service.log.keys import create_key
from service.settings import Settings
from service.storage.pool import Database
from tests.api.conftest import listening
from tests.client.nursery import trees_to_sell

EXAMPLES = Path(__file__).parents[2] / "openapi" / "examples"


@pytest.fixture
def example(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """The example as a person runs it: a file, with its neighbour beside it."""
    monkeypatch.syspath_prepend(EXAMPLES)
    return importlib.import_module("order_life")


async def key(database: Database, role: str) -> str:
    async with database.writer.acquire() as one:
        return (await create_key(one, name=role, role=role, sites=frozenset("*"))).token


async def test_an_order_lives_from_the_first_look_to_the_tree_that_comes_back(
    database: Database, settings: Settings, example: ModuleType
) -> None:
    story: list[str] = []
    app = build(settings, run_views=False, run_jobs=False, database=database)
    async with listening(app) as url:
        services = app.state.services
        delivering = deliverer(
            settings, database, system_clock, services.newest, services.availability
        )
        await delivering.start()
        try:
            async with Client(url, await key(database, "administrator")) as owner:
                await trees_to_sell(owner)
            seller = await key(database, "sales")
            await example.live(url, seller, story.append)
            async with Client(url, seller) as shop:
                await what_the_books_say(shop)
        finally:
            await delivering.stop()
    told = "\n".join(story)
    assert "Possible for that day: 9." in told
    assert "Or of the same at CORIN, L5, any grade: 20." in told
    assert "9 of the 14 that were asked are promised" in told
    assert "do with 8; the rest is free again" in told
    assert "To fetch:\n  House 1, T1: 4 of lot R1" in told
    assert "lot R1, Citrus sinensis, 'Navelina', on Carrizo citrange" in told
    assert "Still to come: 4." in told
    assert "Still to come: 0." in told
    heard = told.split("each signature checked:\n")[1].split("\n")
    assert [line.split()[1] for line in heard] == [
        "reservation.made",
        "reservation.confirmed",
        "trees.sold",
        "trees.sold",
        "trees.returned",
    ]


async def what_the_books_say(shop: Client) -> None:
    """Asked otherwise than the example asks."""
    (reserved,) = [one async for one in shop.each(await shop.list_reservations())]
    assert (reserved.state, reserved.lines[0].fulfilled) == ("fulfilled", 8)
    sold = shop.each(await shop.list_events(type=["trees.sold"]))
    sales = [said(event) async for event in sold]
    assert [sum(line.count for line in one.lines) for one in sales] == [4, 4]  # type: ignore[union-attr]
    # The second lorry took the lot that had enough, not the one left of the first lot and three.
    rows = (await shop.get_stock(group_by=["place"], size="L2")).body.rows
    assert {row.place: row.quantity for row in rows if row.quantity} == {"RET": 1, "T1": 1}
    # What came back is not for sale, and the webhook is gone.
    assert [row.available async for row in shop.each(await shop.list_availability(size="L2"))] == [
        1
    ]
    assert (await shop.list_webhooks()).body.items == []
    with pytest.raises(problems.Refused):
        await shop.make_sale(
            shapes.SaleToMake(
                site="CORIN",
                customer="cust-1",
                lines=[
                    shapes.LineToSell(cultivar="NAVEL", rootstock="CARRIZO", size="L2", count=2)
                ],
            )
        )
