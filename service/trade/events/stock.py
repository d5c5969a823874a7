"""Opening the books, counting stock, a lost label, the voiding of an event."""

from typing import Annotated, Literal

from msgspec import Meta

from service.trade.events.budwood import Bags, Basis
from service.trade.events.envelope import Envelope
from service.trade.events.grafting import Stage
from service.trade.events.trees import Grade
from service.trade.methods import MethodName
from service.trade.words import Code, Count, CountOrZero, Data, EventId, Occurred, Text


class OpenedBudwood(Data, frozen=True, kw_only=True, tag_field="kind", tag="budwood"):
    """A budwood lot in the cooler when the books were opened. Unknown parts stay out."""

    lot: Code
    cultivar: Code | None = None
    source_tree: Code | None = None
    cut_on: Occurred | None = None
    bags: Bags


class OpenedLiners(Data, frozen=True, kw_only=True, tag_field="kind", tag="liners"):
    """Liners that stood there when the books were opened."""

    lot: Code
    rootstock: Code | None = None
    size: Code
    place: Code
    count: Count
    basis: Basis = "counted"


class OpenedTrees(Data, frozen=True, kw_only=True, tag_field="kind", tag="trees"):
    """Trees that stood there when the books were opened."""

    lot: Code
    cultivar: Code | None = None
    rootstock: Code | None = None
    method: MethodName | None = None
    grafted_on: Occurred | None = None
    stage: Stage
    size: Code
    grade: Grade | None = None
    place: Code
    count: Count


class StockOpenedData(Data, frozen=True, kw_only=True):
    """What stood at the site when its books were opened. Clocks of checks start here."""

    lines: Annotated[
        list[OpenedBudwood | OpenedLiners | OpenedTrees], Meta(min_length=1, max_length=500)
    ]


class StockOpened(Envelope, frozen=True, tag="stock.opened", kw_only=True):
    """The books were opened (source → bags, liners, trees)."""

    data: StockOpenedData


class CountedLine(Data, frozen=True, kw_only=True):
    """What was counted of one account: buds of a bag, liners or trees of a lot at a place."""

    lot: Code | None = None
    bag: Code | None = None
    place: Code | None = None
    stage: Stage | None = None
    size: Code | None = None
    grade: Grade | None = None
    counted: CountOrZero
    book: Annotated[CountOrZero, Meta(description="By the book; filled by the log.")] | None = None


class StockCountedData(Data, frozen=True, kw_only=True):
    """A stock count, with its reason."""

    lines: Annotated[list[CountedLine], Meta(min_length=1, max_length=200)]
    reason: Text


class StockCounted(Envelope, frozen=True, tag="stock.counted", kw_only=True):
    """Stock was counted (book → counted, the difference to variance)."""

    data: StockCountedData


class Unlabelled(Data, frozen=True, kw_only=True):
    """Trees that may be of this lot, standing without a label."""

    lot: Code
    place: Code | None = None
    stage: Stage | None = None
    size: Code | None = None
    grade: Grade | None = None
    count: Count


class LabelLostData(Data, frozen=True, kw_only=True):
    """Trees whose label is gone: they leave their lots for an unidentified lot, on hold."""

    lot: Annotated[Code, Meta(description="The unidentified lot. Minted when left out.")] | None = (
        None
    )
    hold: Annotated[Code, Meta(description="The hold put on it. Minted when left out.")] | None = (
        None
    )
    lines: Annotated[list[Unlabelled], Meta(min_length=1, max_length=20)]
    note: Text | None = None


class LabelLost(Envelope, frozen=True, tag="label.lost", kw_only=True):
    """A label was lost (trees of candidate lots → an unidentified lot, on hold)."""

    data: LabelLostData


class EventVoidedData(Data, frozen=True, kw_only=True):
    """An event that should not stand, and why."""

    event: EventId
    reason: Text
    position: Annotated[int, Meta(ge=1, le=2**62, description="Filled by the log.")] | None = None


class EventVoided(Envelope, frozen=True, tag="event.voided", kw_only=True):
    """An event was voided: its legs are reversed at its own date; both stay in the log."""

    data: EventVoidedData


HoldTarget = Literal["lot", "bag", "source_tree", "place", "site"]
HoldKind = Annotated[
    Literal["plant_health", "quality", "identity", "licence", "other"],
    Meta(
        description="What the hold is for. Plant-health holds block use, moves, sales and throwing "
        "away; the others block sales. A plant-health hold is lifted only by the word of the "
        "authority that may do so."
    ),
]


class HoldPlacedData(Data, frozen=True, kw_only=True):
    """A stop on a lot, bag, source tree, place or site, and on all that descends from it."""

    hold: Annotated[Code, Meta(description="Minted when left out.")] | None = None
    kind: HoldKind
    target: HoldTarget
    code: Annotated[Code, Meta(description="The code of what is held.")]
    reason: Text


class HoldPlaced(Envelope, frozen=True, tag="hold.placed", kw_only=True):
    """A hold was placed (from the day it occurred)."""

    data: HoldPlacedData


class HoldLiftedData(Data, frozen=True, kw_only=True):
    """A hold ended. For a plant-health hold say which authority released it and by what paper."""

    hold: Code
    authority: Text | None = None
    document: Text | None = None
    reason: Text


class HoldLifted(Envelope, frozen=True, tag="hold.lifted", kw_only=True):
    """A hold was lifted (from the day it occurred)."""

    data: HoldLiftedData
