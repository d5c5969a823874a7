"""The morning round: what must be looked at today at a site, and a grafter's own day.

Whoever opens it stands outside at six with a telephone: what may hurt comes first, then what is
late, a tap away from the table. Whoever grafts has their own list on top.
"""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date
from itertools import groupby
from typing import Annotated, Any, Literal

import msgspec
from litestar.handlers import HTTPRouteHandler
from msgspec import Meta

from service.api.operation import Reply
from service.api.problems import not_found
from service.board.page import page
from service.board.round_words import DONE, tables
from service.board.table_forms import FORM_OF_CHECK
from service.board.undo import undoable
from service.board.visit import Visit
from service.log.rights import CORRECTIONS, EVENTS, READ
from service.reminders.morning import morning
from service.reminders.morning_shapes import ComingCheck, Done, TableToSee
from service.reminders.telling import kind_in_words
from service.trade.words import Code, Ref
from service.views.closed_houses import ClosedHouse, closed_houses
from service.views.grafter_day import GrafterDay, grafter_day
from service.views.grafting_list import GraftingList, ToGraft, grafting_list
from service.views.work_orders import WorkOrderRow
from service.wording.trade_words import CHECKS, METHODS, named
from service.wording.words import Words

SHOWN_IN_FULL = 30
"""Tables beyond these are named only: nobody walks to more in a morning."""
ORDERS_IN_ROUND = 4


class RoundQuery(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Which site, and in which order its tables. `done`: the entry just recorded."""

    site: Code | None = None
    order: (
        Annotated[Literal["urgent", "walk"], Meta(description="walk: house by house.")] | None
    ) = None
    done: Annotated[str, Meta(max_length=200)] | None = None


class GraftingQuery(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Whose grafting of today; everybody's when left out."""

    site: Code | None = None
    grafter: Ref | None = None


@page("GET", "/round", scope=READ, query=RoundQuery)
async def get_round(visit: Visit[RoundQuery]) -> Reply:
    """The round of a site."""
    asked = visit.query
    site = await visit.site(asked.site)
    mine: GrafterDay | None = None
    async with visit.services.reading() as connection:
        found = await morning(connection, site.code, visit.now)
        if found is None:
            raise not_found(f"The site {site.code}")
        if _grafts(visit):
            mine = await grafter_day(connection, site.code, visit.principal.name, visit.now)
        applied = {one.actor for house in found.closed_houses for one in house.treatments}
        people = applied | {one.person for one in found.done}
        await visit.call_people(people, connection)
    return visit.page(
        "round.html",
        sites=await visit.sites(),
        site=site,
        round=found,
        undo=await undoable(visit, asked.done),
        order=asked.order or "urgent",
        tables=_in_order(found.tables, asked.order)[:SHOWN_IN_FULL],
        more_tables=_in_order(found.tables, asked.order)[SHOWN_IN_FULL:],
        late=sum(one.state == "overdue" for one in found.tables),
        due=sum(one.state == "due" for one in found.tables),
        mine=mine,
        orders=_cards(mine.to_do, found.closed_houses)[:ORDERS_IN_ROUND] if mine else [],
        coming=_by_day(found.coming),
        done=_by_person(found.done, visit.words),
        many_tables=lambda count: tables(visit.words, site.table_word, count),
        may_record=visit.principal.may(EVENTS),
        **_words(visit.words),
    )


@page("GET", "/round/grafting", scope=READ, query=GraftingQuery)
async def get_grafting(visit: Visit[GraftingQuery]) -> Reply:
    """All grafting that is to do at a site today, or one grafter's."""
    asked = visit.query
    site = await visit.site(asked.site)
    async with visit.services.reading() as connection:
        to_do = await grafting_list(connection, site.code, None, asked.grafter, visit.now)
        closed = await closed_houses(connection, site.code, visit.now)
    return visit.page(
        "round_grafting.html",
        sites=await visit.sites(),
        site=site,
        to_do=to_do,
        orders=_cards(to_do, closed),
        grafter=asked.grafter,
        may_record=visit.principal.may(EVENTS),
        **_words(visit.words),
    )


def _grafts(visit: Visit[Any]) -> bool:
    """Whether they record at the bench and do not manage: their own list comes first then."""
    return visit.principal.may(EVENTS) and not visit.principal.may(CORRECTIONS)


def _words(words: Words) -> dict[str, Any]:
    """How the page calls what the round names by a word of the log."""
    return {
        "check_words": lambda check: named(words, check, CHECKS),
        "method_words": lambda method: named(words, method, METHODS),
        "kind_words": lambda kind: kind_in_words(words, kind),
        "form_of": FORM_OF_CHECK.get,
    }


def _in_order(tables: list[TableToSee], order: str | None) -> list[TableToSee]:
    """Most urgent first, as they come; or house by house, each house's tables by their codes."""
    if order != "walk":
        return tables
    return sorted(tables, key=lambda one: (one.closed, one.structure or "", _walked(one.place)))


def _walked(code: str) -> tuple[tuple[int, str], ...]:
    """T2 before T10."""
    parts = "".join(c if c.isdigit() else f" {c} " for c in code).split()
    return tuple((int(part), "") if part.isdigit() else (-1, part) for part in parts)


class Row(msgspec.Struct, frozen=True, kw_only=True):
    """So many of an order from one bag. `closed`: the house of the liners, the bag or the table may
    not be entered now."""

    part: ToGraft
    closed: bool


class OrderCard(msgspec.Struct, frozen=True, kw_only=True):
    """An order of the day. `place` and `method`: where all its rows say the same."""

    order: WorkOrderRow
    count: int
    place: str | None
    method: str | None
    rows: list[Row]


def _cards(to_do: GraftingList, houses: Iterable[ClosedHouse]) -> list[OrderCard]:
    shut = {place for house in houses for place in house.closed_places}
    return [
        OrderCard(
            order=one.order,
            count=sum(part.count for part in one.rows),
            place=_same(part.place for part in one.rows),
            method=_same(part.method for part in one.rows),
            rows=[
                Row(part=part, closed=bool(shut & {part.bag_place, part.liner_place, part.place}))
                for part in one.rows
            ],
        )
        for one in to_do.orders
        if one.rows
    ]


def _same(said: Iterable[str | None]) -> str | None:
    """What all say, if they do."""
    found = set(said)
    return found.pop() if len(found) == 1 else None


def _by_day(coming: Iterable[ComingCheck]) -> list[tuple[date, list[ComingCheck]]]:
    return [(day, list(checks)) for day, checks in groupby(coming, lambda one: one.day)]


def _by_person(done: Iterable[Done], words: Words) -> list[tuple[date, list[tuple[str, str]]]]:
    """Day by day, each person with what they recorded, most first."""
    days: dict[date, dict[str, list[str]]] = defaultdict(lambda: defaultdict(list))
    for one in done:
        days[one.day][one.person].append(_done_words(one, words))
    return [
        (day, [(person, ", ".join(parts)) for person, parts in people.items()])
        for day, people in days.items()
    ]


def _done_words(one: Done, words: Words) -> str:
    if one.trees:
        return words.ngettext("%(num)s tree grafted", "%(num)s trees grafted", one.trees)
    name = DONE.get(one.type)
    called = words.gettext(name) if name else one.type.replace(".", " ").replace("_", " ")
    return called if one.entries == 1 else f"{called} ×{one.entries}"


HANDLERS: list[HTTPRouteHandler] = [get_round, get_grafting]
