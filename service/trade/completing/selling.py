"""Completing reservations."""

from msgspec.structs import replace

from service.trade.bench import Bench
from service.trade.books import Reservation
from service.trade.completing import completes
from service.trade.completing.budwood import day_given
from service.trade.covering import cover, covered
from service.trade.events.selling import (
    ReservationChanged,
    ReservationChangedData,
    ReservationMade,
    ReservationMadeData,
    ReservationReleased,
    ReservationReleasedData,
)
from service.trade.making import day_of
from service.trade.verdicts import refuse


@completes(ReservationMade)
def _made(bench: Bench, d: ReservationMadeData) -> ReservationMadeData:
    day_given(bench, d.needed_by, "#/data/needed_by")
    day_given(bench, d.expires_at, "#/data/expires_at")
    code = bench.mint(d.reservation)
    if code in bench.books.reservations:
        raise refuse("code_in_use", f"Reservation {code} exists.", "#/data/reservation", code=code)
    needed_by = day_of(bench.books, bench.here, d.needed_by)
    return replace(d, reservation=code, lines=cover(bench, d.lines, d.any_site, needed_by, None))


def _open(bench: Bench, code: str) -> Reservation:
    reservation = bench.books.reservations.get(code)
    if reservation is None or reservation.site != bench.here:
        raise refuse(
            "unknown_code",
            f"No reservation {code} was made at {bench.here}.",
            "#/data/reservation",
            code=code,
        )
    if reservation.state != "open":
        raise refuse(
            "not_open",
            f"Reservation {code} is {reservation.state}.",
            "#/data/reservation",
            state=reservation.state,
        )
    return reservation


@completes(ReservationChanged)
def _changed(bench: Bench, d: ReservationChangedData) -> ReservationChangedData:
    day_given(bench, d.needed_by, "#/data/needed_by")
    day_given(bench, d.expires_at, "#/data/expires_at")
    reservation = _open(bench, d.reservation)
    before, code = reservation.needed_by, reservation.code
    needed_by = day_of(bench.books, bench.here, d.needed_by) or before
    if d.lines is not None:
        lines = cover(bench, d.lines, reservation.any_site, needed_by, code)
        return replace(d, lines=lines)
    now = bench.books.now
    assert now is not None
    still = [claim for claim in reservation.claims if claim.open]
    if d.expires_at is not None and not reservation.counts_at(now):
        # It stopped binding, and what it had may be another's by now.
        covered(bench, still, needed_by, code)
    elif before is not None and needed_by is not None and needed_by < before:
        covered(bench, still, needed_by, code, ahead_only=True)
    return d


@completes(ReservationReleased)
def _released(bench: Bench, d: ReservationReleasedData) -> ReservationReleasedData:
    _open(bench, d.reservation)
    return d
