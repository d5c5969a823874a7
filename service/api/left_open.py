"""A sale that names a reservation and no lines: all that is left open of it goes.

Two such sales at once must not both take it: each is judged by the reservation as it was read, and
read again when another came before.
"""

from collections.abc import Callable, Sequence
from typing import Any

import msgspec

from service.api.operation import Call
from service.api.problems import Mistake, Problem
from service.api.recording import Done, record_one
from service.log import reservations as reserved
from service.log.reservations import ReservationNow, ReservedLineNow
from service.trade.events import Event

_READINGS = 5
_WHOLE = "#/reservation"


async def record_all_left(
    call: Call[Any],
    code: str,
    site: str,
    event_of: Callable[[Sequence[ReservedLineNow]], Event],
    body: bytes,
    *,
    check: bool,
) -> Done:
    """Record the sale that `event_of` makes of the lines that are open at the site.

    Raises a 409 problem, `not_open`, when nothing is left for the site, and what `record_one`
    raises; all of it is wrong with the reservation, for the body has no lines.
    """
    for _ in range(_READINGS):
        found = await _reservation(call, code)
        lines = _open_at(found, site)
        # Where nothing is open only a retry can be meant, which is answered as the first time.
        positions = frozenset({found.changed_position} if lines else ())
        try:
            return await record_one(
                call,
                event_of(lines or found.lines[:1]),
                body,
                expected={("reservation", code): positions},
                check=check,
            )
        except Problem as problem:
            if problem.slug != "precondition-failed":
                problem.errors = [_of_reservation(one) for one in problem.errors]
                raise
            if not lines:
                raise _nothing_left(found, site) from None
    raise Problem(
        "busy",
        f"Reservation {code} is changed again and again just now.",
        headers={"Retry-After": "1"},
    )


async def _reservation(call: Call[Any], code: str) -> ReservationNow:
    async with call.services.reading() as connection:
        found = await reserved.one(
            connection, call.principal.site_list, call.services.clock(), code
        )
    if found is None:
        raise _refused("unknown_code", f"No reservation {code} is known.", code=code)
    return found


def _open_at(found: ReservationNow, site: str) -> list[ReservedLineNow]:
    """Lines that are open for a site, those first that can be served by the fewest trees: a line
    of any grade must not take those that one of a grade still wants."""
    if found.state != "open":
        return []
    lines = [line for line in found.lines if line.open and line.site in (None, site)]
    return sorted(lines, key=lambda line: (line.lot is None, line.grade is None))


def _nothing_left(found: ReservationNow, site: str) -> Problem:
    words = f"Nothing is left open of reservation {found.code} at {site}: it is {found.state}."
    if found.state == "open":
        words = f"Nothing of reservation {found.code} is open at {site}."
    if found.state == "expired":
        words = f"Reservation {found.code} has expired: confirm it first, or say what is sold."
    return _refused("not_open", words, reservation=found.code, state=found.state)


def _refused(kind: str, words: str, **numbers: Any) -> Problem:
    mistake = Mistake(kind=kind, detail=words, pointer=_WHOLE, numbers=numbers)
    return Problem("refused", "Nothing was recorded: see errors.", errors=[mistake])


def _of_reservation(mistake: Mistake) -> Mistake:
    if mistake.pointer is None or not mistake.pointer.startswith("#/lines"):
        return mistake
    return msgspec.structs.replace(mistake, pointer=_WHOLE)
