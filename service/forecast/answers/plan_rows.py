"""What is asked of a plan and what it answers, in figures and in words."""

from datetime import date, datetime
from typing import Annotated

import msgspec
from msgspec import Meta

from service.forecast.answers.plans import BUDS_WASTED, LINERS_SPARE
from service.forecast.answers.telling import day_in_words
from service.trade.events.trees import Grade
from service.trade.methods import METHODS, MethodName
from service.trade.promising import sure
from service.trade.words import Code

NOTHING_KNOWN = (
    "Nothing is foretold of this crop yet by any such method at any such site: a forecast is made "
    "each morning and when trees are counted."
)
ESTIMATE = (
    "It is an estimate from what was counted so far and from the weather of past years. It counts "
    "trees fit for sale of any size and grade, and takes one lot for each method and site."
)
Confidence = Annotated[
    float,
    Meta(
        ge=0.5,
        le=0.99,
        description="How sure it is to be: 0.8 is 8 in 10 sure. Left out: what the nursery "
        "promises at.",
    ),
]
Methods = Annotated[
    list[MethodName], Meta(max_length=20, description="Left out: all that something is known of.")
]
Wasted = Annotated[
    float,
    Meta(
        ge=0,
        le=0.9,
        description="Share of the buds that can't be used. Left out: 0.15, as 10 to 20 % are "
        "common practice (no source).",
    ),
]


class TreesWanted(
    msgspec.Struct,
    frozen=True,
    kw_only=True,
    forbid_unknown_fields=True,
    tag_field="plan",
    tag="trees",
):
    """So many trees are wanted by a day: what to graft, when, where."""

    cultivar: Code
    rootstock: Code
    size: Annotated[Code, Meta(description="Also told: what can be promised of it.")] | None = None
    grade: Grade | None = None
    quantity: Annotated[int, Meta(ge=1, le=1_000_000)]
    needed_by: date
    confidence: Confidence | None = None
    sites: Annotated[list[Code], Meta(max_length=50, description="Left out: all seen.")] = []
    methods: Methods = []
    buds_wasted: Wasted = BUDS_WASTED
    liners_spare: Annotated[
        float,
        Meta(
            ge=0,
            le=0.9,
            description="Share of the liners that prove unfit at grafting. Left out: 0.05, an "
            "assumption.",
        ),
    ] = LINERS_SPARE


class BagAtHand(
    msgspec.Struct,
    frozen=True,
    kw_only=True,
    forbid_unknown_fields=True,
    tag_field="plan",
    tag="bag",
):
    """A bag is at hand: what its buds can make, by method."""

    bag: Code
    confidence: Confidence | None = None
    methods: Methods = []
    buds_wasted: Wasted = BUDS_WASTED


PlanAsked = TreesWanted | BagAtHand


class ShareOfGrafts(msgspec.Struct, frozen=True, kw_only=True):
    """The share of grafts that become trees fit for sale, and what it rests on.

    `mean` is the product of `take`, `push`, `survival`, `fit`; lots differ with `correlation`.
    """

    mean: float
    correlation: float
    take: float
    push: float
    survival: float
    fit: float
    lots: Annotated[int, Meta(description="Lots of the nursery's own behind it.")]
    fallback: Annotated[str | None, Meta(description="Where it borrows, and from whom.")]


class Option(msgspec.Struct, frozen=True, kw_only=True):
    """One way: at a site by a method. Figures are null where it can't be done in time."""

    site: str
    method: str
    words: str
    graft_by: Annotated[date | None, Meta(description="The last day to graft.")]
    grafts: int | None
    expected: Annotated[
        int | None, Meta(description="Trees to be expected of them in the end: on the mean.")
    ]
    buds: Annotated[int | None, Meta(description="To be cut, wasted ones too.")]
    liners: Annotated[int | None, Meta(description="To have, spare ones too.")]
    buds_on_hand: Annotated[
        int,
        Meta(
            description="At the site, not held, not given to open work orders, in bags that keep "
            "until the last day to graft (today, where there is none)."
        ),
    ]
    liners_on_hand: Annotated[
        int, Meta(description="At the site, not held, not given to open work orders.")
    ]
    buds_short: int | None
    liners_short: int | None
    ready_if_grafted_now: Annotated[
        date | None, Meta(description="When nine in ten would be ready, as sure as asked.")
    ]
    share: ShareOfGrafts


