"""Returns: trees that customers bring back, to a place where they stand apart."""

from datetime import datetime
from typing import Annotated

import msgspec
from msgspec import Meta

from service.api import recording
from service.api.operation import JSON, Call, NoQuery, Reply, operation
from service.api.problems import not_found
from service.api.recording import Fact, record_one
from service.api.taking_in import PROBLEMS, decoded
from service.log import read
from service.log.rights import SALES
from service.trade.events.selling import ReturnedLine, TreesReturned, TreesReturnedData
from service.trade.words import Ref, Text


class ReturnToTake(Fact, frozen=True, kw_only=True):
    """Trees that came back: only what this customer was sold of a lot at this site can."""

    customer: Ref
    order: Ref | None = None
    reason: Text
    lines: Annotated[list[ReturnedLine], Meta(min_length=1, max_length=200)]


class Return(msgspec.Struct, frozen=True, kw_only=True):
    """Trees that came back, and where they stand now. They can be sold again once moved away."""

    id: Annotated[str, Meta(description="UUID of the return's event.")]
    site: str
    occurred: str
    customer: str
    order: str | None
    reason: str
    count: int
    lines: list[ReturnedLine]
    position: int
    recorded_at: datetime


@operation(
    "POST",
    "/v1/returns",
    tag="Sales",
    scope=SALES,
    accepts=(JSON,),
    body=ReturnToTake,
    answer=Return,
    answers=(200, 201),
    problems=PROBLEMS,
    request_headers=("Idempotency-Key",),
)
async def take_back(call: Call[NoQuery]) -> Reply:
    """Take sold trees back, where the site's rules allow it.

    They stand at a place for returns, apart from what is sold; whether trees that left may come
    back into a structure at all is for local rules to say.
    """
    body = await call.body()
    asked: ReturnToTake = decoded(body, ReturnToTake)
    event = TreesReturned(
        id=asked.id,
        site=asked.site,
        occurred=asked.occurred or recording.now_of(call),
        actor=asked.actor,
        happened=asked.happened,
        data=TreesReturnedData(
            customer=asked.customer, order=asked.order, reason=asked.reason, lines=asked.lines
        ),
    )
    done = await record_one(call, event, body)
    async with call.services.reading() as connection:
        found = await read.event(connection, call.principal.site_list, done.verdict.id or "")
    if found is None:
        raise not_found(f"The return {done.verdict.id}")
    data = msgspec.convert(found.data, TreesReturnedData)
    told = Return(
        id=found.id,
        site=found.site,
        occurred=found.occurred,
        customer=data.customer,
        order=data.order,
        reason=data.reason,
        count=sum(line.count for line in data.lines),
        lines=data.lines,
        position=found.position,
        recorded_at=found.recorded_at,
    )
    return Reply(
        told,
        200 if done.verdict.verdict == "known" else 201,
        headers=done.headers | {"Location": f"/v1/events/{found.id}"},
        cache="no-store",
    )


HANDLERS = [take_back]
