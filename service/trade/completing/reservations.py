"""Completing reservations: intentions, so what can't be promised or sent is refused."""

from collections.abc import Mapping, Sequence
from datetime import date

from msgspec.structs import replace

from service.trade.bench import Bench
from service.trade.books import Reservation
from service.trade.claiming import cover, covered
from service.trade.completing import completes
from service.trade.completing.budwood import day_given
from service.trade.destinations import said_of, sending
from service.trade.events.selling import (
    ReservationChanged,
    ReservationChangedData,
    ReservationConfirmed,
    ReservationConfirmedData,
    ReservationExpired,
    ReservationExpiredData,
    ReservationMade,
    ReservationMadeData,
    ReservationReleased,
    ReservationReleasedData,
)
from service.trade.items import Item, claimed_item, parse_item
from service.trade.making import day_of, expiry_of
from service.trade.verdicts import refuse


@completes(ReservationMade)
def _made(bench: Bench, d: ReservationMadeData) -> ReservationMadeData:
    needed_by = _days_to_come(bench, d.needed_by, d.expires_at)
    code = bench.mint(d.reservation)
    if code in bench.books.reservations:
        raise refuse("code_in_use", f"Reservation {code} exists.", "#/data/reservation", code=code)
    lines = cover(bench, d.lines, d.customer, d.any_site, needed_by, None, partial=d.partial)
    if d.destination:
        items = [claimed_item(bench.books, line) for line in lines]
        _may_be_sent(bench, d.destination, dict(enumerate(items)), d.any_site)
    return replace(d, reservation=code, lines=lines)


def _days_to_come(bench: Bench, needed_by: str | None, expires_at: str | None) -> date | None:
    """The day something is needed by; refused where that, or the expiry, was over already."""
    day_given(bench, needed_by, "#/data/needed_by")
    day_given(bench, expires_at, "#/data/expires_at")
    day = day_of(bench.books, bench.here, needed_by)
    if day is not None and day < bench.day:
        raise refuse(
            "in_the_past",
            f"It is needed by {day}; that was over on {bench.day}, when it was asked for.",
            "#/data/needed_by",
            needed_by=str(day),
            day=str(bench.day),
        )
    expiry = expiry_of(bench.books, bench.here, expires_at)
    if expiry is not None and expiry <= bench.moment.at:
        raise refuse(
            "in_the_past",
            f"It was to expire at {expires_at}; that was over when it was asked for.",
            "#/data/expires_at",
            expires_at=expiry.isoformat(),
            asked_at=bench.moment.at.isoformat(),
        )
    return day


def _open(bench: Bench, code: str) -> Reservation:
    """A reservation of the acting site of which something is open, expired or not."""
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


def _binds(bench: Bench, reservation: Reservation) -> bool:
    """Whether it still counts: what had expired may be another's by now."""
    assert bench.books.now is not None
    return reservation.counts_at(bench.books.now)


@completes(ReservationChanged)
def _changed(bench: Bench, d: ReservationChangedData) -> ReservationChangedData:
    given = _days_to_come(bench, d.needed_by, d.expires_at)
    reservation = _open(bench, d.reservation)
    _said_once(d)
    if d.expires_at is not None and reservation.confirmed_day is not None:
        raise refuse(
            "confirmed_already",
            f"Reservation {d.reservation} is confirmed and expires no more; release it instead.",
            "#/data/expires_at",
            confirmed_on=str(reservation.confirmed_day),
        )
    before, code = reservation.needed_by, reservation.code
    needed_by = None if "needed_by" in d.cleared else given or before
    binds = _binds(bench, reservation)
    binds_again = d.expires_at is not None or "expires_at" in d.cleared
    still = [claim for claim in reservation.claims if claim.open]
    items = {claim.line: parse_item(claim.item) for claim in still}
    if d.lines is not None:
        lines = cover(bench, d.lines, reservation.customer, reservation.any_site, needed_by, code)
        items = {n: claimed_item(bench.books, line) for n, line in enumerate(lines)}
        d = replace(d, lines=lines)
    elif not binds and binds_again:
        covered(bench, still, needed_by, code)
    elif before is not None and (needed_by is None or needed_by < before):
        covered(bench, still, needed_by, code, ahead_only=True)
    destination = [] if "destination" in d.cleared else d.destination or reservation.destination
    if destination and (d.lines is not None or d.destination is not None):
        _may_be_sent(bench, destination, items, reservation.any_site)
    if not binds and not binds_again:
        bench.remark(
            "has_expired",
            f"Reservation {code} has expired and binds nothing; with another expiry it is judged "
            "anew.",
            reservation=code,
        )
    return d


