"""Ready: when and how many, as a fan with what is promised drawn in, and the lots behind it."""

from collections.abc import Sequence
from datetime import date, timedelta
from functools import partial
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from litestar.handlers import HTTPRouteHandler

from service.api.operation import Reply
from service.board.adds_up import adds_up
from service.board.asking import Asked, Field, again, code_in
from service.board.charts import Band, Span, fan, spans
from service.board.charts.fan import first_short
from service.board.figures import Figure, files_of, hand_of
from service.board.names import Names, names
from service.board.page import page
from service.board.sites_asked import Sites, sites_of
from service.board.visit import Visit
from service.forecast.answers.counts_view import CountsQuery, ReadyCountRow, ready_counts
from service.forecast.answers.promise_rows import PromiseRow
from service.forecast.answers.promise_view import ItemNow, PromiseQuery
from service.forecast.answers.ready_view import ReadyDateRow, ReadyQuery, ready_dates
from service.log.rights import READ
from service.storage.pool import Connection
from service.trade.promising import ALL_SITES, STEP_DAYS, STEPS, level_of
from service.wording.words import Words

AHEAD = 53
"""Weeks that are drawn at least: a year."""
QUARTER = 13
"""Weeks ahead that are told in a sentence."""
SURE = (0.9, 0.8, 0.5)
LOTS = 30
ITEMS = 100


class ReadyAsked(Asked, frozen=True, kw_only=True):
    """Which item, at which site; without an item all of them."""

    site: Field = ""
    cultivar: Field = ""
    rootstock: Field = ""
    size: Field = ""


class Fan(NamedTuple):
    """How many of an item will be there, day by day, at each of `SURE`; and what is promised."""

    days: list[date]
    bands: list[list[int]]
    due: list[tuple[date, int]]
    foretold: bool
    trees: int
    made_on: date | None
    today: date
    adds_up: list[str]

    def short(self) -> tuple[date, int] | None:
        """When more is promised than is there with 8 in 10."""
        return first_short(self.days, self.bands[1], self.due)


def sure_words(visit: Visit[Any], confidence: float) -> str:
    """8 in 10 sure; as likely as not."""
    if confidence == 0.5:
        return visit.words.gettext("as likely as not")
    return visit.words.gettext("%(part)s sure", part=visit.shown.in_ten(confidence))


def item_of(asked: ReadyAsked) -> tuple[str, str, str] | None:
    """The item of the address; None where it is not named whole."""
    parts = [
        code_in(name, text)
        for name, text in (
            ("cultivar", asked.cultivar),
            ("rootstock", asked.rootstock),
            ("size", asked.size),
        )
    ]
    if None in parts:
        return None
    return parts[0] or "", parts[1] or "", parts[2] or ""


async def fan_of(
    visit: Visit[ReadyAsked], conn: Connection, item: tuple[str, str, str], sites: Sites
) -> Fan:
    """The fan of an item at the site, or at all together for who sees them all."""
    cultivar, rootstock, size = item
    query = PromiseQuery(
        cultivar=cultivar, rootstock=rootstock, size=size, site=sites.code, confidence=0.8
    )
    now = ItemNow(query, visit.principal.site_list, visit.now)
    await now.load(conn)
    site = sites.code or ALL_SITES
    own, today = now.stock("", site), now.today(site)
    days = [today + timedelta(days=STEP_DAYS * n) for n in range(STEPS)]
    told = now.row(site)
    by_day = [own.there(day.toordinal()) for day in _told_apart(days, now, told)]
    # Where nothing is foretold it is the same on every day.
    by_day += by_day[-1:] * (len(days) - len(by_day))
    levels = [level_of(confidence) for confidence in SURE]
    there = [[max(counts[level], 0) for counts in by_day] for level in levels]
    last, made_at = _worth_drawing(there), told.basis.foretold_at
    promised = 0
    due = []
    for one in sorted(own.due):
        promised += one.quantity
        due.append((max(date.fromordinal(one.day), today), promised))
    return Fan(
        days=days[:last],
        bands=[counts[:last] for counts in there],
        due=due,
        foretold=made_at is not None,
        trees=told.basis.trees,
        made_on=made_at.astimezone(ZoneInfo(sites.zone)).date() if made_at else None,
        today=today,
        adds_up=adds_up(visit, now, told, sites, days[QUARTER]),
    )


