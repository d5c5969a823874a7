"""What can be reserved, for a shop: cheap to ask again and again. And where goods may be sent."""

from collections.abc import Iterable
from datetime import date
from typing import Annotated

import msgspec
from msgspec import Meta

from service.api.answers import Kept
from service.api.conditional import content_tag
from service.api.destinations import (
    Destination,
    KindsQuery,
    Rules,
    after_key,
    available_now,
    of_kind,
    seen_sites,
)
from service.api.filters import CODES, check_codes
from service.api.operation import Call, Reply, next_page, operation
from service.api.problems import bad_parameter
from service.api.promises import Quantity
from service.forecast.answers.telling import day_in_words
from service.log.rights import READ
from service.trade.available import Row
from service.trade.destinations import Sending
from service.trade.events.trees import Grade
from service.trade.promising import ALL_SITES
from service.trade.promising import sure as in_words
from service.trade.words import Code
from service.views.availability import AvailabilityList
from service.views.availability_now import READY_ONLY, Offered, changes, offered, visible

DAYS_AHEAD = 91
"""How far changes are told to who does not say."""
_FILTERS = ("cultivar", "rootstock", "size", "site", "grade")


class AvailabilityQuery(KindsQuery, frozen=True, kw_only=True):
    """What is wanted, from where, for when."""

    size: Code | None = None
    grade: (
        Annotated[Grade, Meta(description="Only rows of this grade. Left out: rows of any grade.")]
        | None
    ) = None
    by_grade: Annotated[
        bool, Meta(description="A row for each grade in place of one for any grade.")
    ] = False
    any_site: Annotated[
        bool,
        Meta(
            description="Rows of all sites together, for reservations with `any_site`. Told to "
            "keys of every site."
        ),
    ] = False
    day: Annotated[date, Meta(description="For this day. Left out: today.")] | None = msgspec.field(
        name="date", default=None
    )
    until: (
        Annotated[date, Meta(description=f"Changes up to this day. Left out: {DAYS_AHEAD} days.")]
        | None
    ) = None
    quantity: Quantity | None = None
    available: Annotated[
        bool, Meta(description="true: no rows of which none can be reserved, then or later.")
    ] = False
    destination: Destination | None = None


class AvailabilityRow(Offered, frozen=True, kw_only=True):
    """How many of an item can be reserved at a site for a day: so many are accepted, not one more.

    `available` holds on `date`, `changes` are later days from which on it is another number. A
    number may fall as well as rise: what is promised for later is kept back, and trees may die
    unsold. Rows overlap: trees of any grade and of any site are those of each. None of it says that
    a thing may be sent anywhere: `sending` says what the nursery's rules say, where a destination
    is given.
    """

    day: date = msgspec.field(name="date")
    words: str
    quantity: Annotated[int | None, Meta(description="As asked.")]
    enough: Annotated[bool | None, Meta(description="Whether so many can be reserved.")]
    earliest: Annotated[
        date | None, Meta(description="First day for all of it; null: none asked, or not in sight.")
    ]
    sending: Annotated[Sending | None, Meta(description="null: no destination given.")]


class Availability(msgspec.Struct, frozen=True, kw_only=True):
    """A page of what can be reserved. It says no position of the log, so that it stays the same,
    and its ETag with it, until one of its numbers changes."""

    items: list[AvailabilityRow]
    next: Annotated[str | None, Meta(description="Address of the next page; null on the last one.")]


@operation(
    "GET",
    "/v1/availability",
    tag="Reservations",
    scope=READ,
    query=AvailabilityQuery,
    answer=Availability,
    request_headers=("If-None-Match",),
    free=tuple(CODES),
)
async def list_availability(call: Call[AvailabilityQuery]) -> Reply:
    """List how many of each item can be reserved, today and from which day on another number.

    Made for a shop that asks often: send the last ETag in If-None-Match, and the answer is 304
    until a number of this very answer changes. A number is what the log would decide at the moment
    of asking, at most five seconds old; a reservation recorded by the same process is in it at
    once. Nothing is set aside by asking: reserve, and the log decides. Available is not the same as
    free to send: give a `destination` and each row says what the nursery's rules say of it.
    """
    found, answers = await available_now(call), call.services.answers
    # Who sees the same is told the same; what one may see is never another's answer.
    version, sites = found.version, call.principal.sites
    asked = call.request.scope["query_string"]
    kept = answers.find(version, sites, asked)
    if kept is None:
        await check_codes(call.services, call.principal, call.query, _FILTERS)
        reply = _page(call, found, seen_sites(call))
        body = msgspec.json.encode(reply.body)
        kept = Kept(body, content_tag(body), reply.headers)
        if found.version == version:
            answers.keep(version, sites, asked, kept)
    return Reply(kept.body, etag=kept.tag, headers=kept.headers)


