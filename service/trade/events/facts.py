"""Facts that move nothing: looks, work, cleaning, treatments, what was done about an alert."""

from typing import Annotated, Literal

from msgspec import Meta

from service.trade.events.envelope import Envelope
from service.trade.words import Code, CountOrZero, Data, EventId, LongText, Occurred, Ref, Text


class Observed(Data, frozen=True, kw_only=True):
    """Totals seen at a look; an observation that moves nothing."""

    pushed: CountOrZero | None = None
    waiting: CountOrZero | None = None
    failed: CountOrZero | None = None
    dead: CountOrZero | None = None


class PlaceCheckedData(Data, frozen=True, kw_only=True):
    """Somebody looked at the whole table."""

    place: Code
    totals: Observed | None = None
    note: Text | None = None


class PlaceChecked(Envelope, frozen=True, tag="place.checked", kw_only=True):
    """A place was looked over (moves nothing)."""

    data: PlaceCheckedData


class WorkDoneData(Data, frozen=True, kw_only=True):
    """Staking, desuckering, spacing and the like."""

    work: Literal["staked", "desuckered", "spaced", "weeded", "fed", "watered", "pruned", "other"]
    lot: Code | None = None
    place: Code | None = None
    note: Text | None = None


class WorkDone(Envelope, frozen=True, tag="work.done", kw_only=True):
    """Work was done (moves nothing)."""

    data: WorkDoneData


class ToolsDisinfectedData(Data, frozen=True, kw_only=True):
    """Knives and shears disinfected, as between source trees.

    Never mix bleach with acids or ammonia; wear gloves and eye protection; follow the label and
    local rules.
    """

    person: Ref
    product: Annotated[Text, Meta(examples=["household bleach, fresh today"])]
    strength: Annotated[Text, Meta(examples=["20 % by volume"])] | None = None
    before: Annotated[Code, Meta(description="The source tree or lot worked on next.")] | None = (
        None
    )


class ToolsDisinfected(Envelope, frozen=True, tag="tools.disinfected", kw_only=True):
    """Tools were disinfected (moves nothing)."""

    data: ToolsDisinfectedData


class TreatmentAppliedData(Data, frozen=True, kw_only=True):
    """A treatment at places. Only licensed people, by the label and local rules.

    `occurred` says when the application began, `ended` when it was over: the time of no entry runs
    from there, and closes the whole house.
    """

    places: Annotated[list[Code], Meta(min_length=1, max_length=200)]
    product: Text
    rate: Text | None = None
    reason: Text | None = None
    document: Ref | None = None
    re_entry_hours: (
        Annotated[
            int,
            Meta(
                ge=0,
                le=24 * 90,
                description="Hours of no entry that the label demands, from the end of the "
                "application on. Left out nobody can say until when, which is never `safe`.",
            ),
        ]
        | None
    ) = None
    ended: (
        Annotated[
            Occurred,
            Meta(
                description="When the application ended, within seven days of its beginning. Left "
                "out, or only a day, the end of that day counts: it can't have ended later."
            ),
        ]
        | None
    ) = None


class TreatmentApplied(Envelope, frozen=True, tag="treatment.applied", kw_only=True):
    """A treatment was applied (moves nothing)."""

    data: TreatmentAppliedData


class AlertAcknowledgedData(Data, frozen=True, kw_only=True):
    """Somebody has seen an alert."""

    alert: EventId
    note: LongText | None = None


class AlertAcknowledged(Envelope, frozen=True, tag="alert.acknowledged", kw_only=True):
    """An alert was acknowledged."""

    data: AlertAcknowledgedData


class AlertRemindOnData(Data, frozen=True, kw_only=True):
    """Be quiet about an alert until a day."""

    alert: EventId
    on: Annotated[Occurred, Meta(description="The day to be reminded.")]


class AlertRemindOn(Envelope, frozen=True, tag="alert.remind_on", kw_only=True):
    """An alert is to come back on a day."""

    data: AlertRemindOnData