def _told_apart(days: list[date], now: ItemNow, told: PromiseRow) -> list[date]:
    """The days that must be asked about one by one: all, where something is said of them."""
    return days if told.basis.foretold_at is not None or now.rulings else days[:1]


def _worth_drawing(there: Sequence[Sequence[int]]) -> int:
    """How many of the days: a year, or more where something changes after it."""
    last = AHEAD
    for counts in there:
        for n in range(AHEAD, len(counts)):
            if counts[n] != counts[n - 1]:
                last = max(last, n + 1)
    return min(last, STEPS)


def fan_figure(visit: Visit[ReadyAsked], found: Fan, name: str) -> Figure:
    """The fan as a chart."""
    words, shown = visit.words, visit.shown
    bands = [
        Band(sure_words(visit, confidence), counts)
        for confidence, counts in zip(SURE, found.bands, strict=True)
    ]
    short = found.short()
    short_words = ""
    if short is not None:
        short_words = words.gettext("short from %(day)s", day=shown.short_day(short[0]))
    due_words = words.gettext("promised so far")
    return Figure(
        key="fan",
        title=words.gettext("%(item)s: ready by when", item=name),
        description=_said(visit, found, short),
        draw=lambda width, said: fan(
            width,
            said,
            hand_of(shown),
            found.days,
            bands,
            found.due,
            due_words=due_words,
            short_words=short_words,
        ),
        header=[words.gettext("By the end of"), *(band.words for band in bands), due_words],
        rows=[
            (day, *(counts[n] for counts in found.bands), _due_by(found.due, day))
            for n, day in enumerate(found.days)
        ],
        file=f"ready-{found.today}",
        address="/ready/fan",
        query=again(visit.query),
    )


def _due_by(due: Sequence[tuple[date, int]], day: date) -> int:
    return max((n for since, n in due if since <= day), default=0)


def _said(visit: Visit[ReadyAsked], found: Fan, short: tuple[date, int] | None) -> str:
    words, shown = visit.words, visit.shown
    if not found.foretold:
        said = words.gettext(
            "Nothing is foretold of it: these are what is ready now and not held, %(count)s.",
            count=shown.number(found.bands[1][0]),
        )
    else:
        day = found.days[min(QUARTER, len(found.days) - 1)]
        n = found.days.index(day)
        said = words.gettext(
            "By %(day)s at least %(sure)s are ready, 8 in 10 sure; as likely as not %(even)s. "
            "It rests on %(trees)s trees that are ready or can still become it.",
            day=shown.day(day),
            sure=shown.number(found.bands[1][n]),
            even=shown.number(found.bands[2][n]),
            trees=shown.number(found.trees),
        )
    if short is not None:
        said += " " + words.gettext(
            "From %(day)s on more is promised than is there, 8 in 10 sure: %(count)s too many.",
            day=shown.day(short[0]),
            count=shown.number(short[1]),
        )
    return said


def when_words(visit: Visit[ReadyAsked], row: ReadyDateRow) -> str:
    """When half of a lot is ready, in words."""
    words, shown = visit.words, visit.shown
    if row.p80 is None and row.p50 is None:
        return words.gettext("it cannot be told yet")
    if row.p80 is not None and row.p80 < row.as_of:
        return words.gettext("half are ready by now, 8 in 10 sure: they wait to be graded")
    if row.p80 is None:
        assert row.p50 is not None
        return words.gettext("as likely as not half by %(day)s", day=shown.day(row.p50))
    return words.gettext("half by %(day)s, 8 in 10 sure", day=shown.day(row.p80))


def lots_figure(
    visit: Visit[ReadyAsked], rows: Sequence[ReadyDateRow], today: date
) -> Figure | None:
    """When half of each lot is ready, as ranges. None where it can't be told of any."""
    words, shown = visit.words, visit.shown
    told = [row for row in rows if row.p20 is not None]
    if not told:
        return None
    drawn = [
        Span(
            row.lot,
            words.ngettext("%(num)s tree", "%(num)s trees", row.trees),
            row.p20 or today,
            row.p50,
            row.p80,
        )
        for row in told
    ]
    return Figure(
        key="lots",
        title=words.gettext("When half of each lot is ready"),
        description=words.gettext(
            "From the day that is 2 in 10 sure to the one that is 8 in 10 sure; the mark between "
            "is as likely before as after. %(count)s lots.",
            count=len(told),
        ),
        draw=lambda width, said: spans(
            width, said, hand_of(shown), drawn, today, today_words=words.gettext("today")
        ),
        header=[
            words.gettext("Lot"),
            words.gettext("Trees"),
            words.gettext("2 in 10 sure"),
            words.gettext("as likely as not"),
            words.gettext("8 in 10 sure"),
            words.gettext("Learned from trees"),
            words.gettext("in lots"),
        ],
        rows=[
            (r.lot, r.trees, r.p20, r.p50, r.p80, r.based_on_trees, r.based_on_lots) for r in told
        ],
        file=f"ready-lots-{today}",
        address="/ready/lots",
        query=again(visit.query),
    )


