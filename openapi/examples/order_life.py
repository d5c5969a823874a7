"""The life of an order, from the side of a shop: run it against a demo that is up.

    make example KEY=...

(or, with the client installed, `python openapi/examples/order_life.py http://127.0.0.1:8080 KEY`).

It looks up what can be had, asks for too much, takes what is possible, ships it in two parts, takes
one tree back, and hears of all that twice: by the stream, and by a webhook whose signatures it
checks. It leaves the sale in the demo's books, and no webhook.
"""

import argparse
import asyncio
import sys
import uuid
from collections.abc import AsyncIterator, Callable
from contextlib import aclosing, asynccontextmanager
from dataclasses import dataclass

import httpx
from graftlog_client import Client, Problem, Receiver, problems, said, shapes
from listening import Post, listening

PATIENCE = 30.0
Say = Callable[[str], None]


@dataclass
class Shop:
    """Who orders, and what is wanted."""

    client: Client
    say: Say
    customer: str
    order: str
    row: shapes.AvailabilityRow
    returns: str

    @property
    def count(self) -> int:
        """How many go in the end: no more than a demo can spare."""
        return min(self.row.available - 1, 12)

    @property
    def site(self) -> str:
        """The site that the trees stand at."""
        return self.row.site or ""

    def wish(self, count: int) -> shapes.Reserve:
        """To reserve so many of the item."""
        row = self.row
        line = shapes.ReservedLine(
            cultivar=row.cultivar, rootstock=row.rootstock, size=row.size, count=count
        )
        return shapes.Reserve(
            customer=self.customer, site=self.site, order=self.order, lines=[line]
        )

    def sale(self, count: int, reservation: str | None = None) -> shapes.SaleToMake:
        """To hand over so many of it; the nursery chooses the lots."""
        row = self.row
        line = shapes.LineToSell(
            cultivar=row.cultivar, rootstock=row.rootstock, size=row.size, count=count
        )
        return shapes.SaleToMake(
            site=self.site,
            customer=self.customer,
            order=self.order,
            reservation=reservation,
            lines=[line],
        )


async def live(url: str, key: str, say: Say) -> None:
    """The whole story; raises what goes wrong."""
    async with Client(url, key) as client:
        shop = await look_up(client, say)
        start = (await client.list_events(limit=1)).body.position
        with listening() as post:
            async with told_by_webhook(shop, post), asyncio.timeout(PATIENCE):
                hearing = asyncio.create_task(hear(shop, start))
                code = await reserve(shop)
                await ship(shop, code)
                await take_back(shop)
                await compare(shop, await hearing, post)


async def look_up(client: Client, say: Say) -> Shop:
    """Choose the item that there is least of, but some, where a tree may also come back."""
    returns = {
        place.entry.site: place.entry.code
        async for place in client.each(await client.list_places(limit=1000))
        if isinstance(place.entry, shapes.Place) and place.entry.for_returns
    }
    there = await client.list_availability(limit=1000)
    rows = [row async for row in client.each(there)]
    fit = [row for row in rows if row.goods == "trees" and row.available >= 6]
    fit = [row for row in fit if row.site in returns]
    for row in sorted(fit, key=lambda row: (row.available, row.key)):
        number = uuid.uuid4().hex[:6]
        shop = Shop(client, say, f"cust-{number}", f"web-{number}", row, returns[row.site or ""])
        if await can_go_today(shop):
            break
    else:
        raise SystemExit("nothing can go today from a site that takes trees back")
    say(f"The nursery tells of {len(rows)} items. The shop chooses one that can go today:")
    say(f"  {row.words}")
    again = await client.list_availability(limit=1000, if_none_match=there.etag)
    say(f"  Asked once more: {'it has changed' if again.changed else 'still so (304)'}.")
    return shop


async def can_go_today(shop: Shop) -> bool:
    """Do so many stand graded, and free to load? A promise counts trees that still come, too."""
    try:
        await shop.client.make_sale(shop.sale(shop.count), check=True)
    except problems.Refused:
        return False
    return True


async def reserve(shop: Shop) -> str:
    """Ask for more than there is, then take what there is; the reservation's code."""
    client, say = shop.client, shop.say
    too_many = shop.row.available + 5
    wish = shop.wish(too_many)
    say(f"\nThe customer wants {too_many}.")
    try:
        await client.make_reservation(wish)
    except problems.Refused as refused:
        for mistake in refused.errors:
            say(f"  Refused: {mistake.detail}")
            say(f"  Possible for that day: {mistake.numbers['available']}.")
            for other in mistake.numbers.get("alternatives", [])[:3]:
                kind = f"{other['size']}, {other['grade'] or 'any grade'}"
                where = other["site"] or "all sites together"
                say(f"  Or of the same at {where}, {kind}: {other['available']}.")
    wish.partial = True
    made = (await client.make_reservation(wish)).body
    for line in made.lines:
        say(f"  {made.code}: {line.promised} of the {line.asked} that were asked are promised.")
    # The ETag says which version is changed: a colleague's change meanwhile would not be lost.
    now = await client.get_reservation(made.code)
    fewer = shapes.ReservationPatch(lines=shop.wish(shop.count).lines)
    changed = await client.change_reservation(made.code, fewer, if_match=now.etag)
    say(f"  The customer will do with {changed.body.lines[-1].open}; the rest is free again.")
    order = shapes.Confirm(order=shop.order)
    confirmed = await client.confirm_reservation(made.code, order, if_match=changed.etag)
    say(f"  Ordered: confirmed on {confirmed.body.confirmed_on}.")
    return made.code


