"""POST /v1/events: what people record, one event or many."""

import hashlib
from datetime import datetime
from typing import Annotated, Any, Literal

import msgspec
from msgspec import Meta

from service.api.bulk import VerdictLines, record_lines
from service.api.conditional import etag
from service.api.headers import idempotency_key, media_type, names_type
from service.api.operation import JSON, NDJSON, Call, Reply, operation
from service.api.problems import Mistake, Problem, lacks_scope, mistake_of
from service.api.spec import ARRAY_LIMIT
from service.api.taking_in import (
    LINES_LIMIT,
    PROBLEMS,
    UNREADABLE,
    check_rights,
    hand_over,
    refuse_twins,
    understand,
    unreadable,
    within,
)
from service.log.answering import encode
from service.log.rights import HISTORY, Principal
from service.log.submission import (
    Answer,
    IdempotencyKey,
    Submission,
    Verdict,
)
from service.trade.events import Event
from service.trade.words import Ref

_parts_of = msgspec.json.Decoder(list[msgspec.Raw]).decode


class RecordQuery(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How a request is to be judged."""

    mode: Annotated[
        Literal["all", "each"],
        Meta(
            description="all: everything is recorded or nothing. each: every event gets a verdict "
            "of its own, in order of occurrence, and what is refused is kept to be put right."
        ),
    ] = "all"
    check: Annotated[bool, Meta(description="true: judge it and store nothing.")] = False
    recorded_at: (
        Annotated[
            datetime,
            Meta(tz=True, description="When it was first recorded elsewhere (scope history)."),
        ]
        | None
    ) = None
    recorded_by: (
        Annotated[Ref, Meta(description="By whom it was first recorded (scope history).")] | None
    ) = None


class Recorded(msgspec.Struct, frozen=True, kw_only=True):
    """The log's answer: a verdict for each event, in the order of the request."""

    position: Annotated[int, Meta(ge=0, description="The log's newest position at the time.")]
    verdicts: list[Verdict]


_recorded_of = msgspec.json.Decoder(Recorded).decode


@operation(
    "POST",
    "/v1/events",
    tag="Events",
    scope="",
    query=RecordQuery,
    accepts=(JSON, NDJSON),
    body=Event | list[Event],
    answer=Recorded,
    answers=(200, 201),
    also=((NDJSON, VerdictLines),),
    problems=(*PROBLEMS, "precondition-failed"),
    request_headers=("Idempotency-Key",),
)
async def record_events(call: Call[RecordQuery]) -> Reply:
    """Record one event, an array of at most 1,000, or NDJSON of at most 5,000 lines.

    201 when something new was recorded, 200 when all of it was known already; with `mode=each`
    always 200 with a verdict for each. With `mode=all` a refusal is 409 and names every reason.
    A retry is safe with an Idempotency-Key (kept for at least 7 days) or with event ids. What is
    recorded depends on the key's scopes and sites.

    NDJSON with `mode=each` and `Accept: application/x-ndjson` is recorded as it comes, up to
    100,000 lines, and answered while it comes: for each line, in their order, its verdict with its
    number as `line`, and at the end a line with `lines`, how many there were. A problem document as
    the last line says with `line` from where on nothing was recorded: send again from there, or all
    of it under the same Idempotency-Key or with event ids. Lines are judged in order of occurrence
    some hundred at a time, so send them in that order. `check=true` takes 5,000 lines.
    """
    query, principal = call.query, call.principal
    if query.recorded_at is not None or query.recorded_by is not None:
        _need_history(principal)
    sent, wanted = call.header("content-type"), call.header("accept")
    if query.mode == "each" and media_type(sent) == NDJSON and names_type(wanted, NDJSON):
        return await record_lines(call)
    body = await call.body(call.services.settings.batch_body_limit)
    parts, array = _split(call, body)
    elements = understand(parts, array=array, each=query.mode == "each")
    refuse_twins(elements, array=array)
    elements = check_rights(elements, principal, array=array, each=query.mode == "each")
    submission = Submission(
        principal=principal,
        elements=elements,
        mode=query.mode,
        check=query.check,
        array=array,
        key=None if query.check else key_of(call, body),
        recorded_at=query.recorded_at,
        recorded_by=query.recorded_by,
    )
    answer = await append(call, submission, array=array)
    return reply(answer, array=array, single=not array and query.mode == "all")


def reply(answer: Answer, *, array: bool, single: bool) -> Reply:
    """The log's answer over HTTP; one event alone is pointed at by Location and ETag."""
    headers = {"Graftlog-Position": str(answer.position)}
    tag = None
    verdicts = answer.verdicts
    if answer.replayed:
        headers["Idempotency-Replayed"] = "true"
    if answer.stored is not None and single:
        verdicts = verdicts_of(answer.stored)
    if single and len(verdicts) == 1 and verdicts[0].position is not None:
        headers["Location"] = f"/v1/events/{verdicts[0].id}"
        tag = etag(verdicts[0].position)
    body = answer.stored if answer.stored is not None else encode(answer, array)
    return Reply(body, answer.status, headers=headers, etag=tag, cache="no-store")


def verdicts_of(stored: bytes) -> list[Verdict]:
    """The verdicts of an answer that was kept for a retry."""
    return _recorded_of(stored).verdicts


async def append(call: Call[Any], submission: Submission, *, array: bool) -> Answer:
    """Hand a submission to the log; its refusals and failures become problems."""
    answer = await hand_over(call, submission)
    if answer.status == 412:
        raise Problem(
            "precondition-failed",
            "The entry was changed since it was read.",
            errors=_mistakes(answer, array=array),
            position=answer.position,
        )
    if answer.status == 409:
        raise Problem(
            "refused",
            "Nothing was recorded: see errors for each reason.",
            errors=_mistakes(answer, array=array),
            headers={"Graftlog-Position": str(answer.position)},
            position=answer.position,
        )
    return answer


def _mistakes(answer: Answer, *, array: bool) -> list[Mistake]:
    return [
        mistake_of(fault, f"/{index}" if array else "")
        for index, verdict in enumerate(answer.verdicts)
        for fault in verdict.errors
    ]


def _need_history(principal: Principal) -> None:
    if not principal.may(HISTORY):
        raise lacks_scope(HISTORY)


def key_of(call: Call[Any], body: bytes) -> IdempotencyKey | None:
    """The request's Idempotency-Key, if it has one, with what it stands for."""
    key = idempotency_key(call.header("idempotency-key"))
    if key is None:
        return None
    scope = call.request.scope
    query = scope["query_string"].decode("latin-1")
    asked = f"{call.request.method} {scope['path']}?{query}"
    return IdempotencyKey(key=key, method_path=asked, fingerprint=hashlib.sha256(body).digest())


def _split(call: Call[RecordQuery], body: bytes) -> tuple[list[bytes], bool]:
    """The events of a body, each as its bytes, and whether they came as an array or lines."""
    if media_type(call.header("content-type")) == NDJSON:
        lines = [line for line in body.split(b"\n") if line.strip()]
        more = " With mode=each and Accept: application/x-ndjson more are read as they come."
        return within(lines, LINES_LIMIT, "lines", more), True
    if body.lstrip()[:1] != b"[":
        most = call.services.settings.body_limit
        if len(body) > most:
            raise Problem(
                "content-too-large", f"A single event has at most {most} bytes.", limit=most
            )
        return [body], False
    try:
        return within([bytes(part) for part in _parts_of(body)], ARRAY_LIMIT, "events"), True
    except UNREADABLE as error:
        raise unreadable(error, body) from error