class TreesPlanned(
    msgspec.Struct, frozen=True, kw_only=True, tag_field="plan", tag="trees", omit_defaults=False
):
    """Ways to have so many trees by a day, those with the fewest grafts first."""

    position: Annotated[int, Meta(ge=0, description="The log's position, of stock and orders.")]
    made_at: Annotated[datetime | None, Meta(description="When the forecast was made; null: none.")]
    quantity: int
    needed_by: date
    confidence: float
    sure: Annotated[str, Meta(examples=["8 in 10 sure"])]
    reached: Annotated[
        float, Meta(description="As sure as the plan is: close to 0.99 it falls a little short.")
    ]
    can_be_promised: Annotated[
        int | None,
        Meta(
            description="Of the item, for that day, from what grows already at all sites seen; it "
            "is not taken off. null: no size was named."
        ),
    ]
    options: list[Option]
    remarks: list[str]


class Making(msgspec.Struct, frozen=True, kw_only=True):
    """What the buds of the bag at a site make by a method."""

    site: str
    method: str
    words: str
    buds: Annotated[int, Meta(description="In the bag at the site.")]
    buds_per_tree: int
    grafts: int
    trees: Annotated[int, Meta(description="Fit for sale in the end, as sure as asked.")]
    expected: Annotated[int, Meta(description="To be expected: on the mean.")]
    ready_if_grafted_now: Annotated[
        date | None, Meta(description="When nine in ten would be ready; null: beyond a look ahead.")
    ]
    share: ShareOfGrafts


class BagPlanned(msgspec.Struct, frozen=True, kw_only=True, tag_field="plan", tag="bag"):
    """What a bag can make, most trees first."""

    position: Annotated[int, Meta(ge=0)]
    made_at: Annotated[datetime | None, Meta(description="When the forecast was made; null: none.")]
    bag: str
    confidence: float
    sure: Annotated[str, Meta(examples=["8 in 10 sure"])]
    makings: list[Making]
    remarks: list[str]


Planned = TreesPlanned | BagPlanned


def remarks_of(
    asked: TreesWanted, already: int | None, crops: tuple[str | None, str | None], *, known: bool
) -> list[str]:
    """What is to be known of the whole plan."""
    if not known:
        return [NOTHING_KNOWN]
    said = [ESTIMATE]
    of_cultivar, of_rootstock = crops
    if of_cultivar and of_rootstock and of_cultivar != of_rootstock:
        said.append(
            f"{asked.cultivar} is {of_cultivar} and {asked.rootstock} a rootstock of "
            f"{of_rootstock}: nothing is known of such grafts, the figures are of the former alone."
        )
    if already:
        said.append(
            f"Of what is there already {already:,} can be promised for that day; the plan counts "
            "new grafts alone."
        )
    said.append(
        f"{asked.buds_wasted:.0%} of the buds are reckoned as wasted and {asked.liners_spare:.0%} "
        "more liners than grafts: assumptions, which can be given."
    )
    return said


def option_in_words(one: Option, asked: TreesWanted, confidence: float) -> str:
    """One way in a sentence."""
    how = f"{method_in_words(one.method)} at {one.site}"
    if one.graft_by is None or one.grafts is None:
        if one.ready_if_grafted_now is None:
            return f"By {how}: not within what is looked ahead."
        ready = day_in_words(one.ready_if_grafted_now)
        if one.ready_if_grafted_now <= asked.needed_by:
            return f"By {how}: too few grafts become trees to be {sure(confidence)} sure."
        return f"By {how}: too late. Grafted now they would be ready by {ready}."
    said = (
        f"{sure(confidence)} sure of {asked.quantity:,} by {day_in_words(asked.needed_by)}: graft "
        f"{one.grafts:,} by {how} by {day_in_words(one.graft_by)}, with {one.buds:,} buds and "
        f"{one.liners:,} liners. About {one.expected:,} will be fit for sale in the end."
    )
    if METHODS[one.method].bark_must_slip:
        said += " The bark must slip then."
    return said


def making_in_words(one: Making, confidence: float) -> str:
    """What a bag makes by one method, in a sentence."""
    ready = one.ready_if_grafted_now
    when = f", nine in ten of them by {day_in_words(ready)} if grafted now" if ready else ""
    return (
        f"By {method_in_words(one.method)} at {one.site}: {one.grafts:,} grafts, "
        f"{sure(confidence)} sure of {one.trees:,} trees fit for sale, about {one.expected:,} to "
        f"be expected{when}."
    )


def method_in_words(method: str) -> str:
    """A method's name as people write it."""
    return method.replace("_", " ")
