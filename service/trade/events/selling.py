"""Reservations, sales and returns."""

from typing import Annotated, Literal

from msgspec import Meta

from service.trade.events.budwood import Fulfilled
from service.trade.events.catalogue import Regions
from service.trade.events.envelope import Envelope
from service.trade.events.grafting import Stage
from service.trade.events.trees import Grade
from service.trade.words import Code, Count, Data, Occurred, Ref, Text


class ReservedLine(Data, frozen=True, kw_only=True):
    """A claim on an item (cultivar, rootstock, size, grade), on buds of a cultivar, or on a lot.

    Name either `cultivar` with `rootstock` and `size`, or `cultivar` with `buds` true, or `lot`.
    """

    cultivar: Code | None = None
    rootstock: Code | None = None
    size: Code | None = None
    grade: Grade | None = None
    lot: Code | None = None
    buds: bool = False
    count: Count
    asked: (
        Annotated[
            Count, Meta(description="Filled by the log where less was promised than was asked.")
        ]
        | None
    ) = None


ReservedLines = Annotated[list[ReservedLine], Meta(min_length=1, max_length=100)]


ForOrder = Annotated[Ref, Meta(description="The customer's order that it is for.")]


class ReservationMadeData(Data, frozen=True, kw_only=True):
    """A claim for a customer, by a date."""

    reservation: Code | None = None
    customer: Ref
    lines: ReservedLines
    needed_by: Annotated[Occurred, Meta(description="The day they are wanted.")] | None = None
    expires_at: (
        Annotated[
            Occurred, Meta(description="From when the claim no longer counts. Left out: never.")
        ]
        | None
    ) = None
    any_site: Annotated[bool, Meta(description="True: trees of any site will do.")] = False
    order: ForOrder | None = None
    destination: (
        Annotated[
            Regions, Meta(description="Where they are to go: every region that place lies in.")
        ]
        | None
    ) = None
    partial: Annotated[
        bool,
        Meta(
            description="True: what can be promised is, and no more; a line of which nothing can "
            "be is left out. False: all of it, or it is refused."
        ),
    ] = False


class ReservationMade(Envelope, frozen=True, tag="reservation.made", kw_only=True):
    """A customer reserved (an intention: refused when it can't be covered)."""

    data: ReservationMadeData


class ReservationChangedData(Data, frozen=True, kw_only=True):
    """New lines, date, expiry or destination of a reservation; what is left out stays."""

    reservation: Code
    lines: ReservedLines | None = None
    needed_by: Occurred | None = None
    expires_at: Occurred | None = None
    order: ForOrder | None = None
    destination: Regions | None = None
    cleared: Annotated[
        list[Literal["needed_by", "expires_at", "order", "destination"]],
        Meta(max_length=4, description="What it has no more."),
    ] = []


class ReservationChanged(Envelope, frozen=True, tag="reservation.changed", kw_only=True):
    """A reservation was changed (an intention, judged like a new one)."""

    data: ReservationChangedData


class ReservationConfirmedData(Data, frozen=True, kw_only=True):
    """The customer has ordered: the claim expires no more."""

    reservation: Code
    order: ForOrder | None = None


class ReservationConfirmed(Envelope, frozen=True, tag="reservation.confirmed", kw_only=True):
    """A reservation was confirmed (an intention: one that had expired is judged like a new one)."""

    data: ReservationConfirmedData


class ReservationExpiredData(Data, frozen=True, kw_only=True):
    """The claim counts no more, since its expiry has come. It may be taken up again."""

    reservation: Code


class ReservationExpired(Envelope, frozen=True, tag="reservation.expired", kw_only=True):
    """A reservation was seen to have expired (recorded by the service; it bound no more before)."""

    data: ReservationExpiredData


class ReservationReleasedData(Data, frozen=True, kw_only=True):
    """What was still open of a reservation is given free."""

    reservation: Code
    reason: Text


class ReservationReleased(Envelope, frozen=True, tag="reservation.released", kw_only=True):
    """A reservation was released."""

    data: ReservationReleasedData


SOLD_LINES = 200


class SoldLine(Data, frozen=True, kw_only=True):
    """Trees of one lot at one place, or of an item: then the log chooses the lots.

    Name either `lot`, or `cultivar` with `rootstock` and `size`: trees that are ready, held by
    nothing and kept for nobody else, those that have been ready longest first. What is stored names
    lots.
    """

    lot: Code | None = None
    place: Annotated[Code, Meta(description="Only from this place.")] | None = None
    cultivar: Code | None = None
    rootstock: Code | None = None
    stage: Stage | None = None
    size: Code | None = None
    grade: Grade | None = None
    count: Count


class TreesSoldData(Data, frozen=True, kw_only=True):
    """Trees handed over to a customer."""

    customer: Ref
    order: Annotated[Ref, Meta(description="The order's number.")] | None = None
    reservation: Annotated[Code, Meta(description="The reservation that this fulfils.")] | None = (
        None
    )
    document: Annotated[Ref, Meta(description="Plant passport, certificate or permit.")] | None = (
        None
    )
    destination: (
        Annotated[Regions, Meta(description="Where they go: every region that place lies in.")]
        | None
    ) = None
    lines: Annotated[list[SoldLine], Meta(min_length=1, max_length=SOLD_LINES)]
    fulfils: Annotated[list[Fulfilled], Meta(max_length=200, description="Filled by the log.")] = []


class TreesSold(Envelope, frozen=True, tag="trees.sold", kw_only=True):
    """Trees were sold (trees → customer)."""

    data: TreesSoldData


class ReturnedLine(Data, frozen=True, kw_only=True):
    """Trees that came back, to a place kept for returns."""

    lot: Code
    place: (
        Annotated[Code, Meta(description="Left out: the site's only place for returns.")] | None
    ) = None
    stage: Stage = "ready"
    size: (
        Annotated[Code, Meta(description="Left out: the one size that the lot was ready in here.")]
        | None
    ) = None
    grade: Grade | None = None
    count: Count


class TreesReturnedData(Data, frozen=True, kw_only=True):
    """Trees a customer brought back."""

    customer: Ref
    order: Ref | None = None
    reason: Text
    lines: Annotated[list[ReturnedLine], Meta(min_length=1, max_length=200)]


class TreesReturned(Envelope, frozen=True, tag="trees.returned", kw_only=True):
    """Trees came back (customer → a place for returns, where the site's rules allow it)."""

    data: TreesReturnedData
