"""Where goods may be sent, by the nursery's own rules. Never advice."""

from collections.abc import Sequence
from datetime import date
from typing import Annotated, Any

import msgspec
from msgspec import Meta

from service.api.cursors import decoded_cursor, no_cursor
from service.api.operation import Call, Paged, Reply, next_page, operation
from service.api.services import UNREACHABLE, unreachable
from service.log.rights import READ
from service.trade.available import Row
from service.trade.destinations import Goods as Sent
from service.trade.destinations import Sending, Speaking, may_send, speaking
from service.trade.entries import Catalogue
from service.trade.events.catalogue import Cultivar, Region
from service.trade.promising import ALL_SITES
from service.trade.words import Code
from service.views.availability import AvailabilityList
from service.views.availability_now import Goods, visible

Destination = Annotated[
    list[Region],
    Meta(
        min_length=1,
        max_length=5,
        description="Where it is to go: all that the place lies in, with commas: country or part "
        "of one (ISO 3166: ES, US-CA), and regulated areas as the nursery names them.",
        examples=[["US-CA"]],
    ),
]


class KindsQuery(Paged, frozen=True, kw_only=True):
    """What is wanted, and from where."""

    cultivar: Code | None = None
    rootstock: Code | None = None
    goods: Goods | None = None
    site: Annotated[Code, Meta(description="Left out: each site that is seen.")] | None = None


class DestinationsQuery(KindsQuery, frozen=True, kw_only=True):
    """What is wanted, from where, and where it is to go."""

    destination: Destination


class DestinationRow(msgspec.Struct, frozen=True, kw_only=True):
    """Whether goods may leave a site for the destination, as far as the nursery's rules say."""

    goods: Goods
    cultivar: str
    rootstock: Annotated[str | None, Meta(description="null: buds.")]
    site: str
    sending: Sending


class Destinations(msgspec.Struct, frozen=True, kw_only=True):
    """A page of answers, all for one destination."""

    destination: list[str]
    items: list[DestinationRow]
    next: Annotated[str | None, Meta(description="Address of the next page; null on the last one.")]


class Rules:
    """The rules of the catalogue, asked about rows of the availability list."""

    def __init__(self, catalogue: Catalogue) -> None:
        self.catalogue = catalogue
        self._speaking: dict[int, list[Speaking]] = {}

    def on(self, row: Row, destination: Sequence[str]) -> Sending:
        """What they say today of sending a row's item."""
        entries = self.catalogue.entries
        if row.today not in self._speaking:
            today = date.fromordinal(row.today)
            self._speaking[row.today] = speaking((one for one, _ in entries.values()), today)
        cultivar = entries.get(("cultivar", row.item.cultivar), (None, 0))[0]
        goods = Sent(
            row.site or None,
            cultivar if isinstance(cultivar, Cultivar) else None,
            row.item.rootstock or None,
            row.item.buds,
        )
        return may_send(self._speaking[row.today], goods, destination)


@operation(
    "GET",
    "/v1/destinations",
    tag="Reservations",
    scope=READ,
    query=DestinationsQuery,
    answer=Destinations,
)
async def list_destinations(call: Call[DestinationsQuery]) -> Reply:
    """List what the nursery's rules say of sending its goods to a place.

    For each site what it has on its availability list: allowed, not allowed, or ask your authority,
    with the rule, its source and the day it is of. No advice: rules are what somebody wrote down,
    and who answers for plant health there decides. Where no rule speaks the answer is to ask.
    """
    query, found, sites = call.query, await available_now(call), seen_sites(call)
    rules, after = Rules(found.catalogue), after_key(call.query.cursor)
    rows: dict[str, Row] = {}
    for row in found.rows.values():
        if row.site != ALL_SITES and visible(row, sites) and of_kind(query, row):
            rows.setdefault(_kind_key(row), row)
    keys = sorted(key for key in rows if key > after)
    shown = [_told(rows[key], rules, query.destination) for key in keys[: query.limit]]
    last = keys[query.limit - 1] if len(keys) > query.limit else None
    return next_page(call, {"destination": query.destination, "items": shown}, last, {})


def _told(row: Row, rules: Rules, destination: Sequence[str]) -> DestinationRow:
    return DestinationRow(
        goods="buds" if row.item.buds else "trees",
        cultivar=row.item.cultivar,
        rootstock=row.item.rootstock or None,
        site=row.site,
        sending=rules.on(row, destination),
    )


def _kind_key(row: Row) -> str:
    goods, cultivar, rootstock, *_, site = row.key.split("/")
    return "/".join((goods, cultivar, rootstock, "", "", site))


def of_kind(query: KindsQuery, row: Row) -> bool:
    """Whether a row is of the goods and from the site that are wanted."""
    item = row.item
    return (
        query.cultivar in (None, item.cultivar)
        and query.rootstock in (None, item.rootstock)
        and query.goods in (None, "buds" if item.buds else "trees")
        and query.site in (None, row.site)
    )


async def available_now(call: Call[Any]) -> AvailabilityList:
    """The availability list. Raises a 503 problem where it can't be told."""
    try:
        return await call.services.availability.get()
    except UNREACHABLE as error:
        raise unreachable() from error


def seen_sites(call: Call[Any]) -> frozenset[str] | None:
    """The sites that the asker sees; None: all."""
    return None if call.principal.site_list is None else call.principal.sites


def after_key(cursor: str | None) -> str:
    """The key that a cursor of these lists stands after; empty at the start. Raises 422."""
    key = decoded_cursor(cursor) if cursor else ""
    if cursor and key.count("/") != 5:
        raise no_cursor()
    return key


HANDLERS = [list_destinations]
