"""Reservations as they stand: questions to the writer's books.

Expiry is a rule at the moment of asking: what has expired says so, recorded or not.
"""

from collections.abc import Callable, Iterable
from contextlib import AbstractAsyncContextManager
from datetime import UTC, date, datetime, timedelta
from typing import Annotated, Any, Literal

from msgspec import Meta

from service.log.stored import Position, Row
from service.storage.pool import Connection
from service.storage.sql import load
from service.trade.items import parse_item

Connect = Callable[[], AbstractAsyncContextManager[Connection]]
# For so long, and that far from the limit, what was counted does.
_FRESH, _NEAR = timedelta(seconds=10), 0.8
SQL = load(__package__, "reservations.sql")
State = Annotated[
    Literal["open", "expired", "fulfilled", "released"],
    Meta(
        description="open: it binds. expired: its time has come, nothing of it is held any more. "
        "fulfilled: all of it was handed over. released: what was open was given free."
    ),
]


class ReservedLineNow(Row, frozen=True, kw_only=True):
    """A line of a reservation: what was asked, and what has become of it."""

    line: Annotated[int, Meta(description="Its number, from 0 on.")]
    item: Annotated[str, Meta(description="cultivar/rootstock/size/grade, or buds/cultivar.")]
    cultivar: str | None
    rootstock: str | None
    size: str | None
    grade: Annotated[str | None, Meta(description="null: any grade.")]
    buds: bool
    lot: Annotated[str | None, Meta(description="The one lot it is of; null: any.")]
    site: Annotated[str | None, Meta(description="null: trees of any site.")]
    asked: Annotated[int, Meta(description="How many the customer asked for.")]
    promised: Annotated[int, Meta(description="How many of them were promised.")]
    open: Annotated[
        int,
        Meta(
            description="How many are still to be handed over; of one that has expired, how many "
            "would be if it were taken up again."
        ),
    ]
    fulfilled: Annotated[int, Meta(description="How many were handed over.")]


class ReservationNow(Row, frozen=True, kw_only=True):
    """A reservation as it stands."""

    code: str
    customer: str
    order: str | None
    site: Annotated[str, Meta(description="The site that acts for it.")]
    any_site: bool
    made_day: date
    needed_by: Annotated[date | None, Meta(description="null: as soon as may be.")]
    expires_at: Annotated[datetime | None, Meta(description="null: it does not expire.")]
    destination: list[str]
    state: State
    confirmed_on: Annotated[date | None, Meta(description="null: not confirmed.")]
    position: Position
    changed_position: Annotated[
        int, Meta(description="The position of its last change: its ETag says it.")
    ]
    lines: list[ReservedLineNow]


async def page(
    connection: Connection,
    sites: list[str] | None,
    now: datetime,
    *,
    after: str,
    limit: int,
    state: str | None = None,
    customer: str | None = None,
    order: str | None = None,
    site: str | None = None,
) -> list[ReservationNow]:
    """Reservations after a code, in order of code."""
    rows = await connection.fetch(SQL.page, after, sites, state, customer, limit, now, order, site)
    return await _whole(connection, rows)


async def one(
    connection: Connection, sites: list[str] | None, now: datetime, code: str
) -> ReservationNow | None:
    """One reservation of the sites (None: all)."""
    found = await _whole(connection, await connection.fetch(SQL.one, code, sites, now))
    return found[0] if found else None


async def lines_of(
    connection: Connection, sites: list[str] | None, code: str
) -> list[ReservedLineNow] | None:
    """The lines of a reservation of the sites (None: all); None for one that is not there."""
    found = await one(connection, sites, datetime.min.replace(tzinfo=UTC), code)
    return found.lines if found else None


async def _whole(connection: Connection, rows: Iterable[Any]) -> list[ReservationNow]:
    """Reservations with their lines."""
    rows = list(rows)
    lines: dict[str, list[ReservedLineNow]] = {row["code"]: [] for row in rows}
    for line in await connection.fetch(SQL.lines, list(lines)) if lines else ():
        lines[line["reservation"]].append(_line(line))
    return [
        ReservationNow(
            order=row["order_ref"],
            confirmed_on=row["confirmed_day"],
            lines=lines[row["code"]],
            **{name: row[name] for name in dict(row).keys() - {"order_ref", "confirmed_day"}},
        )
        for row in rows
    ]


def _line(row: Any) -> ReservedLineNow:
    item = parse_item(row["item"])
    return ReservedLineNow(
        cultivar=item.cultivar or None,
        rootstock=item.rootstock or None,
        size=item.size or None,
        grade=item.grade or None,
        buds=item.buds,
        **{name: row[name] for name in dict(row).keys() - {"reservation"}},
    )


class Unconfirmed:
    """How many reservations each key has waiting to be confirmed, as far as a limit asks for it.

    It bounds a slip or a hoarder and is no promise: what is under way at once may pass it by a few.
    """

    def __init__(self, most: int) -> None:
        """`most`: reservations of one key that bind and are not confirmed."""
        self.most = most
        # by key: how many there may be at most by what was counted last, and when that was
        self._counted: dict[str, tuple[int, datetime]] = {}

    async def too_many(self, connect: Connect, principal: str, now: datetime) -> bool:
        """Whether the key has as many as it may have; one more is counted if not.

        It is counted anew when it may be near the limit, and after some seconds.
        """
        known, at = self._counted.get(principal, (self.most, now))
        if known >= self.most * _NEAR or not timedelta() <= now - at < _FRESH:
            async with connect() as connection:
                known = int(await connection.fetchval(SQL.waiting_of, principal, now, self.most))
            at = now
        self._counted[principal] = (known + 1, at)
        return known >= self.most
