"""Work orders: grafting to do. Intentions, so they move nothing."""

from typing import Annotated, Literal

from msgspec import Meta

from service.trade.events.envelope import Envelope
from service.trade.methods import MethodName
from service.trade.words import Code, Count, Data, Occurred, Ref, Text

OrderedBy = Annotated[
    Occurred, Meta(description="The day by which it is to be grafted, in the site's calendar.")
]
LinerLot = Annotated[
    Code, Meta(description="The liner lot to graft on. Left out: any of the rootstock.")
]
WantedMethod = Annotated[MethodName, Meta(description="Left out: any method will do.")]
WantedPlace = Annotated[Code, Meta(description="Where the trees are to stand after grafting.")]
WhoGrafts = Annotated[
    list[Ref], Meta(max_length=50, description="Who is to graft; nobody named: anybody.")
]
ForCustomer = Annotated[Ref, Meta(description="The customer it is for, if any.")]
ForReservation = Annotated[Code, Meta(description="The reservation it is to fulfil, if any.")]


class GraftingOrderedData(Data, frozen=True, kw_only=True):
    """So many trees of one cultivar on one rootstock (or one liner lot), by a day."""

    work_order: (
        Annotated[Code, Meta(description="Code of the order. Minted when left out.")] | None
    ) = None
    cultivar: Code
    rootstock: (
        Annotated[Code, Meta(description="Found from the liner lot when that is named.")] | None
    ) = None
    liner_lot: LinerLot | None = None
    count: Annotated[Count, Meta(description="Trees to graft.")]
    needed_by: OrderedBy
    method: WantedMethod | None = None
    place: WantedPlace | None = None
    grafters: WhoGrafts = []
    customer: ForCustomer | None = None
    reservation: ForReservation | None = None
    note: Text | None = None


class GraftingOrdered(Envelope, frozen=True, tag="grafting.ordered", kw_only=True):
    """Grafting was ordered (an intention: unknown codes are refused)."""

    data: GraftingOrderedData


class GraftingOrderChangedData(Data, frozen=True, kw_only=True):
    """What is wanted from now on; what is left out stays as it was.

    Another cultivar or rootstock is another order.
    """

    work_order: Code
    count: (
        Annotated[Count, Meta(description="Trees still to graft from now on, beside what is done.")]
        | None
    ) = None
    needed_by: OrderedBy | None = None
    liner_lot: LinerLot | None = None
    method: WantedMethod | None = None
    place: WantedPlace | None = None
    grafters: WhoGrafts | None = None
    customer: ForCustomer | None = None
    reservation: ForReservation | None = None
    note: Text | None = None


class GraftingOrderChanged(Envelope, frozen=True, tag="grafting.order_changed", kw_only=True):
    """A work order was changed (says what is still wanted from then on)."""

    data: GraftingOrderChangedData


class GraftingOrderEndedData(Data, frozen=True, kw_only=True):
    """Nothing more of it is to be grafted. An order never ends by itself."""

    work_order: Code
    reason: Literal["done", "cancelled", "other"]
    note: Text | None = None


class GraftingOrderEnded(Envelope, frozen=True, tag="grafting.order_ended", kw_only=True):
    """A work order was ended."""

    data: GraftingOrderEndedData
