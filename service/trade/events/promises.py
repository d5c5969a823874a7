"""Overrides of promises: what may be promised of an item, whatever the forecast says."""

from typing import Annotated

from msgspec import Meta

from service.trade.events.envelope import Envelope
from service.trade.events.trees import Grade
from service.trade.words import Code, CountOrZero, Data, Occurred, Text


class PromiseOverriddenData(Data, frozen=True, kw_only=True, rename={"begins": "from"}):
    """So many of an item may be promised for the days named, in the place of the forecast."""

    override: (
        Annotated[Code, Meta(description="Code of the override. Minted when left out.")] | None
    ) = None
    cultivar: Code
    rootstock: Code
    size: Code
    grade: Annotated[Grade, Meta(description="Left out: trees of any grade.")] | None = None
    any_site: Annotated[
        bool, Meta(description="True: of all sites together; else of the acting site's.")
    ] = False
    quantity: Annotated[
        CountOrZero,
        Meta(
            description="How many in all. What is promised for those days already, and what goes "
            "out from now on, is taken off it."
        ),
    ]
    begins: (
        Annotated[
            Occurred,
            Meta(description="The first day that may be asked for. Left out: the day it occurred."),
        ]
        | None
    ) = None
    until: Annotated[
        Occurred,
        Meta(description="The last day that may be asked for; after it the forecast counts again."),
    ]
    reason: Text


class PromiseOverridden(Envelope, frozen=True, tag="promise.overridden", kw_only=True):
    """What may be promised of an item was said by hand (an intention: bad days are refused)."""

    data: PromiseOverriddenData


class PromiseOverrideEndedData(Data, frozen=True, kw_only=True):
    """From now on the forecast counts again. What was promised meanwhile stays promised."""

    override: Code
    reason: Text


class PromiseOverrideEnded(Envelope, frozen=True, tag="promise.override_ended", kw_only=True):
    """An override of a promise was ended."""

    data: PromiseOverrideEndedData
