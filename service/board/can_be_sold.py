"""Can be sold: how many can still be promised by when, as a clerk can say it on the phone."""

from datetime import date, timedelta
from typing import NamedTuple

from litestar.handlers import HTTPRouteHandler

from service.api.operation import Reply
from service.api.services import UNREACHABLE, unreachable
from service.board.adds_up import adds_up
from service.board.asking import ALL, Field, again, code_in, day_in, number_in
from service.board.charts import Band, fan
from service.board.figures import Figure, files_of, hand_of
from service.board.names import Names, names
from service.board.page import page
from service.board.ready import SURE, ReadyAsked, item_of, sure_words
from service.board.sites_asked import Sites, sites_of
from service.board.visit import Visit
from service.forecast.answers import promises
from service.forecast.answers.promise_view import ItemNow, PromiseQuery
from service.log.rights import READ
from service.storage.pool import Connection
from service.trade.available import Row
from service.trade.promising import ALL_SITES, STEP_DAYS, level_of
from service.views.availability_now import visible

WEEKS = (0, 2, 4, 8, 12, 16, 26, 39, 52)
DRAWN = 53
ROWS = 150
LATER = (0, 30, 90, 180)


class SoldAsked(ReadyAsked, frozen=True, kw_only=True):
    """What is wanted: of which item, how many, for when. Without an item: all that is offered."""

    quantity: Field = ""
    day: Field = ""


class Told(NamedTuple):
    """What can be promised of an item, day by day, at each of `SURE`."""

    today: date
    days: list[date]
    left: list[list[int]]
    adds_up: list[str]
    promised: int
    foretold: bool
    trees: int
    asked_day: date
    asked_left: list[int]
    quantity: int | None
    earliest: date | None


async def _told(
    visit: Visit[SoldAsked], conn: Connection, item: tuple[str, str, str], sites: Sites
) -> Told:
    cultivar, rootstock, size = item
    confidence = visit.services.settings.promise_confidence
    query = PromiseQuery(
        cultivar=cultivar, rootstock=rootstock, size=size, site=sites.code, confidence=confidence
    )
    now = ItemNow(query, visit.principal.site_list, visit.now)
    await now.load(conn)
    site = sites.code or ALL_SITES
    today, stocks, row = now.today(site), now.stocks(site), now.row(site)
    levels = [level_of(confidence) for confidence in SURE]

    def left(day: date) -> list[int]:
        return [max(promises.can_be_promised(stocks, n, day.toordinal()), 0) for n in levels]

    days = [today + timedelta(days=STEP_DAYS * n) for n in range(DRAWN)]
    by_day = [left(day) for day in days]
    asked_day = max(day_in("day", visit.query.day) or today, today)
    quantity = number_in("quantity", visit.query.quantity)
    earliest = None
    if quantity is not None:
        earliest = promises.earliest(stocks, level_of(0.8), quantity, today.toordinal())
    return Told(
        today=today,
        days=days,
        left=[[counts[n] for counts in by_day] for n in range(len(SURE))],
        adds_up=adds_up(visit, now, row, sites, asked_day),
        promised=row.promised,
        foretold=row.basis.foretold_at is not None,
        trees=row.basis.trees,
        asked_day=asked_day,
        asked_left=left(asked_day),
        quantity=quantity,
        earliest=earliest,
    )


def sentences(visit: Visit[SoldAsked], told: Told) -> list[str]:
    """The answer as somebody says it."""
    words, shown = visit.words, visit.shown
    surer, sure, even = (shown.number(n) for n in told.asked_left)
    day = shown.day(told.asked_day)
    if not told.foretold:
        said = [
            words.gettext(
                "Nothing is foretold of it: only what is ready now and not held can be promised, "
                "%(count)s.",
                count=sure,
            )
        ]
    else:
        said = [
            words.gettext("8 in 10 sure: %(count)s can be sold by %(day)s.", count=sure, day=day),
            words.gettext(
                "9 in 10 sure it is %(surer)s; as likely as not it is %(even)s.",
                surer=surer,
                even=even,
            ),
        ]
    if told.quantity is not None:
        said.append(_wanted(visit, told))
    return said


def _wanted(visit: Visit[SoldAsked], told: Told) -> str:
    words, shown = visit.words, visit.shown
    assert told.quantity is not None
    count = shown.number(told.quantity)
    if told.asked_left[1] >= told.quantity:
        return words.gettext("The %(count)s you ask for can be promised.", count=count)
    if told.earliest is None:
        return words.gettext("%(count)s are not in sight.", count=count)
    return words.gettext(
        "All %(count)s can be had by %(day)s.", count=count, day=shown.day(told.earliest)
    )


