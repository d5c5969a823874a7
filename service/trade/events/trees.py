"""Trees after grafting: bought in, lost, moved, potted, graded, sent between sites."""

from typing import Annotated

from msgspec import Meta

from service.trade.events.envelope import Envelope
from service.trade.events.grafting import Stage
from service.trade.events.liners import LossCause
from service.trade.methods import MethodName
from service.trade.words import Code, Count, CountOrZero, Data, Occurred, Ref, Text, Word

Grade = Annotated[
    Word,
    Meta(
        description="The grade the site uses; `ungraded` names trees without one where graded "
        "ones stand beside them.",
        examples=["first"],
    ),
]


class TreesReceivedData(Data, frozen=True, kw_only=True):
    """Bought-in grafted trees, with their passport or certificate."""

    lot: Code | None = None
    cultivar: Code
    rootstock: Code
    supplier: Ref
    document: Annotated[Ref, Meta(description="Plant passport or certificate number.")] | None = (
        None
    )
    method: MethodName | None = None
    grafted_on: Occurred | None = None
    stage: Stage = "ready"
    size: Code
    grade: Grade | None = None
    place: Code
    count: Count


class TreesReceived(Envelope, frozen=True, tag="trees.received", kw_only=True):
    """Grafted trees were bought in (source → trees)."""

    data: TreesReceivedData


class TreesLostData(Data, frozen=True, kw_only=True):
    """Trees dead or thrown away."""

    lot: Code
    place: Code | None = None
    stage: Stage | None = None
    size: Code | None = None
    grade: Grade | None = None
    count: Count
    cause: LossCause
    note: Text | None = None


class TreesLost(Envelope, frozen=True, tag="trees.lost", kw_only=True):
    """Trees were lost (trees → lost, by cause)."""

    data: TreesLostData


class TreesMovedData(Data, frozen=True, kw_only=True):
    """Trees carried to another place of the site. `count` left out: all that stand there."""

    lot: Code
    place: Annotated[Code, Meta(description="Where they stood.")] | None = None
    stage: Stage | None = None
    size: Code | None = None
    grade: Grade | None = None
    count: Count | None = None
    to: Code


class TreesMoved(Envelope, frozen=True, tag="trees.moved", kw_only=True):
    """Trees were moved inside the site (place → place)."""

    data: TreesMovedData


class TreesPottedData(Data, frozen=True, kw_only=True):
    """Trees potted on into another size. `count` left out: all that stand there."""

    lot: Code
    place: Code | None = None
    stage: Stage | None = None
    size: Code | None = None
    grade: Grade | None = None
    count: Count | None = None
    to_size: Code
    to: Code | None = None


class TreesPotted(Envelope, frozen=True, tag="trees.potted", kw_only=True):
    """Trees were potted on (size → size)."""

    data: TreesPottedData


class Graded(Data, frozen=True, kw_only=True):
    """One outcome of a grading: so many trees, of this grade and stage."""

    count: Count
    stage: Stage = "ready"
    grade: Grade | None = None
    caliper_mm: (
        Annotated[int, Meta(ge=1, le=1000, description="Stem above the union, mm.")] | None
    ) = None
    height_cm: Annotated[int, Meta(ge=1, le=2000, description="Height, cm.")] | None = None


class TreesGradedData(Data, frozen=True, kw_only=True):
    """Trees graded at one place; several outcomes at once, downgrading allowed."""

    lot: Code
    place: Code | None = None
    stage: Annotated[Stage, Meta(description="The stage they had.")] | None = None
    size: Code | None = None
    grade: Annotated[Grade, Meta(description="The grade they had, if any.")] | None = None
    outcomes: Annotated[list[Graded], Meta(min_length=1, max_length=20)]


class TreesGraded(Envelope, frozen=True, tag="trees.graded", kw_only=True):
    """Trees were graded (stage and grade change)."""

    data: TreesGradedData


class SentLine(Data, frozen=True, kw_only=True):
    """Trees or liners of a lot, or buds of a bag, loaded for another site."""

    lot: Code | None = None
    bag: Code | None = None
    place: Code | None = None
    stage: Stage | None = None
    size: Code | None = None
    grade: Grade | None = None
    count: (
        Annotated[Count, Meta(description="Plants, or buds of a bag. All when left out.")] | None
    ) = None


class ConsignmentSentData(Data, frozen=True, kw_only=True):
    """A load that left for another site of the nursery."""

    consignment: Code | None = None
    to_site: Code
    lines: Annotated[list[SentLine], Meta(min_length=1, max_length=200)]
    document: Annotated[Ref, Meta(description="Permit, passport or waybill.")] | None = None
    carrier: Ref | None = None


class ConsignmentSent(Envelope, frozen=True, tag="consignment.sent", kw_only=True):
    """A consignment left (place → in transit, owned by the receiving site)."""

    data: ConsignmentSentData


class ReceivedLine(Data, frozen=True, kw_only=True):
    """What arrived of one line: alive to a place, dead on arrival; the rest is short or surplus."""

    lot: Code | None = None
    bag: Code | None = None
    stage: Stage | None = None
    size: Code | None = None
    grade: Grade | None = None
    place: Annotated[Code, Meta(description="Where it was put down.")]
    count: Annotated[CountOrZero, Meta(description="Arrived alive and put down here.")]
    dead: Annotated[CountOrZero, Meta(description="Arrived dead or damaged beyond use.")] = 0
    sent: (
        Annotated[CountOrZero, Meta(description="In transit by the book; filled by the log.")]
        | None
    ) = None


class ConsignmentReceivedData(Data, frozen=True, kw_only=True):
    """A load that arrived; it closes the consignment."""

    consignment: Code
    lines: Annotated[list[ReceivedLine], Meta(min_length=1, max_length=200)]
    note: Text | None = None


class ConsignmentReceived(Envelope, frozen=True, tag="consignment.received", kw_only=True):
    """A consignment arrived (in transit → places; dead → lost; shortage and surplus → variance)."""

    data: ConsignmentReceivedData
