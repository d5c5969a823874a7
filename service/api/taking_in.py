"""From what was sent to the log: events understood, rights checked, handed over.

All that records over HTTP goes this way.
"""

from collections.abc import Sequence
from typing import Any, Protocol

import msgspec

from service.api import shapes
from service.api.problems import Mistake, Problem, lacks_scope, mistake_of
from service.api.services import Services
from service.log.rights import Principal, scope_for
from service.log.submission import (
    Answer,
    Busy,
    Element,
    Fault,
    KeyInFlight,
    KeyReused,
    OutcomeUnknown,
    Submission,
)
from service.trade.events import Event

# What an operation that records can answer beside its own problems.
PROBLEMS = (
    "malformed-request",
    "refused",
    "idempotency-key-in-flight",
    "idempotency-key-reused",
    "content-too-large",
    "busy",
    "outcome-unknown",
)

LINES_LIMIT = 5000
UNREADABLE = (msgspec.DecodeError, UnicodeDecodeError, RecursionError)
_event_of = msgspec.json.Decoder(Event).decode


def unreadable(error: Exception, body: bytes = b"") -> Problem:
    """The 400 problem for what is no JSON."""
    if not isinstance(error, RecursionError) and shapes.has_half_a_pair(body):
        words = (
            "It holds text that is no valid Unicode: half a surrogate pair (\\ud800 to \\udfff)."
        )
        return Problem("malformed-request", words)
    words = {
        RecursionError: "It is nested too deeply.",
        UnicodeDecodeError: "It is not UTF-8.",
    }.get(type(error), f"It is not JSON: {error}.")
    return Problem("malformed-request", words)


def decoded(body: bytes, shape: Any) -> Any:
    """A body as `shape`. Raises 422 with the place of a mistake, 400 for what is no JSON."""
    try:
        return msgspec.json.decode(body, type=shape)
    except msgspec.ValidationError as error:
        mistake = mistake_of(shapes.fault_of(str(error), shape, body))
        raise Problem("validation-error", "Nothing was recorded.", errors=[mistake]) from error
    except UNREADABLE as error:
        raise unreadable(error, body) from error


def understand(parts: Sequence[bytes], *, array: bool, each: bool) -> list[Element]:
    """Each part as an event, or with the faults found in reading it.

    Unless `each`, anything malformed raises: 422 with pointers for wrong shapes, 400 for what is
    no JSON at all.
    """
    elements = []
    faulty: list[Mistake] = []
    for index, part in enumerate(parts):
        try:
            elements.append(Element(part, _event_of(part)))
            continue
        except msgspec.ValidationError as error:
            fault = shapes.fault_of(str(error), Event, part)
        except UNREADABLE as error:
            problem = unreadable(error, part)
            if not each:
                if array:
                    problem.detail = f"Event {index}: {problem.detail}"
                raise problem from error
            fault = Fault(kind="bad_value", detail=problem.detail)
        elements.append(Element(part, None, (fault,)))
        if not each:
            faulty.append(mistake_of(fault, f"/{index}" if array else ""))
    if faulty:
        raise Problem("validation-error", "Nothing was recorded: see errors.", errors=faulty)
    return elements


def no_event() -> Problem:
    """The 422 problem for a body without any event."""
    fault = Mistake(kind="missing", detail="At least one event is needed.", pointer="#")
    return Problem("validation-error", "There is no event in it.", errors=[fault])


def within(parts: list[bytes], most: int, what: str, else_: str = "") -> list[bytes]:
    """The parts of a body, if there are any and not too many; `else_`: how more would do."""
    if not parts:
        raise no_event()
    if len(parts) > most:
        raise Problem("content-too-large", f"At most {most} {what} at a time.{else_}", limit=most)
    return parts


def refuse_twins(elements: list[Element], *, array: bool) -> None:
    """Raises 422 when two events of one request have the same id."""
    seen: dict[str, int] = {}
    twins = []
    for index, element in enumerate(elements):
        if element.event is None or element.event.id is None:
            continue
        first = seen.setdefault(element.event.id, index)
        if first != index:
            fault = Fault(
                kind="id_twice",
                detail=f"Event {first} of this request has the same id.",
                pointer="#/id",
                numbers={"first": first},
            )
            twins.append(mistake_of(fault, f"/{index}" if array else ""))
    if twins:
        raise Problem("validation-error", "Nothing was recorded: see errors.", errors=twins)


def check_rights(
    elements: list[Element], principal: Principal, *, array: bool, each: bool
) -> list[Element]:
    """Refuse what the key may not record. A site it does not see is a site that is not there.

    With `each` a refused element goes on with its fault; else 403 for a scope, 409 for a site.
    """
    checked: list[Element] = []
    lacking: dict[str, list[Mistake]] = {}
    unseen: list[Mistake] = []
    for index, element in enumerate(elements):
        fault, scope = _right_fault(element, principal)
        if fault is None:
            checked.append(element)
            continue
        checked.append(Element(element.raw, element.event, (fault,)))
        mistake = mistake_of(fault, f"/{index}" if array else "")
        if scope is not None:
            lacking.setdefault(scope, []).append(mistake)
        else:
            unseen.append(mistake)
    if not each:
        for scope, mistakes in lacking.items():
            raise lacks_scope(scope, mistakes)
        if unseen:
            raise Problem("refused", "Nothing was recorded: see errors.", errors=unseen)
    return checked


def _right_fault(element: Element, principal: Principal) -> tuple[Fault | None, str | None]:
    event = element.event
    if event is None:
        return None, None
    kind = str(event.__struct_config__.tag)
    scope = scope_for(kind)
    if scope not in principal.scopes:
        detail = f"The key lacks the scope {scope}, which {kind} asks for."
        return Fault(kind="scope_missing", detail=detail, pointer="#/type"), scope
    if not principal.sees(event.site):
        detail = f"No site {event.site} is known."
        return Fault(kind="unknown_code", detail=detail, pointer="#/site"), None
    return None, None


class Asked(Protocol):
    """A request of a program, or a visit of a page: what comes in with either is recorded alike."""

    @property
    def services(self) -> Services: ...


async def hand_over(call: Asked, submission: Submission) -> Answer:
    """Hand a submission to the log; its failures become problems, its refusals are answers."""
    try:
        return await call.services.appender.append(submission)
    except Busy as error:
        raise Problem(
            "busy", "Too many requests wait to be written.", headers={"Retry-After": "1"}
        ) from error
    except OutcomeUnknown as error:
        raise Problem(
            "outcome-unknown",
            "The database went away while this was being stored.",
            headers={"Retry-After": "2"},
        ) from error
    except KeyInFlight as error:
        raise Problem(
            "idempotency-key-in-flight",
            "A request with this Idempotency-Key is being worked on.",
            headers={"Retry-After": "1"},
        ) from error
    except KeyReused as error:
        raise Problem(
            "idempotency-key-reused", "This Idempotency-Key was used for another request."
        ) from error
