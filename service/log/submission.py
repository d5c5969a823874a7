"""What is handed to the log and what it answers."""

from datetime import datetime
from typing import Literal

import msgspec

from service.log.rights import Principal
from service.trade.events import Event
from service.trade.events.envelope import Envelope
from service.trade.verdicts import Fault, Remark

__all__ = [
    "AlreadyPutRight",
    "Answer",
    "Busy",
    "Element",
    "Fault",
    "IdempotencyKey",
    "KeyInFlight",
    "KeyReused",
    "OutcomeUnknown",
    "Remark",
    "Submission",
    "Verdict",
]

VerdictName = Literal["accepted", "known", "refused", "malformed"]


class Verdict(msgspec.Struct, frozen=True, kw_only=True):
    """What became of one event. `id` is null only for what could not be read."""

    id: str | None
    verdict: VerdictName
    position: int | None = None
    lot: str | None = None
    # codes of what the event made, chosen or minted, by kind: lot, bag, consignment, ...
    made: dict[str, list[str]] = {}
    remarks: list[Remark] = []
    errors: list[Fault] = []


class Element(msgspec.Struct, frozen=True):
    """One element of a request: the event understood, or the faults found in reading it."""

    raw: bytes
    event: Event | None = None
    faults: tuple[Fault, ...] = ()
    # what it is known by when it names no id of its own; None: minted if it can be read
    id: str | None = None


class IdempotencyKey(msgspec.Struct, frozen=True):
    """A client's key for a retry, with what it was first used for."""

    key: str
    method_path: str
    fingerprint: bytes


class Submission(msgspec.Struct, frozen=True, kw_only=True):
    """A request to record. `elements` keep the order they came in."""

    principal: Principal
    elements: list[Element]
    mode: Literal["all", "each"] = "all"
    check: bool = False
    # whether the body was an array: pointers of the stored answer then begin with an index
    array: bool = False
    key: IdempotencyKey | None = None
    # scope `history`: imports say when and by whom a past event was first recorded
    recorded_at: datetime | None = None
    recorded_by: str | None = None
    # If-Match of a thing, by its kind and code: positions of which its last change must still have
    # one (0: there is none yet). Decided under the lock.
    expected: dict[tuple[str, str], frozenset[int]] = {}
    # the item to put right that the one element corrects
    corrects: int | None = None


class Answer(msgspec.Struct, frozen=True, kw_only=True):
    """The log's answer.

    `status`: 201 something new, 200 all known or mode each, 409 refused whole, 412 an expected
    position is not the present one. `verdicts` in the order of the request. `position`: the log's
    newest position when it was decided. `stored` holds the first answer's body when the
    idempotency key was seen before.
    """

    status: int
    verdicts: list[Verdict]
    position: int
    replayed: bool = False
    stored: bytes | None = None
    # mode all: what was judged, complete, by its place in the request; never part of the body
    events: list[Envelope] = []


class Busy(Exception):
    """The queue is full: 503 with Retry-After."""


class OutcomeUnknown(Exception):
    """The database went away around the commit and can't be asked: 503, never 'refused'."""


class KeyInFlight(Exception):
    """The same idempotency key is being worked on: 409."""


class KeyReused(Exception):
    """The idempotency key was used for another request: 422."""


class AlreadyPutRight(Exception):
    """What was to be corrected is not open any more: 409. `position` of what put it right."""

    def __init__(self, state: str, position: int | None) -> None:
        super().__init__(state)
        self.state = state
        self.position = position
