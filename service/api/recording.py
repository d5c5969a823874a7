"""One event recorded for an operation about a thing, as `POST /v1/events` would record it.

Rights, retries by Idempotency-Key, If-Match under the writer's lock, and refusals are the same;
pointers of refusals are those of the operation's own body.
"""

from collections.abc import Mapping
from typing import Annotated, Any, NamedTuple

import msgspec
from msgspec import Meta

from service.api.conditional import etag
from service.api.events import append, key_of, verdicts_of
from service.api.operation import Call
from service.api.problems import Mistake, Problem
from service.api.taking_in import check_rights
from service.log.submission import Element, Submission, Verdict
from service.trade.events import Event
from service.trade.events.envelope import Envelope
from service.trade.words import Code, Data, EventId, Occurred, Ref


class Fact(Data, frozen=True, kw_only=True):
    """What bodies that record a fact have in common."""

    id: (
        Annotated[
            EventId, Meta(description="Set it to make a retry safe without an Idempotency-Key.")
        ]
        | None
    ) = None
    site: Annotated[Code, Meta(description="The site where it happened.")]
    occurred: Annotated[Occurred, Meta(description="Left out: now.")] | None = None
    actor: Ref | None = None
    happened: Annotated[
        bool, Meta(description="True: it breaks a rule, and it has happened all the same.")
    ] = False


class Done(NamedTuple):
    """What became of the event: its verdict, and it complete as the log stored it.

    `event` is None for a retry (`replayed`): then ask by the verdict's id, position or `made` how
    things stand. `position` is the log's newest at the time.
    """

    verdict: Verdict
    event: Envelope | None
    position: int
    replayed: bool

    @property
    def headers(self) -> dict[str, str]:
        """Graftlog-Position, and Idempotency-Replayed for a retry."""
        said = {"Graftlog-Position": str(self.position)}
        return said | ({"Idempotency-Replayed": "true"} if self.replayed else {})


async def record_one(
    call: Call[Any],
    event: Event,
    body: bytes | None = None,
    *,
    expected: Mapping[tuple[str, str], frozenset[int]] | None = None,
    check: bool = False,
    root: str = "#/data",
    in_path: str | None = None,
) -> Done:
    """Record `event` for who asks, or raise the problem that says why not.

    `body`: the request's own, by which a retry under the same Idempotency-Key is known; without it
    there are no keys. `expected`: positions of last changes, as in `Submission`. `check`: judge it
    and store nothing. `root`: the place in the event that stands for the whole body; `in_path`: a
    field of it that the address says, so that what is wrong with it is wrong with the whole.
    """
    try:
        elements = check_rights(
            [Element(msgspec.json.encode(event), event)], call.principal, array=False, each=False
        )
        submission = Submission(
            principal=call.principal,
            elements=elements,
            check=check,
            key=None if check or body is None else key_of(call, body),
            expected=dict(expected or {}),
        )
        answer = await append(call, submission, array=False)
    except Problem as problem:
        if problem.slug == "precondition-failed" and problem.errors:
            present = problem.errors[0].numbers.get("position")
            problem.headers |= {"ETag": etag(present)} if present else {}
        problem.errors = [_of_body(mistake, root, in_path) for mistake in problem.errors]
        raise
    verdicts = answer.verdicts if answer.stored is None else verdicts_of(answer.stored)
    completed = answer.events[0] if answer.events else None
    return Done(verdicts[0], completed, answer.position, answer.replayed)


def now_of(call: Call[Any]) -> str:
    """The moment of a request, as an event's `occurred`."""
    return call.services.clock().isoformat(timespec="seconds").replace("+00:00", "Z")


def _of_body(mistake: Mistake, root: str, in_path: str | None) -> Mistake:
    """A mistake in an event as one in the body that the event was made of."""
    if mistake.pointer is None or not f"{mistake.pointer}/".startswith(f"{root}/"):
        return mistake
    pointer = f"#{mistake.pointer.removeprefix(root)}"
    return msgspec.structs.replace(mistake, pointer="#" if pointer == f"#/{in_path}" else pointer)
