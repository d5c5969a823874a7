"""Plans: how much to graft, and when, to have so many trees of an item by a day. Pure.

Two things are uncertain: when the trees of a lot are ready, and how many of the grafts become
trees. They are taken for independent, so the plan is as sure as the product of the two.
"""

from collections.abc import Sequence
from datetime import date
from math import ceil, floor, sqrt
from typing import NamedTuple

from service.forecast.answers.shares import at_least, grafts_for
from service.trade.fitting import buds_per_tree
from service.trade.promising import LEVELS, level_of

RIPE = 0.9
"""A lot counts as ready when so many of its trees that will be ready are (`LeadTime.nearly`)."""
BUDS_WASTED = 0.15
"""Blind, tip and base buds: 10 to 20 % are common practice (no source)."""
LINERS_SPARE = 0.05
"""Stocks that turn out too thin or crooked at grafting: an assumption, without a source."""


class Sure(NamedTuple):
    """How sure the two parts of a plan are: index of `LEVELS` in time, probability in number."""

    time: int
    number: float

    @property
    def together(self) -> float:
        return LEVELS[self.time] * self.number


def split(confidence: float) -> Sure:
    """A plan's confidence as one in time and one in number, about equal.

    Surer than what is told of times a plan cannot be: near 0.99 it falls a little short.
    """
    time = level_of(min(sqrt(confidence), LEVELS[-1]))
    return Sure(time, min(confidence / LEVELS[time], 0.999))


class LeadTime(NamedTuple):
    """Grafted on day `grafted_on`, a lot is ready in at most `days`; None: beyond the horizon.

    Days are ordinals. `mean` and `correlation` of the share saleable of grafted.
    """

    grafted_on: int
    days: int | None
    mean: float
    correlation: float

    @property
    def ready_on(self) -> int | None:
        return None if self.days is None else self.grafted_on + self.days


class When(NamedTuple):
    """The last day to graft and the lead time that goes with it; `first_ready` if grafted today.

    `by` None: too late for it already. `looked_to`: the forecast of later grafts ends there, so
    later may do as well.
    """

    by: int | None
    lead: LeadTime | None
    first_ready: int | None
    looked_to: bool


def graft_by(leads: Sequence[LeadTime], today: int, needed: int) -> When:
    """The last day from `today` on to graft so that a lot is ready on day `needed`.

    `leads` by their day. Between two days that are told, the day of readiness goes in a straight
    line.
    """
    told = [one for one in leads if one.ready_on is not None]
    first_ready = told[0].ready_on if told else None
    in_time = [n for n, one in enumerate(told) if (one.ready_on or 0) <= needed]
    if not in_time:
        return When(None, None, first_ready, False)
    last = in_time[-1]
    lead, by = told[last], told[last].grafted_on
    following = told[last + 1] if last + 1 < len(told) else None
    if following is not None:
        ready, later = lead.ready_on or 0, following.ready_on or 0
        share = (needed - ready) / (later - ready)
        by += min(
            floor(share * (following.grafted_on - by)), following.grafted_on - lead.grafted_on - 1
        )
    if by < today:
        return When(None, None, first_ready, False)
    return When(by, lead, first_ready, following is None)


class Need(NamedTuple):
    """What a plan takes: grafts, buds with what is wasted of them, liners with some to spare."""

    grafts: int
    buds: int
    liners: int
    expected: int


def need(
    trees: int, method: str, lead: LeadTime, sure: Sure, wasted: float, spare: float
) -> Need | None:
    """What so many ripe trees take; None when no number of grafts makes it that sure."""
    grafts = grafts_for(trees, lead.mean * RIPE, lead.correlation, sure.number)
    if grafts is None:
        return None
    return Need(
        grafts=grafts,
        buds=_with_more(grafts * buds_per_tree(method), wasted),
        liners=_with_more(grafts, spare),
        expected=round(grafts * lead.mean),
    )


def _with_more(count: int, lost: float) -> int:
    return ceil(round(count / (1 - lost), 6))


class Yield(NamedTuple):
    """What buds make: grafts, and how many trees of them are sure and expected in the end."""

    grafts: int
    sure: int
    expected: int


def made_of(buds: int, per_tree: int, lead: LeadTime, confidence: float, wasted: float) -> Yield:
    """How many trees the buds of a bag make."""
    grafts = floor(round(buds * (1 - wasted), 6)) // per_tree
    sure = at_least(grafts, lead.mean, lead.correlation, confidence)
    return Yield(grafts, sure, round(grafts * lead.mean))


def as_day(ordinal: int | None) -> date | None:
    """An ordinal as a day; None stays None."""
    return None if ordinal is None else date.fromordinal(ordinal)
