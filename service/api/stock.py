"""Stock: what stands where, on both clocks; and how it went, day by day."""

import re
from datetime import date, datetime
from typing import Annotated, Literal

import msgspec
from msgspec import Meta

from service.api.operation import Call, Reply, bad_parameter, operation
from service.api.services import UNREACHABLE, unreachable
from service.log.rights import READ
from service.trade.words import Code
from service.views.stock import Group, Kind, StockAnswer, StockQuery, stock

_POSITION = re.compile(r"[0-9]{1,18}")
_TIME = r"^([0-9]{1,18}|\d{4}-\d{2}-\d{2}[Tt ]\d{2}:\d{2}:\d{2}(\.\d{1,6})?([Zz]|[+-]\d{2}:\d{2}))$"


class StockParameters(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How stock is asked for."""

    group_by: Annotated[
        list[Group],
        Meta(max_length=8, description="Groups, separated by commas; by site when left out."),
    ] = []
    site: Code | None = None
    place: Code | None = None
    cultivar: Code | None = None
    rootstock: Code | None = None
    size: Code | None = None
    stage: Literal["grafted", "pushed", "failed", "ready"] | None = None
    grade: Annotated[str, Meta(pattern=r"^[A-Za-z0-9_-]{1,20}$")] | None = None
    lot: Code | None = None
    kind: Kind | None = None
    as_of: (
        Annotated[date, Meta(description="At the end of that day at each site. Left out: now.")]
        | None
    ) = None
    known_at: (
        Annotated[
            str,
            Meta(
                pattern=_TIME,
                description="As known then: a position of the log, or a time with an offset.",
                examples=["1200", "2026-03-01T00:00:00Z"],
            ),
        ]
        | None
    ) = None


def known(text: str | None) -> int | datetime | None:
    """`known_at` as a position or a time. Raises 422."""
    if text is None:
        return None
    if _POSITION.fullmatch(text):
        return int(text)
    try:
        moment: datetime = msgspec.convert(text, Annotated[datetime, Meta(tz=True)])
        return moment
    except (msgspec.ValidationError, OverflowError) as error:
        raise bad_parameter("known_at", f"{text} is no position and no time.") from error


@operation("GET", "/v1/stock", tag="Stock", scope=READ, query=StockParameters, answer=StockAnswer)
async def get_stock(call: Call[StockParameters]) -> Reply:
    """Stock in groups: bags (buds), liners, trees and what is in transit.

    Answered from the books themselves, so it never lags. `as_of` asks for a past day, `known_at`
    for what was known then; both may be given.
    """
    asked = call.query
    query = StockQuery(
        group_by=tuple(asked.group_by) or ("site",),
        site=asked.site,
        place=asked.place,
        cultivar=asked.cultivar,
        rootstock=asked.rootstock,
        size=asked.size,
        stage=asked.stage,
        grade=asked.grade,
        lot=asked.lot,
        kind=asked.kind,
        as_of=asked.as_of,
        known_at=known(asked.known_at),
    )
    services = call.services
    try:
        answer = await stock(
            services.database.reader, query, call.principal.site_list, clock=services.clock
        )
    except ValueError as error:
        raise bad_parameter("group_by", str(error)) from error
    except UNREACHABLE as error:
        raise unreachable() from error
    return Reply(answer)


HANDLERS = [get_stock]
