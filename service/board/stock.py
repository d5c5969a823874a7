"""Stock: what is on hand by site, item and stage, on any day, as known on any day; and its lots."""

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from functools import partial
from typing import NamedTuple

from litestar.handlers import HTTPRouteHandler

from service.api.operation import Reply
from service.api.problems import bad_parameter
from service.board.asking import UNKNOWN, Asked, Field, again, code_in, day_in, end_of
from service.board.charts import Line, steps
from service.board.figures import Figure, files_of, hand_of, table_file
from service.board.names import Names, names
from service.board.page import page
from service.board.sites_asked import Sites, sites_of
from service.board.visit import Visit
from service.log.rights import READ
from service.views import clocks
from service.views.clocks import ClockError
from service.views.stock import StockAnswer, StockQuery, StockRow, stock
from service.views.stock_by_day import StockByDayQuery, stock_by_day
from service.wording.trade_words import KINDS, STAGES, named
from service.wording.words import Words, phrase

STAGE_ORDER = ("grafted", "pushed", "ready", "failed")
SHOWN_ROWS = 150
"""More rows than anybody reads on a telephone; the file holds them all."""
BACK = timedelta(days=365)
COLUMNS = (
    phrase("Site"),
    phrase("Kind"),
    phrase("Cultivar"),
    phrase("Rootstock"),
    phrase("Size"),
    phrase("Stage"),
    phrase("Quantity"),
)


class StockAsked(Asked, frozen=True, kw_only=True):
    """Which stock, on which day, as known on which day."""

    site: Field = ""
    cultivar: Field = ""
    rootstock: Field = ""
    size: Field = ""
    stage: Field = ""
    kind: Field = ""
    day: Field = ""
    known: Field = ""


class Item(NamedTuple):
    """A row of the page: one item at one site, by stage."""

    site: str
    name: str
    cultivar: str
    rootstock: str
    size: str
    stages: dict[str, int]

    @property
    def alive(self) -> int:
        """All but those of dead scion."""
        return sum(n for stage, n in self.stages.items() if stage != "failed")


class Shelf(NamedTuple):
    """What the page shows: trees by item and stage, and single numbers of all else."""

    trees: list[Item]
    others: list[tuple[StockRow, str]]
    totals: dict[str, int]
    answer: StockAnswer


class Days(NamedTuple):
    """The days of the address; None: today, and as known now."""

    day: date | None
    known: date | None

    def clocks(self, sites: Sites) -> clocks.Asked:
        """As both clocks read them. A day of knowing is known by its end, at the site."""
        known_at: datetime | None = None
        if self.known is not None and self.known < sites.today:
            known_at = end_of(self.known, sites.zone)
        return clocks.Asked(as_of=None if self.day == sites.today else self.day, known_at=known_at)


def days_of(asked: StockAsked) -> Days:
    """Raises 422 for what is no day."""
    return Days(day_in("day", asked.day), day_in("known", asked.known))


def _query(visit: Visit[StockAsked], sites: Sites, at: clocks.Asked, *groups: str) -> StockQuery:
    asked = visit.query
    return StockQuery(
        group_by=groups,
        site=sites.code,
        cultivar=_known("cultivar", asked.cultivar),
        rootstock=_known("rootstock", asked.rootstock),
        size=_known("size", asked.size),
        stage=asked.stage if asked.stage in STAGE_ORDER else None,
        kind=asked.kind if asked.kind in ("bag", "liners", "trees", "transit") else None,
        asked=at,
    )


def _known(name: str, text: str) -> str | None:
    return None if text == UNKNOWN else code_in(name, text)


async def _answer(visit: Visit[StockAsked], query: StockQuery) -> StockAnswer:
    services = visit.services
    try:
        return await stock(
            services.database.reader, query, visit.principal.site_list, clock=services.clock
        )
    except ClockError as error:
        name = {"as_of": "day", "known_at": "known"}.get(error.clock, error.clock)
        raise bad_parameter(name, str(error), error.kind) from error


async def _shelf(visit: Visit[StockAsked], sites: Sites, called: Names) -> Shelf:
    at = days_of(visit.query).clocks(sites)
    groups = ("site", "cultivar", "rootstock", "size", "stage")
    answer = await _answer(visit, _query(visit, sites, at, *groups))
    return shelf(answer, called, visit)


