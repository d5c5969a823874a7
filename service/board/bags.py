"""Bags: buds left, their age, and by when they should be used."""

from collections.abc import Sequence
from datetime import date, timedelta
from functools import partial
from typing import NamedTuple

from litestar.handlers import HTTPRouteHandler

from service.api.operation import Reply
from service.board.asking import Asked, Field, again, code_in
from service.board.charts import Bar, bars
from service.board.figures import Figure, files_of, hand_of
from service.board.names import Names, names
from service.board.page import page
from service.board.sites_asked import Sites, sites_of
from service.board.visit import Visit
from service.log.rights import READ
from service.views.budwood import BudwoodQuery, BudwoodRow, budwood_on_hand

ROWS = 120
# So many are added up for the chart: more bags than a nursery keeps cool.
MOST = 5000


class BagsAsked(Asked, frozen=True, kw_only=True):
    """Which bags."""

    site: Field = ""
    cultivar: Field = ""


class Week(NamedTuple):
    """Bags whose day lies in it; `until` None: without a day, or later."""

    words: str
    buds: int
    bags: int
    past: bool


async def _rows(visit: Visit[BagsAsked], sites: Sites) -> list[BudwoodRow]:
    services = visit.services
    query = BudwoodQuery(
        site=sites.code, cultivar=code_in("cultivar", visit.query.cultivar), limit=MOST
    )
    found = await budwood_on_hand(
        services.database.reader, query, visit.principal.site_list, clock=services.clock
    )
    return found.rows


def by_week(visit: Visit[BagsAsked], rows: Sequence[BudwoodRow], today: date) -> list[Week]:
    """Buds by the time that is left to use them."""
    words = visit.words
    groups: list[tuple[str, list[BudwoodRow], bool]] = [
        (words.gettext("past their day"), [row for row in rows if row.past_use_by], True)
    ]
    left = [row for row in rows if not row.past_use_by and row.use_by is not None]
    names_ = (
        words.gettext("to use within 7 days"),
        words.gettext("within 8 to 14 days"),
        words.gettext("within 15 to 28 days"),
        words.gettext("later"),
    )
    for name, (first, last) in zip(names_, ((0, 7), (8, 14), (15, 28), (29, 10**5)), strict=True):
        begin, end = today + timedelta(days=first), today + timedelta(days=min(last, 36500))
        groups.append((name, [r for r in left if r.use_by and begin <= r.use_by <= end], False))
    unknown = [row for row in rows if row.use_by is None]
    groups.append((words.gettext("keeping time not known"), unknown, False))
    return [
        Week(name, sum(row.buds for row in found), len({row.bag for row in found}), past)
        for name, found, past in groups
        if found
    ]


def bags_figure(
    visit: Visit[BagsAsked], rows: Sequence[BudwoodRow], called: Names, sites: Sites
) -> Figure | None:
    """Buds by the time that is left. None where there are none."""
    if not rows:
        return None
    words, shown = visit.words, visit.shown
    weeks = by_week(visit, rows, sites.today)
    buds = sum(row.buds for row in rows)
    late = sum(week.buds for week in weeks if week.past)
    return Figure(
        key="keeping",
        title=words.gettext("Buds by the time that is left to use them"),
        description=words.gettext(
            "%(buds)s buds in %(bags)s bags; %(late)s of them are past their day.",
            buds=shown.number(buds),
            bags=shown.number(len({row.bag for row in rows})),
            late=shown.number(late),
        ),
        draw=lambda width, said: bars(
            width,
            said,
            hand_of(shown),
            [
                Bar(
                    week.words,
                    words.ngettext("%(num)s bag", "%(num)s bags", week.bags),
                    week.buds,
                    week.past,
                )
                for week in weeks
            ],
        ),
        header=[
            words.gettext("Bag"),
            words.gettext("Cultivar"),
            words.gettext("Site"),
            words.gettext("Place"),
            words.gettext("Buds left"),
            words.gettext("Age in days"),
            words.gettext("Use by"),
            words.gettext("Past its day"),
        ],
        rows=[
            (
                row.bag,
                called.of("cultivar", row.cultivar),
                row.site,
                row.place,
                row.buds,
                row.age_days,
                row.use_by,
                words.gettext("yes") if row.past_use_by else words.gettext("no"),
            )
            for row in rows
        ],
        file=f"bags-{sites.today}",
        address="/bags/chart",
        query=again(visit.query),
    )


async def _file(visit: Visit[BagsAsked]) -> Figure | None:
    sites = await sites_of(visit, visit.query.site)
    async with visit.services.reading() as conn:
        called = await names(conn)
    return bags_figure(visit, await _rows(visit, sites), called, sites)


@page("GET", "/bags", scope=READ, query=BagsAsked)
async def get_bags(visit: Visit[BagsAsked]) -> Reply:
    """The bags, first the one to be used next."""
    sites = await sites_of(visit, visit.query.site)
    async with visit.services.reading() as conn:
        called = await names(conn)
    rows = await _rows(visit, sites)
    figure = bags_figure(visit, rows, called, sites)
    return visit.page(
        "bags.html",
        asked=visit.query,
        sites=sites,
        chosen=sites.chosen,
        cultivars=called.all_of("cultivar"),
        rows=rows[:ROWS],
        left_out=max(len(rows) - ROWS, 0),
        figure=None if figure is None else figure._replace(rows=[]),
        state=partial(state_of, sites.today),
        cultivar_name=partial(called.of, "cultivar"),
    )


def state_of(today: date, row: BudwoodRow) -> str:
    """late, due (within a week), else ahead."""
    if row.past_use_by:
        return "late"
    if row.use_by is not None and row.use_by - today <= timedelta(days=7):
        return "due"
    return "ahead"


HANDLERS: list[HTTPRouteHandler] = [get_bags, *files_of("/bags/chart", BagsAsked, _file)]
