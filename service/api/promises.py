"""How many of an item can be promised for a day, and how sure that is."""

from datetime import date
from typing import Annotated

import msgspec
from msgspec import Meta

from service.api.operation import Call, Reply, operation
from service.api.problems import bad_parameter
from service.api.views import Reflecting, wait_for_view
from service.forecast.answers import ready_view
from service.forecast.answers.promise_rows import PromiseRow
from service.forecast.answers.promise_view import PastDayError, PromiseQuery, promises_of
from service.log import read
from service.log.rights import READ
from service.trade.events.trees import Grade
from service.trade.words import Code

Confidence = Annotated[
    float,
    Meta(
        ge=0.5,
        le=0.99,
        description="How sure it is to be, from 0.5 to 0.99: 0.8 is 8 in 10 sure. Left out: what "
        "the nursery promises at.",
    ),
]
Quantity = Annotated[int, Meta(ge=1, le=10_000_000, description="How many are wanted.")]


class PromisesParameters(Reflecting, frozen=True, kw_only=True):
    """What is wanted, for when, how sure."""

    cultivar: Code
    rootstock: Code
    size: Code
    grade: Annotated[Grade, Meta(description="Left out: any.")] | None = None
    site: (
        Annotated[
            Code,
            Meta(description="Left out: each site that has any, and all sites together."),
        ]
        | None
    ) = None
    day: Annotated[date, Meta(description="Left out: today.")] | None = msgspec.field(
        name="date", default=None
    )
    quantity: Quantity | None = None
    confidence: Confidence | None = None


class Promises(msgspec.Struct, frozen=True, kw_only=True):
    """What can be promised, at each site and at all together."""

    position: Annotated[
        int,
        Meta(ge=0, description="The log's position that reservations and stock are reflected at."),
    ]
    items: list[PromiseRow]


@operation(
    "GET",
    "/v1/promises",
    tag="Forecast",
    scope=READ,
    query=PromisesParameters,
    answer=Promises,
    request_headers=("Prefer",),
    # Of a grade that no tree was given yet something may be promised all the same.
    free=("grade",),
)
async def list_promises(call: Call[PromisesParameters]) -> Reply:
    """Tell how many of an item can be promised for a day, with what probability.

    An estimate, net of reservations, holds and expected losses; each answer says how wide it is
    and what it rests on. With `quantity` also the first day for all of it. Keys of some sites are
    told of these alone; all sites together are told to who sees them all. Nothing is set aside by
    asking: a reservation does that, and the log decides on it.
    """
    asked, services = call.query, call.services
    headers = await wait_for_view(call, ready_view.NAME)
    query = PromiseQuery(
        cultivar=asked.cultivar,
        rootstock=asked.rootstock,
        size=asked.size,
        grade=asked.grade,
        site=asked.site,
        day=asked.day,
        quantity=asked.quantity,
        confidence=asked.confidence or services.settings.promise_confidence,
    )
    async with services.reading() as connection:
        position = await read.head(connection)
        try:
            found = await promises_of(connection, query, call.principal.site_list, services.clock())
        except PastDayError as error:
            raise bad_parameter("date", str(error), "in_the_past") from error
    return Reply(Promises(position=position, items=found), headers=headers)


HANDLERS = [list_promises]