def _page(
    call: Call[AvailabilityQuery], found: AvailabilityList, sites: frozenset[str] | None
) -> Reply:
    query = call.query
    if query.any_site and query.site is not None:
        raise bad_parameter("any_site", "All sites together are not one site.", "not_together")
    if query.any_site and sites is not None:
        words = "All sites together are told to keys of every site. Name a site."
        raise bad_parameter("any_site", words, "not_together")
    rows = [row for row in found.rows.values() if visible(row, sites) and _wanted(query, row)]
    _check_days(query, rows)
    after = after_key(query.cursor)
    rows = [row for row in rows if row.key > after]
    shown, more = rows[: query.limit], len(rows) > query.limit
    teller = _Teller(found, query)
    items = [teller.row(row) for row in shown]
    return next_page(call, {"items": items}, shown[-1].key if more else None, {})


def _wanted(query: AvailabilityQuery, row: Row) -> bool:
    item = row.item
    if query.any_site != (row.site == ALL_SITES) or not of_kind(query, row):
        return False
    if query.size not in (None, item.size):
        return False
    if query.available and not row.ever(query.day.toordinal() if query.day else row.today):
        return False
    if query.grade is not None:
        return item.grade == query.grade
    return item.buds or bool(item.grade) == query.by_grade


def _check_days(query: AvailabilityQuery, rows: Iterable[Row]) -> None:
    """Raises 422 for a day that is over at every site that is told of."""
    today = min((row.today for row in rows), default=None)
    if query.day is not None and today is not None and query.day.toordinal() < today:
        words = f"{query.day} is over: today is {date.fromordinal(today)}."
        raise bad_parameter("date", words, "in_the_past")
    if query.until is not None and query.day is not None and query.until < query.day:
        raise bad_parameter("until", "It lies before the day asked for.", "not_together")


class _Teller:
    """Rows put into words, for one question."""

    def __init__(self, found: AvailabilityList, query: AvailabilityQuery) -> None:
        self.catalogue, self.query = found.catalogue, query
        self.sure = in_words(found.confidence)
        self.rules = Rules(found.catalogue)

    def row(self, row: Row) -> AvailabilityRow:
        query, base = self.query, offered(row, self.catalogue, self.sure)
        on = max(row.today, query.day.toordinal() if query.day else 0)
        last = query.until.toordinal() if query.until else on + DAYS_AHEAD
        there, quantity = row.on(on), query.quantity
        first = None if quantity is None else row.first_day(quantity, row.today)
        told = {name: getattr(base, name) for name in Offered.__struct_fields__}
        made = AvailabilityRow(
            **told | {"available": there, "changes": changes(row, on, last)},
            day=date.fromordinal(on),
            words="",
            quantity=quantity,
            enough=None if quantity is None else there >= quantity,
            earliest=None if first is None else date.fromordinal(first),
            sending=self.rules.on(row, query.destination) if query.destination else None,
        )
        return msgspec.structs.replace(made, words=_words(made, on == row.today))


def _words(row: AvailabilityRow, today: bool) -> str:
    """The answer in sentences; `today`: it is for today."""
    where = f"at {row.site}" if row.site else "over all sites"
    many = f"{row.available:,}" if row.available else "None"
    there = f"{many} of {row.name}, {where},"
    what = f"{there} can be reserved for {day_in_words(row.day)}"
    if row.sure == READY_ONLY:
        said = [f"{what}: what is ready now, not held and not promised."]
    else:
        said = [f"{row.sure[:1].upper()}{row.sure[1:]}: {what}."]
    if today and row.ready < row.available:
        said.append(f"{row.ready:,} of them stand ready." if row.ready else "None is ready yet.")
    if row.changes and row.quantity is None:
        one = row.changes[0]
        said.append(f"From {day_in_words(one.day)} on it is {one.available:,}.")
    if row.quantity is not None and row.earliest is None:
        said.append(f"{row.quantity:,} are not in sight.")
    elif row.earliest is not None and not row.enough:
        said.append(f"All {row.quantity:,} can be had for {day_in_words(row.earliest)}.")
    if row.sending is not None:
        said.append(row.sending.words)
    return " ".join(said)


HANDLERS = [list_availability]
