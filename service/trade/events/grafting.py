"""Grafting and what follows at the bench: wrap, read the take, force, count the push."""

from typing import Annotated, Literal

from msgspec import Meta

from service.trade.events.budwood import BudLines
from service.trade.events.envelope import Envelope
from service.trade.events.liners import LossCause
from service.trade.methods import MethodName
from service.trade.words import Code, Count, CountOrZero, Data, Occurred, Ref, Text

Stage = Annotated[
    Literal["grafted", "pushed", "failed", "ready"],
    Meta(
        description="Of trees: `grafted` (the bud has not pushed yet), `pushed`, `failed` (scion "
        "dead, stock alive), `ready` (saleable)."
    ),
]


class GraftedBy(Data, frozen=True, kw_only=True):
    """One grafter's part of the work."""

    person: Annotated[Ref, Meta(examples=["p-03"])]
    count: Count


Grafters = Annotated[list[GraftedBy], Meta(max_length=50)]
WorkOrderCode = Annotated[
    Code,
    Meta(
        description="The work order it counts toward. Left out: the one open order that fits, if "
        "exactly one does."
    ),
]


class Onto(Data, frozen=True, kw_only=True):
    """What was grafted on: a liner lot, or a tree lot (an interstock)."""

    liner_lot: Code | None = None
    tree_lot: Code | None = None
    place: Annotated[Code, Meta(description="Where the stocks stood before grafting.")] | None = (
        None
    )
    size: Code | None = None
    stage: (
        Annotated[Stage, Meta(description="For a tree lot: the stage of the trees used.")] | None
    ) = None


class TreesGraftedData(Data, frozen=True, kw_only=True, rename={"from_": "from"}):
    """One budwood lot on one liner lot by one method on one day."""

    lot: Annotated[Code, Meta(description="Code of the tree lot. Minted when left out.")] | None = (
        None
    )
    from_: Annotated[BudLines, Meta(description="The bags used. Buds are derived from the method.")]
    onto: Onto
    method: MethodName
    count: (
        Annotated[Count, Meta(description="Trees grafted; the grafters' sum when left out.")] | None
    ) = None
    grafters: Grafters = []
    place: Annotated[Code, Meta(description="Where the trees stand after grafting.")]
    cut_mm: (
        Annotated[int, Meta(ge=1, le=500, description="Length of the cut in millimetres.")] | None
    ) = None
    label_date: (
        Annotated[
            Occurred,
            Meta(
                description="The date on the labels. In the same calendar month as `occurred` it "
                "counts as the budding date."
            ),
        ]
        | None
    ) = None
    grown_for: Annotated[Ref, Meta(description="The customer it is grown for, if any.")] | None = (
        None
    )
    work_order: WorkOrderCode | None = None


class TreesGrafted(Envelope, frozen=True, tag="trees.grafted", kw_only=True):
    """Trees were grafted (plants: liners → trees, grafted; buds: bag → used)."""

    data: TreesGraftedData


class TreesRegraftedData(Data, frozen=True, kw_only=True, rename={"from_": "from"}):
    """A second try on stocks whose scion failed: trees of one lot become a new lot."""

    lot: Code | None = None
    of: Annotated[Code, Meta(description="The tree lot whose trees are grafted again.")]
    stage: Literal["failed", "grafted"] = "failed"
    of_place: Annotated[Code, Meta(description="Where they stood before.")] | None = None
    size: Code | None = None
    from_: BudLines
    method: MethodName
    count: Count | None = None
    grafters: Grafters = []
    place: Code
    work_order: WorkOrderCode | None = None


class TreesRegrafted(Envelope, frozen=True, tag="trees.regrafted", kw_only=True):
    """Trees were grafted again (trees → a new lot's trees, grafted; buds → used)."""

    data: TreesRegraftedData


class GraftsWrappedData(Data, frozen=True, kw_only=True):
    """Grafts wrapped or tied. `count` left out: all."""

    lot: Code
    place: Code | None = None
    count: Count | None = None
    material: Annotated[Text, Meta(examples=["stretch film"])]


class GraftsWrapped(Envelope, frozen=True, tag="grafts.wrapped", kw_only=True):
    """Grafts were wrapped (a fact, nothing moves)."""

    data: GraftsWrappedData


class GraftsUnwrappedData(Data, frozen=True, kw_only=True):
    """The wrap came off and the take was read."""

    lot: Code
    place: Code | None = None
    size: Code | None = None
    alive: Annotated[CountOrZero, Meta(description="Union healed, bud alive.")] | None = None
    failed: Annotated[CountOrZero, Meta(description="Scion dead, stock alive.")] = 0
    left_wrapped: CountOrZero = 0


class GraftsUnwrapped(Envelope, frozen=True, tag="grafts.unwrapped", kw_only=True):
    """Grafts were unwrapped and the take read (trees grafted → failed)."""

    data: GraftsUnwrappedData


class TopsData(Data, frozen=True, kw_only=True):
    """Work on the rootstocks' tops. May come before grafting, then on a liner lot."""

    lot: Code
    place: Code | None = None
    technique: Literal["bent", "lopped", "notched", "tied", "cut_back", "other"] = "bent"
    count: Count | None = None
    note: Text | None = None


class TopsForced(Envelope, frozen=True, tag="tops.forced", kw_only=True):
    """Tops were bent, lopped or notched so that the scion's bud leads (a fact, nothing moves).

    Wear eye and hand protection: bent tops spring back and knives slip.
    """

    data: TopsData


class TopsRemovedData(Data, frozen=True, kw_only=True):
    """The rootstock's top was cut away above the scion."""

    lot: Code
    place: Code | None = None
    count: Count | None = None
    note: Text | None = None


class TopsRemoved(Envelope, frozen=True, tag="tops.removed", kw_only=True):
    """Tops came off (a fact, nothing moves)."""

    data: TopsRemovedData


class Removed(Data, frozen=True, kw_only=True):
    """Trees taken away dead, and why."""

    count: Count
    cause: LossCause


class BookedStanding(Data, frozen=True, kw_only=True):
    """What the book had at (lot, place) when the count was taken; filled by the log."""

    grafted: CountOrZero
    pushed: CountOrZero
    failed: CountOrZero


class PushCountedData(Data, frozen=True, kw_only=True):
    """What stands at one place of one lot. Trees already graded `ready` are not part of it.

    Say at least one of pushed, waiting, failed, unclear and removed. `failed` left out means that
    the failed were not counted: they stay as the book has them. The others left out mean none.
    """

    lot: Code
    place: Code | None = None
    size: Code | None = None
    pushed: CountOrZero | None = None
    waiting: (
        Annotated[CountOrZero, Meta(description="Alive or unknown, not pushed yet.")] | None
    ) = None
    failed: Annotated[CountOrZero, Meta(description="Scion dead, stock alive.")] | None = None
    unclear: (
        Annotated[CountOrZero, Meta(description="Could not be told; kept among the waiting.")]
        | None
    ) = None
    removed: Annotated[list[Removed], Meta(max_length=20, description="Taken away dead.")] = []
    book: Annotated[BookedStanding, Meta(description="Filled by the log.")] | None = None


class PushCounted(Envelope, frozen=True, tag="push.counted", kw_only=True):
    """The table was walked and what stands was counted (book → counted, differences → variance)."""

    data: PushCountedData
