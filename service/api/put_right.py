"""To put right: what people recorded and the log refused, until it is recorded or let go."""

import re
from typing import Annotated, Any, Literal

import msgspec
from msgspec import Meta

from service.api.conditional import etag
from service.api.cursors import after_number
from service.api.events import Recorded, append, key_of, reply
from service.api.operation import JSON, Call, NoQuery, Page, Paged, Reply, operation, page
from service.api.problems import Mistake, Problem, not_found
from service.api.taking_in import check_rights, decoded, understand
from service.log import put_right, read
from service.log.rights import READ
from service.log.stored import PutRight, PutRightWhole
from service.log.submission import AlreadyPutRight, Element, Submission
from service.trade.events import Event
from service.trade.words import Code, LongText

_NUMBER = re.compile(r"[1-9][0-9]{0,17}")


class PutRightQuery(Paged, frozen=True, kw_only=True):
    """Which refused records are wanted."""

    state: Annotated[
        Literal["open", "recorded", "discarded", "any"],
        Meta(description="open: nobody has put it right yet."),
    ] = "open"
    site: Annotated[Code, Meta(description="Only what names this site.")] | None = None


class CorrectQuery(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How a correction is to be judged."""

    check: Annotated[bool, Meta(description="true: judge it and store nothing.")] = False


class Discard(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Let it go."""

    reason: Annotated[
        LongText,
        Meta(
            description="Why it is let go; kept with who and when.",
            examples=["Told twice: the same graft is in the log already."],
        ),
    ]


@operation(
    "GET",
    "/v1/to-put-right",
    tag="To put right",
    scope=READ,
    query=PutRightQuery,
    answer=Page[PutRight],
    # What was refused can name a site that never was.
    free=("site",),
)
async def list_to_put_right(call: Call[PutRightQuery]) -> Reply:
    """List what people recorded and the log refused (mode each), as it came, with the reasons.

    You see what you sent, and with the scope corrections:write what others sent at your sites.
    """
    query = call.query
    after = after_number(query.cursor)
    async with call.services.reading() as connection:
        position = await read.head(connection)
        found = await put_right.items(
            connection,
            call.principal,
            after=after,
            limit=query.limit + 1,
            state=None if query.state == "any" else query.state,
            site=query.site,
        )
    return page(call, found, lambda one: one.id, position)


async def _item(call: Call[Any]) -> PutRightWhole:
    number = str(call.request.scope["path_params"]["number"])
    found = None
    if _NUMBER.fullmatch(number):
        async with call.services.reading() as connection:
            found = await put_right.item(connection, call.principal, int(number))
    if found is None:
        raise not_found("What is to be put right under this number")
    return found


@operation(
    "GET",
    "/v1/to-put-right/{number:str}",
    tag="To put right",
    scope=READ,
    answer=PutRightWhole,
)
async def get_to_put_right(call: Call[NoQuery]) -> Reply:
    """One of them: what was sent, why it was refused, and what would settle each reason.

    Beside it who sent it and when, how often, and whatever was sent for it before.
    """
    return _whole(await _item(call))


def _whole(found: PutRightWhole) -> Reply:
    return Reply(found, etag=etag(f"{found.id}-{found.attempts}-{found.state}"))


@operation(
    "POST",
    "/v1/to-put-right/{number:str}/correct",
    tag="To put right",
    scope="",
    query=CorrectQuery,
    accepts=(JSON,),
    body=Event,
    answer=Recorded,
    answers=(200, 201),
    problems=(
        "malformed-request",
        "refused",
        "already-put-right",
        "idempotency-key-in-flight",
        "idempotency-key-reused",
        "busy",
        "outcome-unknown",
    ),
    request_headers=("Idempotency-Key",),
)
async def correct_refused(call: Call[CorrectQuery]) -> Reply:
    """Send the event anew, corrected. It keeps its event id and is judged like any event.

    201 when it is recorded, by you; who sent it first stays known here. Refused again, it is 409
    with the reasons, your correction is kept, and the item stays open with one attempt more. What
    had no readable id, or another event's, gets a new one.
    """
    found = await _item(call)
    body = await call.body()
    (element,) = check_rights(
        understand([body], array=False, each=False), call.principal, array=False, each=False
    )
    submission = Submission(
        principal=call.principal,
        elements=[_under_its_id(element, found)],
        mode="each",
        check=call.query.check,
        key=None if call.query.check else key_of(call, body),
        corrects=found.id,
    )
    try:
        answer = await append(call, submission, array=False)
    except AlreadyPutRight as closed:
        raise _already(closed.state, closed.position) from closed
    return reply(answer, array=False, single=True)


def _under_its_id(element: Element, found: PutRightWhole) -> Element:
    """The corrected event under the id that the refused one had."""
    event = element.event
    assert event is not None, "what has no right shape was turned away"
    if found.event_id is None or event.id == found.event_id:
        return element
    if event.id is not None:
        mistake = Mistake(
            kind="other_address",
            detail=f"A correction keeps the event's id: {found.event_id}, or leave it out.",
            pointer="#/id",
        )
        raise Problem("validation-error", "Nothing was recorded: see errors.", errors=[mistake])
    return Element(element.raw, msgspec.structs.replace(event, id=found.event_id))


def _already(state: str, position: int | None) -> Problem:
    words = {
        "recorded": f"It was put right already, by the event at position {position}.",
        "discarded": "It was discarded already.",
    }
    return Problem("already-put-right", words[state], state=state, position=position)


@operation(
    "POST",
    "/v1/to-put-right/{number:str}/discard",
    tag="To put right",
    scope="",
    accepts=(JSON,),
    body=Discard,
    answer=PutRightWhole,
    problems=("malformed-request", "already-put-right", "not-ready"),
)
async def discard_refused(call: Call[NoQuery]) -> Reply:
    """Let it go, with a reason. Nothing is deleted: what was sent stays, with who let it go.

    The same once more by the same person changes nothing, so a retry is safe.
    """
    found = await _item(call)
    said = decoded(await call.body(), Discard)
    by = call.principal.name
    async with call.services.writing() as connection:
        done = await put_right.discard(
            connection, found.id, by=by, reason=said.reason, at=call.services.clock()
        )
    found = await _item(call)
    if not done and (found.state, found.resolved_by, found.discard_reason) != (
        "discarded",
        by,
        said.reason,
    ):
        raise _already(found.state, found.resolved_position)
    return _whole(found)


HANDLERS = [list_to_put_right, get_to_put_right, correct_refused, discard_refused]