def _said_once(d: ReservationChangedData) -> None:
    for name in d.cleared:
        if getattr(d, name) is not None:
            raise refuse("bad_value", f"{name} is told and cleared at once.", f"#/data/{name}")


@completes(ReservationConfirmed)
def _confirmed(bench: Bench, d: ReservationConfirmedData) -> ReservationConfirmedData:
    reservation = _open(bench, d.reservation)
    if reservation.confirmed_day is not None and d.order in (None, reservation.order_ref):
        raise refuse(
            "confirmed_already",
            f"Reservation {d.reservation} was confirmed on {reservation.confirmed_day}.",
            "#/data/reservation",
            confirmed_on=str(reservation.confirmed_day),
            order=reservation.order_ref,
        )
    if not _binds(bench, reservation):
        still = [claim for claim in reservation.claims if claim.open]
        covered(bench, still, reservation.needed_by, reservation.code)
        bench.remark(
            "had_expired",
            f"Reservation {d.reservation} had expired; what it holds could still be promised.",
            reservation=d.reservation,
            expired_at=reservation.expires_at.isoformat() if reservation.expires_at else None,
        )
    return d


@completes(ReservationExpired)
def _expired(bench: Bench, d: ReservationExpiredData) -> ReservationExpiredData:
    reservation = _open(bench, d.reservation)
    if reservation.expired_day is not None:
        raise refuse(
            "not_open",
            f"That reservation {d.reservation} expired was recorded on {reservation.expired_day}.",
            "#/data/reservation",
            state="expired",
        )
    if _binds(bench, reservation):
        expires = reservation.expires_at
        raise refuse(
            "not_expired",
            f"Reservation {d.reservation} has not expired.",
            "#/data/reservation",
            expires_at=expires.isoformat() if expires else None,
        )
    return d


@completes(ReservationReleased)
def _released(bench: Bench, d: ReservationReleasedData) -> ReservationReleasedData:
    _open(bench, d.reservation)
    return d


# -- where it is to go ------------------------------------------------------------------------


def _may_be_sent(
    bench: Bench, destination: Sequence[str], items: Mapping[int, Item], any_site: bool
) -> None:
    """Refuse what a rule says may not be sent there; remark where none says that it may.

    `items`: by their lines. No advice: the source decides, not this.
    """
    told_of = set()
    for index, item in items.items():
        told = sending(
            bench.books.catalogue,
            bench.day,
            destination,
            site=None if any_site else bench.here,
            cultivar=item.cultivar or None,
            rootstock=item.rootstock or None,
            buds=item.buds,
        )
        numbers = {
            "destination": list(destination),
            "line": index,
            "rule_code": told.rule,
            "title": told.title,
            "source": told.source,
            "as_of": str(told.as_of) if told.as_of else None,
        }
        words = said_of(item.words, destination, told)
        if told.answer == "not_allowed":
            raise refuse("may_not_be_sent", words, "#/data/destination", **numbers)
        if told.answer == "ask_authority" and (item[:2], item.buds) not in told_of:
            told_of.add((item[:2], item.buds))
            bench.remark("ask_authority", words, **numbers)
