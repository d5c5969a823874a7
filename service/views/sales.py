"""Sales as they stand: what went to whom, from which lots, where it is fetched, where it came from.

Read from the log's own events; a sale that was voided is told as such.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import Annotated, Any, Literal

import msgspec
from msgspec import Meta

from service.log import read
from service.log.reservations import lines_of
from service.log.stored import StoredEvent
from service.storage.pool import Connection
from service.storage.sql import load
from service.trade.events.budwood import BudwoodSold, BudwoodSoldData, Fulfilled
from service.trade.events.selling import TreesSold, TreesSoldData
from service.trade.provenance import Provenance, provenance
from service.views.provenance import entries_of, known_of

SQL = load(__package__, "sales.sql")
Goods = Literal["trees", "buds"]
TYPES: dict[str, Goods] = {"trees.sold": "trees", "budwood.sold": "buds"}


class Head(msgspec.Struct, frozen=True, kw_only=True):
    """What a sale says of itself. `id` and `position` are null where it was only judged."""

    id: Annotated[str | None, Meta(description="UUID of the sale's event.")]
    goods: Goods
    site: str
    occurred: str
    customer: str
    order: str | None
    reservation: str | None
    document: str | None
    destination: Annotated[
        list[str] | None,
        Meta(description="null: none said, so it goes where its reservation is to."),
    ]
    count: Annotated[int, Meta(description="Trees, or buds.")]
    position: int | None
    recorded_at: datetime | None
    recorded_by: str | None
    voided_by: Annotated[
        int | None, Meta(description="Position of the event that voided it, if any.")
    ]


class SaleSummary(Head, frozen=True, kw_only=True):
    """A sale in a list."""

    lots: list[str]


class SaleLine(msgspec.Struct, frozen=True, kw_only=True):
    """Trees of one lot from one place, or buds out of one bag, and where they come from."""

    lot: str
    bag: str | None
    place: str
    structure: Annotated[str | None, Meta(description="The house of the place.")]
    stage: str | None
    size: str | None
    grade: str | None
    count: int
    provenance: Provenance


class LoadingLine(msgspec.Struct, frozen=True, kw_only=True):
    """So many to fetch."""

    lot: str
    bag: str | None
    cultivar: str | None
    rootstock: str | None
    size: str | None
    grade: str | None
    count: int


class LoadingStop(msgspec.Struct, frozen=True, kw_only=True):
    """A place to go to, with all that is fetched there."""

    structure: str | None
    place: str
    count: int
    lines: list[LoadingLine]


class LeftLine(msgspec.Struct, frozen=True, kw_only=True):
    """A line of the reservation: what is still to come of it."""

    line: int
    item: str
    lot: str | None
    asked: int
    open: int


class Sale(Head, frozen=True, kw_only=True):
    """One sale, with provenance for invoice and plant passport, and the list to load by."""

    lines: list[SaleLine]
    loading: Annotated[
        list[LoadingStop], Meta(description="By structure and place, in the order of their names.")
    ]
    fulfils: Annotated[list[Fulfilled], Meta(description="How much of which reserved line.")]
    left: Annotated[
        list[LeftLine] | None,
        Meta(description="Of the reservation, now; null: none, or not one that the key sees."),
    ]
    remarks: list[dict[str, Any]]


class SalesFilter(msgspec.Struct, frozen=True, kw_only=True):
    """Which sales are wanted; days are the site's, both included."""

    site: str | None = None
    customer: str | None = None
    order: str | None = None
    reservation: str | None = None
    lot: str | None = None
    first: date | None = None
    last: date | None = None


async def sales(
    conn: Connection, sites: list[str] | None, wanted: SalesFilter, *, after: int, limit: int
) -> list[SaleSummary]:
    """At most `limit` sales after a position, in the order of the log."""
    filters = msgspec.structs.astuple(wanted)
    rows = await conn.fetch(SQL.page, after, sites, *filters, limit)
    return [_summary(read.event_of_row(row)) for row in rows]


async def sale(conn: Connection, sites: list[str] | None, event_id: str) -> Sale | None:
    """One sale by its event's id. Run it in one transaction."""
    found = await read.event(conn, sites, event_id)
    if found is None or found.type not in TYPES:
        return None
    return await told(conn, sites, _head(found), data_of(found), found.remarks)


def data_of(event: StoredEvent) -> TreesSoldData | BudwoodSoldData:
    """What a stored sale says."""
    if event.type == "trees.sold":
        return msgspec.convert(event.data, TreesSoldData)
    return msgspec.convert(event.data, BudwoodSoldData)


