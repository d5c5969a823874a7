"""Papers that were printed, read from the log's own events; a voided printing says so."""

from datetime import datetime
from typing import Annotated, Any

import msgspec
from msgspec import Meta

from service.log import read
from service.log.stored import StoredEvent
from service.storage.pool import Connection
from service.storage.sql import load
from service.trade.events.papers import AsPrinted, Paper, PapersPrinted, PapersPrintedData

SQL = load(__package__, "papers.sql")
TYPE = "papers.printed"
LAST = 2**62


class Printing(msgspec.Struct, frozen=True, kw_only=True):
    """So many papers of one kind, printed for one lot. `id` and `position` are null where it was
    only judged."""

    id: Annotated[str | None, Meta(description="UUID of the printing's event.")]
    number: Annotated[
        str | None,
        Meta(description="Stands on each paper, with its running number, so that a copy shows."),
    ]
    paper: Paper
    site: str
    occurred: str
    actor: str | None
    lot: str
    place: str | None
    size: str | None
    count: int
    customer: str | None
    order: str | None
    document: str | None
    note: str | None
    printed: Annotated[AsPrinted, Meta(description="What the papers say.")]
    position: int | None
    recorded_at: datetime | None
    recorded_by: str | None
    voided_by: Annotated[
        int | None, Meta(description="Position of the event that voided it, if any.")
    ]


class PrintingsFilter(msgspec.Struct, frozen=True, kw_only=True):
    """Which printings are wanted."""

    site: str | None = None
    lot: str | None = None
    paper: str | None = None


async def printings(
    conn: Connection,
    sites: list[str] | None,
    wanted: PrintingsFilter,
    *,
    before: int = LAST,
    limit: int,
) -> list[Printing]:
    """At most `limit` printings before a position, the newest first."""
    filters = msgspec.structs.astuple(wanted)
    rows = await conn.fetch(SQL.page, before, sites, *filters, limit)
    return [_told(read.event_of_row(row)) for row in rows]


async def printing(conn: Connection, sites: list[str] | None, event_id: str) -> Printing | None:
    """One printing by its event's id."""
    found = await read.event(conn, sites, event_id)
    return _told(found) if found is not None and found.type == TYPE else None


def _told(event: StoredEvent) -> Printing:
    data = msgspec.convert(event.data, PapersPrintedData)
    return Printing(
        id=event.id,
        number=data.document or number_of(event.id),
        actor=event.actor,
        position=event.position,
        recorded_at=event.recorded_at,
        recorded_by=event.recorded_by,
        voided_by=event.voided_by,
        **said(event.site, event.occurred, data),
    )


def judged(event: PapersPrinted) -> Printing:
    """A printing that was judged and not recorded."""
    nowhere: dict[str, Any] = dict.fromkeys(
        ("id", "number", "position", "recorded_at", "recorded_by", "voided_by")
    )
    told = said(event.site, event.occurred, event.data)
    return Printing(**nowhere, actor=event.actor, **told)


def number_of(event_id: str) -> str:
    """The end of the id: its random part, so two of one day differ."""
    return event_id[-8:]


def said(site: str, occurred: str, data: PapersPrintedData) -> dict[str, Any]:
    """The part of a printing that its event says."""
    assert data.printed is not None, "the writer fills it in"
    names = ("paper", "lot", "place", "size", "count", "customer", "order", "document", "note")
    kept = {name: getattr(data, name) for name in names}
    return {"site": site, "occurred": occurred, "printed": data.printed, **kept}