async def _lots(
    visit: Visit[ReadyAsked], item: tuple[str, str, str], sites: Sites
) -> list[ReadyDateRow]:
    cultivar, rootstock, size = item
    query = ReadyQuery(
        site=sites.code, cultivar=cultivar, rootstock=rootstock, size=size, limit=LOTS
    )
    services = visit.services
    found = await ready_dates(
        services.database.reader, query, visit.principal.site_list, clock=services.clock
    )
    return found.rows


async def _fan_file(visit: Visit[ReadyAsked]) -> Figure | None:
    item = item_of(visit.query)
    if item is None:
        return None
    sites = await sites_of(visit, visit.query.site)
    async with visit.services.reading() as conn:
        called = await names(conn)
        found = await fan_of(visit, conn, item, sites)
    return fan_figure(visit, found, called.item(visit.words, *item))


async def _lots_file(visit: Visit[ReadyAsked]) -> Figure | None:
    item = item_of(visit.query)
    if item is None:
        return None
    sites = await sites_of(visit, visit.query.site)
    return lots_figure(visit, await _lots(visit, item, sites), sites.today)


@page("GET", "/ready", scope=READ, query=ReadyAsked)
async def get_ready(visit: Visit[ReadyAsked]) -> Reply:
    """When and how many are ready: of all items in a table, of one as a fan with its lots."""
    sites = await sites_of(visit, visit.query.site)
    item = item_of(visit.query)
    async with visit.services.reading() as conn:
        called = await names(conn)
        found = None if item is None else await fan_of(visit, conn, item, sites)
    if item is None or found is None:
        return await _all(visit, sites, called)
    lots = await _lots(visit, item, sites)
    return visit.page(
        "ready_item.html",
        asked=visit.query,
        sites=sites,
        chosen=sites.chosen,
        name=called.item(visit.words, *item),
        found=found,
        figure=fan_figure(visit, found, called.item(visit.words, *item)),
        lots=lots,
        lots_figure=lots_figure(visit, lots, found.today),
        when=partial(when_words, visit),
        here=again(visit.query),
    )


async def _all(visit: Visit[ReadyAsked], sites: Sites, called: Names) -> Reply:
    """Each item with how many are ready, a quarter apart, 8 in 10 sure."""
    services = visit.services
    query = CountsQuery(
        site=sites.code,
        cultivar=code_in("cultivar", visit.query.cultivar),
        grade="",
        weeks=13,
        limit=1000 if sites.code is None else ITEMS,
    )
    answer = await ready_counts(
        services.database.reader, query, visit.principal.site_list, clock=services.clock
    )
    rows = [row for row in answer.rows if row.site == sites.code] or answer.rows
    rows = [row for row in rows if any(one.sure_5_in_10 for one in row.counts)]
    return visit.page(
        "ready.html",
        asked=visit.query,
        sites=sites,
        chosen=sites.chosen,
        rows=rows[:ITEMS],
        left_out=len(rows) > ITEMS or answer.next_after is not None,
        days=[one.day for one in rows[0].counts][:5] if rows else [],
        cultivars=called.all_of("cultivar"),
        item_name=partial(_item_name, called, visit.words),
        href=lambda row: "/ready?" + _asked_of(row, sites.chosen),
        made=max((row.made_at for row in rows), default=None),
    )


def _item_name(called: Names, words: Words, row: ReadyCountRow) -> str:
    return called.item(words, row.cultivar, row.rootstock, row.size)


def _asked_of(row: ReadyCountRow, chosen: str) -> str:
    site = chosen if row.site is None else row.site
    one = ReadyAsked(site=site, cultivar=row.cultivar, rootstock=row.rootstock, size=row.size)
    return again(one)


HANDLERS: list[HTTPRouteHandler] = [
    get_ready,
    *files_of("/ready/fan", ReadyAsked, _fan_file),
    *files_of("/ready/lots", ReadyAsked, _lots_file),
]