def _figure(visit: Visit[SoldAsked], told: Told, name: str) -> Figure:
    words, shown = visit.words, visit.shown
    bands = [
        Band(sure_words(visit, confidence), counts)
        for confidence, counts in zip(SURE, told.left, strict=True)
    ]
    return Figure(
        key="left",
        title=words.gettext("%(item)s: can still be sold by when", item=name),
        description=words.gettext(
            "What is promised already, %(promised)s, is taken off, and what is promised for later "
            "is kept back. It rests on %(trees)s trees that are ready or can still become it.",
            promised=shown.number(told.promised),
            trees=shown.number(told.trees),
        ),
        draw=lambda width, said: fan(
            width,
            said,
            hand_of(shown),
            told.days,
            bands,
            [],
            due_words="",
            short_words="",
        ),
        header=[words.gettext("By the end of"), *(band.words for band in bands)],
        rows=[(day, *(counts[n] for counts in told.left)) for n, day in enumerate(told.days)],
        file=f"can-be-sold-{told.today}",
        address="/can-be-sold/fan",
        query=again(visit.query),
    )


async def _asked(
    visit: Visit[SoldAsked],
) -> tuple[Sites, Names, tuple[str, str, str] | None, Told | None]:
    sites, item = await sites_of(visit, visit.query.site), item_of(visit.query)
    async with visit.services.reading() as conn:
        called = await names(conn)
        told = None if item is None else await _told(visit, conn, item, sites)
    return sites, called, item, told


async def _file(visit: Visit[SoldAsked]) -> Figure | None:
    _, called, item, told = await _asked(visit)
    if item is None or told is None:
        return None
    return _figure(visit, told, called.item(visit.words, *item))


@page("GET", "/can-be-sold", scope=READ, query=SoldAsked)
async def get_can_be_sold(visit: Visit[SoldAsked]) -> Reply:
    """How many can still be sold by when: of everything in a table, of one item in words."""
    sites, called, item, told = await _asked(visit)
    if item is None or told is None:
        return await _all(visit, sites, called)
    name = called.item(visit.words, *item)
    return visit.page(
        "can_be_sold_item.html",
        asked=visit.query,
        sites=sites,
        chosen=sites.chosen,
        name=name,
        told=told,
        said_words=sentences(visit, told),
        rows=[(told.days[n], [counts[n] for counts in told.left]) for n in WEEKS],
        sure=[sure_words(visit, confidence) for confidence in SURE],
        figure=_figure(visit, told, name),
        here=again(visit.query, quantity="", day=""),
    )


async def _all(visit: Visit[SoldAsked], sites: Sites, called: Names) -> Reply:
    """What is offered, as the log would decide now: kept in memory, so it costs nothing to ask."""
    try:
        found = await visit.services.availability.get()
    except UNREACHABLE as error:
        raise unreachable() from error
    cultivar = code_in("cultivar", visit.query.cultivar)
    seen = visit.principal.sites if visit.principal.site_list is not None else None
    offered = [
        row
        for row in found.rows.values()
        if visible(row, seen)
        and not row.item.grade
        and cultivar in (None, row.item.cultivar)
        and row.ever(row.today)
    ]
    rows = [row for row in offered if row.site == (sites.code or ALL_SITES)]
    if not rows and sites.code is None:
        # Who may not be told of all together is told each site's own.
        rows = [row for row in offered if row.site != ALL_SITES]
    rows.sort(key=lambda row: (called.of("cultivar", row.item.cultivar).casefold(), row.item))
    return visit.page(
        "can_be_sold.html",
        asked=visit.query,
        sites=sites,
        chosen=sites.chosen,
        cultivars=called.all_of("cultivar"),
        rows=[_offered(visit, called, row) for row in rows[:ROWS]],
        left_out=max(len(rows) - ROWS, 0),
        days=[sites.today + timedelta(days=n) for n in LATER],
        sure=visit.shown.in_ten(visit.services.settings.promise_confidence),
    )


def _offered(
    visit: Visit[SoldAsked], called: Names, row: Row
) -> tuple[str, str | None, list[int], str, bool]:
    """Name, address, how many by each of `LATER`, the site, and whether it is foretold."""
    item = row.item
    counts = [row.on(row.today + n) for n in LATER]
    if item.buds:
        name = called.of("cultivar", item.cultivar)
        said = visit.words.gettext("%(cultivar)s, buds", cultivar=name)
        return said, None, counts, row.site, row.foretold
    named = called.item(visit.words, item.cultivar, item.rootstock, item.size)
    one = SoldAsked(
        site=row.site or ALL, cultivar=item.cultivar, rootstock=item.rootstock, size=item.size
    )
    return named, f"/can-be-sold?{again(one)}", counts, row.site, row.foretold


HANDLERS: list[HTTPRouteHandler] = [
    get_can_be_sold,
    *files_of("/can-be-sold/fan", SoldAsked, _file),
]