async def ship(shop: Shop, code: str) -> None:
    """Two lorries: first what is to be loaded, then the sale."""
    for number, count in enumerate((shop.count // 2, shop.count - shop.count // 2), 1):
        sale = shop.sale(count, code)
        first = (await shop.client.make_sale(sale, check=True)).body
        shop.say(f"\nLorry {number}: {count} trees. To fetch:")
        for stop in first.loading:
            for one in stop.lines:
                what = f"{one.count} of lot {one.lot}, {one.grade or 'ungraded'}"
                shop.say(f"  {stop.structure}, {stop.place}: {what}")
        sold = (await shop.client.make_sale(sale)).body
        shop.say(f"  Sold at position {sold.position}. For the invoice and the plant passport:")
        for each in sold.lines:
            shop.say(f"  {each.count} of {told_of(each.provenance)}")
        left = sum(line.open for line in sold.left or [])
        shop.say(f"  Still to come: {left}.")


def told_of(origin: shapes.Provenance) -> str:
    """Where trees come from, in one line."""
    known = [f"lot {origin.lot}", origin.botanical_name, origin.epithet and f"'{origin.epithet}'"]
    known += [f"on {origin.rootstock_name or origin.rootstock}"]
    known += [f"grafted on {origin.grafted_on}"] if origin.grafted_on else []
    return ", ".join(word for word in known if word)


async def take_back(shop: Shop) -> None:
    """One tree comes back, to the place for that."""
    sales = shop.client.each(await shop.client.list_sales(order=shop.order))
    lot = (await anext(sales)).lots[0]
    line = shapes.ReturnedLine(lot=lot, place=shop.returns, size=shop.row.size, count=1)
    back = shapes.ReturnToTake(
        site=shop.site,
        customer=shop.customer,
        order=shop.order,
        reason="one too many",
        lines=[line],
    )
    await shop.client.take_back(back)
    shop.say(f"\nOne of lot {lot} comes back, to {shop.returns}.")


# -- hearing of it -----------------------------------------------------------------------------


@asynccontextmanager
async def told_by_webhook(shop: Shop, post: Post) -> AsyncIterator[None]:
    """A webhook for as long as the block lasts."""
    code = f"TRY-{uuid.uuid4().hex[:6].upper()}"
    wanted = shapes.WebhookDetails(
        url=post.url,
        types=["reservation.made", "reservation.confirmed", "trees.sold", "trees.returned"],
        sites=[shop.site],
    )
    made = (await shop.client.put_webhook(code, wanted)).body
    if made.secret is None:
        raise SystemExit(f"the webhook {code} was there before")
    post.receiver = Receiver(made.secret)
    try:
        yield
    finally:
        await shop.client.remove_webhook(code)


def of_order(event: shapes.StoredEvent, order: str) -> bool:
    """Does it speak of this order?"""
    told = said(event)
    return getattr(told, "order", None) == order


async def hear(shop: Shop, start: int) -> list[shapes.StoredEvent]:
    """What the stream tells of the order, until the tree is back."""
    heard: list[shapes.StoredEvent] = []
    async with aclosing(shop.client.follow(after=start, site=shop.site)) as events:
        async for event in events:
            heard += [event] if of_order(event, shop.order) else []
            if heard and heard[-1].type == "trees.returned":
                break
    return heard


async def compare(shop: Shop, streamed: list[shapes.StoredEvent], post: Post) -> None:
    """Both ways told the same."""
    delivered: list[str] = []
    while len(delivered) < len(streamed):
        event = await post.arrived.get()
        if event.id in {one.id for one in streamed}:
            delivered.append(event.id)
    shop.say("\nHeard by the stream, and by the webhook, each signature checked:")
    for one in streamed:
        shop.say(f"  {one.position}  {one.type}")
    if delivered != [one.id for one in streamed]:
        raise SystemExit(f"the webhook told otherwise: {delivered}")


def main() -> None:
    """Ask where the service is and with which key."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("url", help="such as http://127.0.0.1:8080")
    parser.add_argument("key", help="of the role sales or administrator")
    asked = parser.parse_args()
    try:
        asyncio.run(live(asked.url, asked.key, print))
    except Problem as problem:
        sys.exit(f"the service says: {problem}")
    except (httpx.TransportError, httpx.InvalidURL) as error:
        sys.exit(f"nothing answers at {asked.url}: {error}")


if __name__ == "__main__":
    main()