def _head(event: StoredEvent) -> Head:
    data = data_of(event)
    return Head(
        id=event.id,
        position=event.position,
        recorded_at=event.recorded_at,
        recorded_by=event.recorded_by,
        voided_by=event.voided_by,
        **_said(event.site, event.occurred, data),
    )


def judged(event: TreesSold | BudwoodSold) -> Head:
    """The head of a sale that was judged and not recorded."""
    nowhere: dict[str, Any] = dict.fromkeys(
        ("id", "position", "recorded_at", "recorded_by", "voided_by")
    )
    return Head(**nowhere, **_said(event.site, event.occurred, event.data))


def _said(site: str, occurred: str, data: TreesSoldData | BudwoodSoldData) -> dict[str, Any]:
    """The part of a sale's head that its event says."""
    return {
        "goods": "trees" if isinstance(data, TreesSoldData) else "buds",
        "site": site,
        "occurred": occurred,
        "customer": data.customer,
        "order": data.order,
        "reservation": data.reservation,
        "document": data.document,
        "destination": data.destination,
        "count": sum(line["count"] for line in _plain(data)),
    }


def _plain(data: TreesSoldData | BudwoodSoldData) -> list[dict[str, Any]]:
    """The lines of either kind of sale alike."""
    if isinstance(data, TreesSoldData):
        names = ("lot", "place", "stage", "size", "grade", "count")
        return [{"bag": None} | {n: getattr(line, n) for n in names} for line in data.lines]
    nothing = {"stage": None, "size": None, "grade": None}
    return [
        nothing | {"lot": line.lot, "bag": line.bag, "place": line.place, "count": line.buds or 0}
        for line in data.lines
    ]


def _summary(event: StoredEvent) -> SaleSummary:
    lots = list(dict.fromkeys(line["lot"] for line in _plain(data_of(event))))
    return SaleSummary(**msgspec.structs.asdict(_head(event)), lots=lots)


async def told(
    conn: Connection,
    sites: list[str] | None,
    head: Head,
    data: TreesSoldData | BudwoodSoldData,
    remarks: list[dict[str, Any]],
) -> Sale:
    """A sale whole, recorded or only judged."""
    plain = _plain(data)
    known = await known_of(conn, (line["lot"] for line in plain), sites)
    places = await entries_of(conn, {("place", line["place"]) for line in plain})
    houses = {code: entry.structure for (_, code), entry in places.items()}
    lines = [
        SaleLine(
            **line,
            structure=houses.get(line["place"]),
            # Of buds each line is of its own bag.
            provenance=provenance(known, line["lot"], [line["bag"]] if line["bag"] else ()),
        )
        for line in plain
    ]
    return Sale(
        **msgspec.structs.asdict(head),
        lines=lines,
        loading=loading_list(lines),
        fulfils=data.fulfils,
        left=await _left(conn, sites, data, judged_only=head.id is None),
        remarks=remarks,
    )


def loading_list(lines: Sequence[SaleLine]) -> list[LoadingStop]:
    """What to fetch, place by place through one house after the other."""
    stops: dict[tuple[str, str], list[SaleLine]] = defaultdict(list)
    for line in lines:
        stops[line.structure or "", line.place].append(line)
    return [
        LoadingStop(
            structure=structure or None,
            place=place,
            count=sum(line.count for line in there),
            lines=_to_load(there),
        )
        for (structure, place), there in sorted(stops.items())
    ]


def _to_load(there: Iterable[SaleLine]) -> list[LoadingLine]:
    """What is fetched from one place: what is alike together, whatever line it is of."""
    counts: dict[tuple[Any, ...], int] = defaultdict(int)
    for line in there:
        of = line.provenance
        alike = (line.lot, line.bag, of.cultivar, of.rootstock, line.size, line.grade)
        counts[alike] += line.count
    names = LoadingLine.__struct_fields__
    return [
        LoadingLine(**dict(zip(names, (*alike, count), strict=True)))
        for alike, count in counts.items()
    ]


async def _left(
    conn: Connection,
    sites: list[str] | None,
    data: TreesSoldData | BudwoodSoldData,
    *,
    judged_only: bool,
) -> list[LeftLine] | None:
    """What is left of the reservation; of a sale that is only judged, what would be."""
    if data.reservation is None:
        return None
    found = await lines_of(conn, sites, data.reservation)
    if found is None:
        return None
    taken = _by_line(data.fulfils) if judged_only else {}
    return [
        LeftLine(
            line=line.line,
            item=line.item,
            lot=line.lot,
            asked=line.asked,
            open=max(line.open - taken.get(line.line, 0), 0),
        )
        for line in found
    ]


def _by_line(fulfils: Iterable[Fulfilled]) -> dict[int, int]:
    return {one.line: one.count for one in fulfils}
