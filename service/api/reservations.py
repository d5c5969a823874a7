"""Reservations: what customers have claimed, made, changed, confirmed and released.

Each change is one event; the log's writer decides it under its lock, by its own books, so that any
number of clerks at once promise no tree twice.
"""

from typing import Any

from msgspec import UNSET

from service.api.alternatives import with_alternatives
from service.api.conditional import etag, expected_positions
from service.api.cursors import after_code
from service.api.operation import (
    JSON,
    MERGE_PATCH,
    Call,
    NoQuery,
    Page,
    Reply,
    operation,
    page,
)
from service.api.problems import Mistake, Problem, not_found
from service.api.recording import Done, now_of, record_one
from service.api.reservation_bodies import (
    Confirm,
    Release,
    ReservationAnswer,
    ReservationPatch,
    ReservationsQuery,
    Reserve,
    by_lines_kept,
)
from service.api.taking_in import PROBLEMS, decoded
from service.log import read
from service.log import reservations as reserved
from service.log.reservations import ReservationNow
from service.log.rights import READ, RESERVATIONS
from service.trade.events import Event
from service.trade.events.selling import (
    ReservationChanged,
    ReservationChangedData,
    ReservationConfirmed,
    ReservationConfirmedData,
    ReservationMade,
    ReservationMadeData,
    ReservationReleased,
    ReservationReleasedData,
)
from service.trade.verdicts import Remark

_CHANGES = ("not-found", "precondition-failed", *PROBLEMS)
_KEYED = ("Idempotency-Key",)


# -- asking ----------------------------------------------------------------------------------


@operation(
    "GET",
    "/v1/reservations",
    tag="Reservations",
    scope=READ,
    query=ReservationsQuery,
    answer=Page[ReservationNow],
)
async def list_reservations(call: Call[ReservationsQuery]) -> Reply:
    """List reservations by code. What has expired says so from that moment on."""
    query = call.query
    after = after_code(query.cursor)
    async with call.services.reading() as connection:
        position = await read.head(connection)
        found = await reserved.page(
            connection,
            call.principal.site_list,
            call.services.clock(),
            after=after,
            limit=query.limit + 1,
            state=query.state,
            customer=query.customer,
            order=query.order,
            site=query.site,
        )
    return page(call, found, lambda one: one.code, position)


@operation(
    "GET", "/v1/reservations/{code:str}", tag="Reservations", scope=READ, answer=ReservationNow
)
async def get_reservation(call: Call[NoQuery]) -> Reply:
    """One reservation as it stands. Its ETag is the position of its last change, and its expiry."""
    found = await _found(call)
    return Reply(found, etag=_tag(found))


async def _found(call: Call[Any], code: str | None = None) -> ReservationNow:
    """The reservation that the address names, or `code`, by the books of now. Raises 404."""
    wanted, now = code or call.code(), call.services.clock()
    async with call.services.reading() as connection:
        found = await reserved.one(connection, call.principal.site_list, now, wanted)
    if found is None:
        raise not_found(f"The reservation {wanted}")
    return found


def _tag(found: ReservationNow) -> str:
    # Expiry changes what is said of it, and no position.
    end = "-expired" if found.state == "expired" else ""
    return etag(f"{found.changed_position}{end}")


# -- making and changing -----------------------------------------------------------------------


@operation(
    "POST",
    "/v1/reservations",
    tag="Reservations",
    scope=RESERVATIONS,
    accepts=(JSON,),
    body=Reserve,
    answer=ReservationAnswer,
    answers=(201,),
    problems=PROBLEMS,
    request_headers=_KEYED,
)
async def make_reservation(call: Call[NoQuery]) -> Reply:
    """Promise trees or buds to a customer: all that is asked, or with `partial` what there is.

    Decided at once and for good, however many ask. What can't be promised is refused (409,
    `not_enough_to_promise`) and says what is possible: how many by that day, from when on all, and
    what of the same there is at other sites, in other sizes and grades. Of what is foretold its
    `numbers` say what is `foreseen`, of all else what is `ready`. A line names an item, buds
    of a cultivar, or one lot. Until it is confirmed it may expire. Send an Idempotency-Key: a retry
    then answers with the reservation as it stands.
    """
    body = await call.body()
    said: Reserve = decoded(body, Reserve)
    await _refuse_hoarding(call)
    named = {
        name: getattr(said, name)
        for name in ReservationMadeData.__struct_fields__
        if name in Reserve.__struct_fields__
    }
    event = ReservationMade(
        site=said.site, occurred=now_of(call), data=ReservationMadeData(**named)
    )
    async with with_alternatives(call, said.site, said.any_site):
        done = await record_one(call, event, body)
    (code,) = done.verdict.made["reservation"]
    reply = await _answer(call, done, code, 201)
    reply.headers["Location"] = f"/v1/reservations/{code}"
    return reply


async def _refuse_hoarding(call: Call[Any]) -> None:
    """Raise a 409 problem when the key has as many reservations waiting as it may have."""
    services = call.services
    waiting = services.unconfirmed
    if not await waiting.too_many(services.reading, call.principal.name, services.clock()):
        return
    detail = (
        f"This key has {waiting.most} reservations that are not confirmed, as many as it may have. "
        "Confirm or release some, or let them expire."
    )
    mistake = Mistake(kind="too_many_unconfirmed", detail=detail, numbers={"most": waiting.most})
    raise Problem("refused", "Nothing was reserved: see errors.", errors=[mistake])