def shelf(answer: StockAnswer, called: Names, visit: Visit[StockAsked]) -> Shelf:
    """The answer's rows put into a page's order."""
    found: dict[tuple[str, str, str, str], dict[str, int]] = {}
    others = []
    totals: dict[str, int] = {}
    for row in answer.rows:
        if row.kind != "trees":
            others.append((row, _thing(row, called, visit)))
            totals[row.kind] = totals.get(row.kind, 0) + row.quantity
            continue
        key = (row.site or "", row.cultivar or "", row.rootstock or "", row.size or "")
        stage = row.stage or ""
        counts = found.setdefault(key, {})
        counts[stage] = counts.get(stage, 0) + row.quantity
        totals[stage] = totals.get(stage, 0) + row.quantity
    words = visit.words
    trees = [
        Item(key[0], called.item(words, key[1], key[2], key[3]), *key[1:], counts)
        for key, counts in found.items()
    ]
    trees.sort(key=lambda one: (one.site, one.name.casefold()))
    others.sort(key=lambda pair: (pair[0].kind, pair[0].site or "", pair[1].casefold()))
    return Shelf(trees, others, totals, answer)


def _thing(row: StockRow, called: Names, visit: Visit[StockAsked]) -> str:
    """What a row that is not of trees in a place holds."""
    if row.kind == "liners":
        return f"{called.of('rootstock', row.rootstock)}, {called.of('size', row.size)}"
    if row.kind == "bag" or row.commodity == "buds":
        return called.of("cultivar", row.cultivar) or visit.words.gettext("unknown")
    return called.item(visit.words, row.cultivar, row.rootstock, row.size)


async def _figure(visit: Visit[StockAsked]) -> Figure | None:
    return await history_figure(visit, await sites_of(visit, visit.query.site))


async def history_figure(visit: Visit[StockAsked], sites: Sites) -> Figure | None:
    """How the trees went over the year up to the day, by stage. None when there were none."""
    asked, words, shown = visit.query, visit.words, visit.shown
    last = min(days_of(asked).day or sites.today, sites.today)
    query = StockByDayQuery(
        first=last - BACK,
        last=last,
        group_by=("stage",),
        site=sites.code,
        cultivar=code_in("cultivar", asked.cultivar),
        rootstock=code_in("rootstock", asked.rootstock),
        size=code_in("size", asked.size),
        kind="trees",
    )
    pool, seen = visit.services.database.reader, visit.principal.site_list
    answer = await stock_by_day(pool, query, seen)
    by_stage: dict[str, list[tuple[date, int]]] = {}
    for row in answer.rows:
        by_stage.setdefault(row.stage or "", []).append((row.day, row.quantity))
    if not by_stage:
        return None
    stages = [stage for stage in STAGE_ORDER if stage in by_stage]
    lines = [Line(named(words, stage, STAGES), by_stage[stage]) for stage in stages]
    newest = ", ".join(f"{one.words} {shown.number(one.points[-1][1])}" for one in lines)
    return Figure(
        key="year",
        title=words.gettext("Trees by stage, day by day"),
        description=words.gettext(
            "From %(first)s to %(last)s, as known now. On the last day: %(newest)s.",
            first=shown.day(query.first),
            last=shown.day(last),
            newest=newest,
        ),
        draw=lambda width, said: steps(width, said, hand_of(shown), query.first, last, lines),
        header=[words.gettext("Day"), words.gettext("Stage"), words.gettext("Trees")],
        rows=[(row.day, named(words, row.stage, STAGES), row.quantity) for row in answer.rows],
        file=f"stock-by-day-{last}",
        address="/stock/by-day",
        query=again(asked),
        newest_last=True,
    )


def kind_word(words: Words, kind: str) -> str:
    """What a kind of account holds."""
    return words.gettext("on the way") if kind == "transit" else named(words, kind, KINDS)


