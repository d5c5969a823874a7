"""Liners: young rootstocks, received, sown or thinned together, awaiting a scion."""

from typing import Annotated, Literal

from msgspec import Meta

from service.trade.events.budwood import Basis
from service.trade.events.envelope import Envelope
from service.trade.words import Code, Count, Data, Ref, Text

LossCause = Annotated[
    Literal[
        "dead_scion",
        "dead_stock",
        "disease",
        "pest",
        "frost",
        "heat",
        "drought",
        "waterlogging",
        "breakage",
        "girdled",
        "dead_on_arrival",
        "damaged",
        "culled",
        "unknown",
    ],
    Meta(description="Why plants were lost. `culled` is a choice, not a death."),
]


class Standing(Data, frozen=True, kw_only=True):
    """A number of plants at one place."""

    place: Code
    count: Count


class LinersReceivedData(Data, frozen=True, kw_only=True):
    """A liner lot: one rootstock, one size, one supplier, one day."""

    lot: (
        Annotated[Code, Meta(description="Code of the liner lot. Minted when left out.")] | None
    ) = None
    rootstock: Code
    size: Code
    origin: Literal["received", "sown", "thinned"] = "received"
    supplier: Ref | None = None
    seed_source: Text | None = None
    document: Ref | None = None
    basis: Basis = "counted"
    lines: Annotated[list[Standing], Meta(min_length=1, max_length=200)]


class LinersReceived(Envelope, frozen=True, tag="liners.received", kw_only=True):
    """Liners came in, or were raised from seed here (source → liners)."""

    data: LinersReceivedData


class LinersDiscardedData(Data, frozen=True, kw_only=True):
    """Liners dead or thrown away."""

    lot: Code
    place: Code | None = None
    size: Code | None = None
    count: Count
    cause: LossCause
    note: Text | None = None


class LinersDiscarded(Envelope, frozen=True, tag="liners.discarded", kw_only=True):
    """Liners were lost or thrown away (liners → lost)."""

    data: LinersDiscardedData


class LinersMovedData(Data, frozen=True, kw_only=True):
    """Liners carried to another place of the site. `count` left out: all that stand there."""

    lot: Code
    place: Annotated[Code, Meta(description="Where they stood.")] | None = None
    size: Code | None = None
    count: Count | None = None
    to: Code


class LinersMoved(Envelope, frozen=True, tag="liners.moved", kw_only=True):
    """Liners were moved inside the site (place → place)."""

    data: LinersMovedData


class LinersPottedData(Data, frozen=True, kw_only=True):
    """Liners potted on into another size. `count` left out: all that stand there."""

    lot: Code
    place: Code | None = None
    size: Annotated[Code, Meta(description="The size they had.")] | None = None
    count: Count | None = None
    to_size: Code
    to: (
        Annotated[Code, Meta(description="Where they stand now; the same place when left out.")]
        | None
    ) = None


class LinersPotted(Envelope, frozen=True, tag="liners.potted", kw_only=True):
    """Liners were potted on (size → size)."""

    data: LinersPottedData
