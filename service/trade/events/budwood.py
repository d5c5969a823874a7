"""Budwood: cut or received in bags, moved, prepared as scions, thrown away, sold."""

from typing import Annotated, Literal

from msgspec import Meta

from service.trade.events.catalogue import Regions
from service.trade.events.envelope import Envelope
from service.trade.words import Code, Count, CountOrZero, Data, Millimetres, Occurred, Ref, Text

Basis = Annotated[
    Literal["counted", "estimated", "at_least"],
    Meta(
        description="Whether the figure was counted, estimated or is a minimum. A bag or tray that "
        "was not counted may yield more than its figure; that is remarked, not refused."
    ),
]
Sticks = Annotated[int, Meta(ge=1, le=1000, description="Budsticks in the bag.", examples=[3])]


class BagFill(Data, frozen=True, kw_only=True):
    """One labelled bag: how many buds, on how many sticks, and where it lies."""

    bag: Annotated[Code, Meta(description="The bag's code. Minted when left out.")] | None = None
    buds: Annotated[Count, Meta(description="Usable buds in the bag.", examples=[15])]
    sticks: Sticks | None = None
    basis: Basis = "counted"
    place: Annotated[Code, Meta(description="Where the bag lies, often a cooler.")]


class BudLine(Data, frozen=True, kw_only=True):
    """Buds taken out of one bag. Left out, `buds` means all that the bag holds."""

    bag: Code
    lot: Annotated[Code, Meta(description="The bag's budwood lot; filled by the log.")] | None = (
        None
    )
    buds: Count | None = None
    place: Annotated[Code, Meta(description="Where the bag lay. Found from the books.")] | None = (
        None
    )


Bags = Annotated[list[BagFill], Meta(min_length=1, max_length=200)]
BudLines = Annotated[list[BudLine], Meta(min_length=1, max_length=200)]


class BudwoodCutData(Data, frozen=True, kw_only=True):
    """One cutting: one cultivar, one source tree (or a tree lot of the nursery's), one day."""

    lot: (
        Annotated[Code, Meta(description="Code of the budwood lot. Minted when left out.")] | None
    ) = None
    cultivar: Code
    source_tree: (
        Annotated[Code, Meta(description="The registered tree it was cut from.")] | None
    ) = None
    tree_lot: Annotated[Code, Meta(description="Or the nursery's own tree lot.")] | None = None
    witness: (
        Annotated[Ref, Meta(description="Who witnessed the cutting, where law asks.")] | None
    ) = None
    bags: Bags


class BudwoodCut(Envelope, frozen=True, tag="budwood.cut", kw_only=True):
    """Budwood was cut on the nursery's own trees into labelled bags (buds: source → bags)."""

    data: BudwoodCutData


class BudwoodReceivedData(Data, frozen=True, kw_only=True):
    """Bags received from a supplier."""

    lot: Code | None = None
    cultivar: Code
    supplier: Ref
    source_tree: (
        Annotated[Code, Meta(description="The source tree, if it is in the catalogue.")] | None
    ) = None
    source_note: Annotated[Text, Meta(description="What the label says of the source.")] | None = (
        None
    )
    cut_on: Annotated[Occurred, Meta(description="Day of cutting on the label.")] | None = None
    document: Annotated[Ref, Meta(description="Passport, certificate or permit number.")] | None = (
        None
    )
    bags: Bags


class BudwoodReceived(Envelope, frozen=True, tag="budwood.received", kw_only=True):
    """Budwood came in from a supplier (buds: source → bags)."""

    data: BudwoodReceivedData


class BudwoodDiscardedData(Data, frozen=True, kw_only=True):
    """Buds thrown away, and why."""

    lines: BudLines
    cause: Literal["dried", "mould", "left_over", "source_failed", "other"]
    note: Text | None = None


class BudwoodDiscarded(Envelope, frozen=True, tag="budwood.discarded", kw_only=True):
    """Buds were thrown away (buds: bag → discarded)."""

    data: BudwoodDiscardedData


class BudwoodMovedData(Data, frozen=True, kw_only=True):
    """Bags carried from one place to another of the same site."""

    lines: BudLines
    to: Annotated[Code, Meta(description="The place they lie at now.")]


class BudwoodMoved(Envelope, frozen=True, tag="budwood.moved", kw_only=True):
    """Bags were moved inside the site (buds: place → place)."""

    data: BudwoodMovedData


class Fulfilled(Data, frozen=True, kw_only=True):
    """How much of a reservation's line a sale fulfilled; filled by the log."""

    line: CountOrZero
    count: Count


class SoldBuds(Data, frozen=True, kw_only=True):
    """Buds out of one bag, or of a cultivar: then the log chooses the bags.

    Name either `bag`, or `cultivar` with `buds`: out of bags that nothing holds and whose wood is
    not past its keeping time, what was cut first. What is stored names bags.
    """

    bag: Code | None = None
    lot: Annotated[Code, Meta(description="The bag's budwood lot; filled by the log.")] | None = (
        None
    )
    buds: Annotated[Count, Meta(description="Left out: all that the bag holds.")] | None = None
    place: Annotated[Code, Meta(description="Only from this place.")] | None = None
    cultivar: Code | None = None


class BudwoodSoldData(Data, frozen=True, kw_only=True):
    """Buds sold to a customer."""

    customer: Ref
    order: Ref | None = None
    reservation: Code | None = None
    document: Ref | None = None
    destination: (
        Annotated[Regions, Meta(description="Where they go: every region that place lies in.")]
        | None
    ) = None
    lines: Annotated[list[SoldBuds], Meta(min_length=1, max_length=200)]
    fulfils: Annotated[list[Fulfilled], Meta(max_length=200, description="Filled by the log.")] = []


class BudwoodSold(Envelope, frozen=True, tag="budwood.sold", kw_only=True):
    """Buds were sold (buds: bag → customer)."""

    data: BudwoodSoldData


class ScionsPreparedData(Data, frozen=True, kw_only=True):
    """Pieces cut and wrapped beforehand, kept in a labelled bag of their own."""

    bag: Annotated[Code, Meta(description="The bag the wood came out of.")]
    lot: Annotated[Code, Meta(description="The bag's budwood lot; filled by the log.")] | None = (
        None
    )
    place: Code | None = None
    into: (
        Annotated[Code, Meta(description="Code of the bag of pieces. Minted when left out.")] | None
    ) = None
    to: (
        Annotated[Code, Meta(description="Where the pieces lie. Left out: where the bag lay.")]
        | None
    ) = None
    pieces: Annotated[Count, Meta(description="Scion pieces made.", examples=[12])]
    buds_per_piece: (
        Annotated[
            int, Meta(ge=1, le=20, description="Buds on a piece; the site's norm when left out.")
        ]
        | None
    ) = None
    length_mm: Annotated[Millimetres, Meta(description="Length of a piece.")] | None = None
    waste: Annotated[CountOrZero, Meta(description="Buds lost in cutting: blind, tip, base.")] = 0
    wrap: Annotated[Text, Meta(description="What they were wrapped in.")] | None = None


class ScionsPrepared(Envelope, frozen=True, tag="scions.prepared", kw_only=True):
    """Scion pieces were cut and wrapped ahead (buds: bag → bag of pieces, waste → discarded)."""

    data: ScionsPreparedData