@page("GET", "/stock", scope=READ, query=StockAsked)
async def get_stock(visit: Visit[StockAsked]) -> Reply:
    """What is on hand."""
    async with visit.services.reading() as conn:
        await visit.sites(conn)
        called = await names(conn)
    sites = await sites_of(visit, visit.query.site)
    found = await _shelf(visit, sites, called)
    figure = await history_figure(visit, sites)
    asked = visit.query
    return visit.page(
        "stock.html",
        asked=asked,
        sites=sites,
        chosen=sites.chosen,
        cultivars=called.all_of("cultivar"),
        found=found,
        rows=found.trees[:SHOWN_ROWS],
        others=found.others[:SHOWN_ROWS],
        stages=STAGE_ORDER,
        figure=figure,
        days=days_of(asked),
        lots_of=lambda **given: f"/stock/lots?{again(asked, **given)}",
        here=again(asked),
        stage_word=partial(named, visit.words, table=STAGES),
        kind_word=partial(kind_word, visit.words),
    )


@page("GET", "/stock/lots", scope=READ, query=StockAsked)
async def get_lots(visit: Visit[StockAsked]) -> Reply:
    """The lots behind a number, place by place."""
    async with visit.services.reading() as conn:
        await visit.sites(conn)
        called = await names(conn)
    sites = await sites_of(visit, visit.query.site)
    rows = await _lots(visit, sites)
    asked = visit.query
    return visit.page(
        "stock_lots.html",
        asked=asked,
        sites=sites,
        rows=rows[:SHOWN_ROWS],
        left_out=max(len(rows) - SHOWN_ROWS, 0),
        total=sum(row.quantity for row in rows),
        name=_asked_name(visit, called),
        back=again(
            asked,
            cultivar="",
            rootstock="",
            size="",
            stage="",
            kind="",
        ),
        stage=named(visit.words, asked.stage, STAGES),
        stage_word=partial(named, visit.words, table=STAGES),
        days=days_of(asked),
    )


def _asked_name(visit: Visit[StockAsked], called: Names) -> str:
    """What is asked about, as far as it is named."""
    asked = visit.query
    cultivar, rootstock, size = (
        None if code == UNKNOWN else code for code in (asked.cultivar, asked.rootstock, asked.size)
    )
    if asked.kind == "liners":
        return called.of("rootstock", rootstock)
    if asked.kind == "bag":
        return called.of("cultivar", cultivar)
    if asked.cultivar and asked.rootstock:
        return called.item(visit.words, cultivar, rootstock, size)
    return called.of("cultivar", cultivar) or called.of("rootstock", rootstock)


async def _lots(visit: Visit[StockAsked], sites: Sites) -> list[StockRow]:
    """The rows behind a number; what the books do not know is looked for here."""
    at, asked = days_of(visit.query).clocks(sites), visit.query
    groups = ("site", "place", "lot", "stage", "size", "grade", "cultivar", "rootstock")
    answer = await _answer(visit, _query(visit, sites, at, *groups))
    return [
        row
        for row in answer.rows
        if (asked.cultivar != UNKNOWN or not row.cultivar)
        and (asked.rootstock != UNKNOWN or not row.rootstock)
        and (asked.size != UNKNOWN or not row.size)
    ]


@page("GET", "/stock.csv", scope=READ, query=StockAsked)
async def get_stock_file(visit: Visit[StockAsked]) -> Reply:
    """All that is on hand, as a file."""
    async with visit.services.reading() as conn:
        await visit.sites(conn)
        called = await names(conn)
    sites = await sites_of(visit, visit.query.site)
    found = await _shelf(visit, sites, called)
    day = days_of(visit.query).day or sites.today
    header = [visit.words.gettext(one) for one in COLUMNS]
    return table_file(f"stock-{day}", header, _file_rows(found.answer.rows, visit))


def _file_rows(rows: Iterable[StockRow], visit: Visit[StockAsked]) -> Iterable[list[object]]:
    for row in rows:
        kind, stage = kind_word(visit.words, row.kind), named(visit.words, row.stage, STAGES)
        yield [row.site, kind, row.cultivar, row.rootstock, row.size, stage, row.quantity]


HANDLERS: list[HTTPRouteHandler] = [
    get_stock,
    get_lots,
    get_stock_file,
    *files_of("/stock/by-day", StockAsked, _figure),
]
