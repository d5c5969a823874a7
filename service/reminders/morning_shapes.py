"""What a site's morning round tells: shapes that the page, the API and the mail share."""

from datetime import date, datetime
from typing import Annotated, Literal

import msgspec
from msgspec import Meta

from service.forecast.records.ahead import AheadDay
from service.forecast.records.loggers import LoggerNow
from service.views.closed_houses import ClosedHouse


class CheckHere(msgspec.Struct, frozen=True, kw_only=True):
    """A check that is due at a place, for all lots of one crop and plan there together.

    `lot` is the lot that waits longest, null for a look at the whole place. `days_late` counts from
    the day that it became due, `days_overdue` from the first day on which it was overdue.
    """

    check: str
    state: Literal["due", "overdue"]
    lot: str | None
    lots: int
    trees: Annotated[int, Meta(description="Trees of the plan's stage, all these lots together.")]
    due_on: date
    overdue_on: date
    days_late: int
    days_overdue: int
    degree_days: Annotated[
        float | None,
        Meta(
            description="Degree-days (Cd) that the site had since the day it became due, up to "
            "yesterday, by the crop's way of counting a day's minimum and maximum. null: of a "
            "look, of a crop whose thresholds are not known, or nothing was recorded."
        ),
    ]
    degree_days_missing: Annotated[
        int, Meta(description="Days of these whose temperatures nobody has recorded.")
    ]
    last_done: date | None
    counted_from: date
    after: str
    plan: str
    source: Annotated[str, Meta(description="Where the plan's days are from.")]
    crop: str | None


class TableToSee(msgspec.Struct, frozen=True, kw_only=True):
    """A place with checks that are due, the most urgent of them first.

    `closed` says that its house may not be entered now (of the same round's `closed_houses`).
    """

    place: str
    place_kind: str | None
    structure: str | None
    closed: bool
    state: Literal["due", "overdue"]
    days_overdue: int
    checks: list[CheckHere]


class Frost(msgspec.Struct, frozen=True, kw_only=True):
    """Days foretold to be as cold as the site's norm, and what the forecast in force covers."""

    limit_c: Annotated[float | None, Meta(description="null: frost is not watched here.")]
    days: list[AheadDay]
    source: str | None
    given_at: Annotated[
        datetime | None, Meta(description="null: no forecast was ever given for the site.")
    ]
    covers_until: Annotated[
        date | None,
        Meta(
            description="Its last day; null: none of its days is still to come. Then nothing is "
            "known of the nights ahead."
        ),
    ]


class BagToUse(msgspec.Struct, frozen=True, kw_only=True):
    """Wood whose usual keeping time has passed or soon will. A look at the wood decides."""

    bag: str
    place: str
    lot: str
    cultivar: str | None
    crop: str | None
    buds: int
    basis: str
    use_by: date
    keep_days: int


class GraftingAhead(msgspec.Struct, frozen=True, kw_only=True):
    """Work orders that are not filled: how many, and the trees still wanted of them."""

    late: int
    late_trees: int
    this_week: int
    this_week_trees: int
    first: date | None


class AlertsOpen(msgspec.Struct, frozen=True, kw_only=True):
    """Alerts of a kind that nobody has seen to."""

    kind: str
    count: int
    since: datetime


class ComingCheck(msgspec.Struct, frozen=True, kw_only=True):
    """Checks of a name that become due on a day."""

    day: date
    check: str
    places: int
    lots: int
    trees: int


class Done(msgspec.Struct, frozen=True, kw_only=True):
    """What a person recorded of a day, by type of event. `trees`: how many were grafted."""

    day: date
    type: str
    person: str
    entries: int
    trees: int | None
    last: datetime


class Morning(msgspec.Struct, frozen=True, kw_only=True):
    """A site's morning round. What is not told here was not recorded, which never means `safe`."""

    position: Annotated[int, Meta(description="The log's position that the checks reflect.")]
    site: str
    site_name: str
    time_zone: str
    table_word: str
    at: datetime
    today: date
    closed_houses: list[ClosedHouse]
    loggers: list[LoggerNow]
    frost: Frost
    tables: Annotated[
        list[TableToSee],
        Meta(
            description="Those to be looked at, the most urgent on top; tables in closed houses "
            "come last."
        ),
    ]
    bags: list[BagToUse]
    grafting: GraftingAhead
    alerts: Annotated[
        list[AlertsOpen], Meta(description="Others than those that the round tells itself.")
    ]
    coming: Annotated[list[ComingCheck], Meta(description="Of the next seven days.")]
    done: Annotated[list[Done], Meta(description="Of today and yesterday.")]