@operation(
    "PATCH",
    "/v1/reservations/{code:str}",
    tag="Reservations",
    scope=RESERVATIONS,
    accepts=(MERGE_PATCH, JSON),
    body=ReservationPatch,
    answer=ReservationAnswer,
    problems=("precondition-required", *_CHANGES),
    request_headers=("If-Match", *_KEYED),
)
async def change_reservation(call: Call[NoQuery]) -> Reply:
    """Change what is wanted, by when, where to, until when it counts, or for which order.

    A merge patch (RFC 7396): `null` takes a day, an expiry, an order or a destination away. Send
    the reservation's ETag in If-Match (428 without, 412 when it was changed meanwhile). It is
    judged like a new one; what had expired counts again with another expiry, if it can still be
    promised.
    """
    found = await _found(call)
    body = await call.body()
    said: ReservationPatch = decoded(body, ReservationPatch)
    expected = _expected(call, found, needed=True)
    told = {name: getattr(said, name) for name in said.__struct_fields__}
    told = {name: value for name, value in told.items() if value is not UNSET}
    if not told:
        return _unchanged(found, expected)
    cleared: list[Any] = [name for name, value in told.items() if value is None]
    event = ReservationChanged(
        site=found.site,
        occurred=now_of(call),
        data=ReservationChangedData(reservation=found.code, cleared=cleared, **told),
    )
    async with with_alternatives(call, found.site, found.any_site):
        done = await record_one(call, event, body, expected=expected, in_path="reservation")
    return await _answer(call, done, found.code)


@operation(
    "POST",
    "/v1/reservations/{code:str}/confirm",
    tag="Reservations",
    scope=RESERVATIONS,
    accepts=(JSON,),
    body=Confirm,
    answer=ReservationAnswer,
    problems=_CHANGES,
    request_headers=("If-Match", *_KEYED),
)
async def confirm_reservation(call: Call[NoQuery]) -> Reply:
    """Confirm a reservation: the customer has ordered, and it expires no more.

    One that had expired is judged like a new one, for what it held may be another's by now: 409
    when it can't be promised any more. Confirmed already it is refused, unless another order is
    named. If-Match is heeded when it is sent.
    """
    found = await _found(call)
    body = await call.body()
    said: Confirm = decoded(body, Confirm)
    event = ReservationConfirmed(
        site=found.site,
        occurred=now_of(call),
        data=ReservationConfirmedData(reservation=found.code, order=said.order),
    )
    async with with_alternatives(call, found.site, found.any_site):
        done = await _record(call, event, body, found)
    return await _answer(call, done, found.code)


@operation(
    "POST",
    "/v1/reservations/{code:str}/release",
    tag="Reservations",
    scope=RESERVATIONS,
    accepts=(JSON,),
    body=Release,
    answer=ReservationAnswer,
    problems=_CHANGES,
    request_headers=("If-Match", *_KEYED),
)
async def release_reservation(call: Call[NoQuery]) -> Reply:
    """Give free what is still open of a reservation, with the reason. It stays on record.

    If-Match is heeded when it is sent.
    """
    found = await _found(call)
    body = await call.body()
    said: Release = decoded(body, Release)
    event = ReservationReleased(
        site=found.site,
        occurred=now_of(call),
        data=ReservationReleasedData(reservation=found.code, reason=said.reason),
    )
    done = await _record(call, event, body, found)
    return await _answer(call, done, found.code)


async def _record(call: Call[Any], event: Event, body: bytes, found: ReservationNow) -> Done:
    """Record what is done with a reservation; If-Match is heeded when it is sent."""
    expected = _expected(call, found)
    return await record_one(call, event, body, expected=expected, in_path="reservation")


def _expected(
    call: Call[Any], found: ReservationNow, *, needed: bool = False
) -> dict[tuple[str, str], frozenset[int]]:
    """What If-Match says of the reservation's last change, for the writer to decide by."""
    header = call.header("if-match")
    if header is None and not needed:
        return {}
    try:
        positions = expected_positions(header, f"Reservation {found.code} is to be changed")
    except Problem as problem:
        if problem.slug == "precondition-required":
            problem.headers["ETag"] = _tag(found)
        raise
    return {} if positions is None else {("reservation", found.code): positions}


def _unchanged(found: ReservationNow, expected: dict[tuple[str, str], frozenset[int]]) -> Reply:
    """An empty patch changes nothing; it must speak of the reservation as it is all the same."""
    for positions in expected.values():
        if found.changed_position not in positions:
            raise Problem(
                "precondition-failed",
                f"{found.code} was changed since it was read.",
                headers={"ETag": _tag(found)},
                errors=[Mistake(kind="position_moved", detail="Read it again.")],
            )
    return Reply(_with(found, []), etag=_tag(found), cache="no-store")


async def _answer(call: Call[Any], done: Done, code: str, status: int = 200) -> Reply:
    """The reservation as it stands now, and what was remarked of the change."""
    found = await _found(call, code)
    return Reply(
        _with(found, by_lines_kept(done.verdict.remarks)),
        status,
        etag=_tag(found),
        headers=done.headers,
        cache="no-store",
    )


def _with(found: ReservationNow, remarks: list[Remark]) -> ReservationAnswer:
    values = {name: getattr(found, name) for name in found.__struct_fields__}
    return ReservationAnswer(**values, remarks=remarks)


HANDLERS = [
    list_reservations,
    get_reservation,
    make_reservation,
    change_reservation,
    confirm_reservation,
    release_reservation,
]
