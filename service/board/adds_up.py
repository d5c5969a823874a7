"""How what can be sold of an item adds up with what is in stock, in sentences a clerk can read."""

from datetime import date
from typing import Any

from service.board.sites_asked import Sites
from service.board.visit import Visit
from service.forecast.answers.promise_rows import PromiseRow
from service.forecast.answers.promise_view import ItemNow
from service.trade.promising import ALL_SITES, due_by, level_of


def adds_up(visit: Visit[Any], now: ItemNow, row: PromiseRow, sites: Sites, day: date) -> list[str]:
    """What is ready and whose it is, what is reserved of it, what still grows and surely is ready
    by `day`. `row` is the API's answer of the same moment."""
    return [_ready(visit, now, row, sites), *_beside(visit, row), *_to_come(visit, now, row, day)]


def _ready(visit: Visit[Any], now: ItemNow, row: PromiseRow, sites: Sites) -> str:
    """All that is ready in stock, and its parts; together they are all."""
    gettext, number = visit.words.gettext, visit.shown.number
    site = sites.code or ALL_SITES
    every = now.ready_in_stock(site)
    free_of_holds = now.ready("", site, held=False) - row.ready_now
    customers = free_of_holds + now.ready("", site, held=True) - row.held_now
    apart = every - row.ready_now - row.held_now - customers
    parts = [gettext("%(count)s free for anybody", count=number(row.ready_now))]
    if row.held_now:
        parts.append(gettext("%(count)s held", count=number(row.held_now)))
    if customers:
        parts.append(gettext("%(count)s grown for customers", count=number(customers)))
    if apart:
        parts.append(gettext("%(count)s that came back and stand apart", count=number(apart)))
    said = gettext("Ready in stock: %(count)s.", count=number(every))
    return f"{said} {gettext('Of these:')} {'; '.join(parts)}." if every else said


def _beside(visit: Visit[Any], row: PromiseRow) -> list[str]:
    """What is on its way here, and what of all is promised."""
    ngettext = visit.words.ngettext
    said = []
    if row.on_the_way:
        said.append(
            ngettext(
                "%(num)s more, ready, is on the way here.",
                "%(num)s more, ready, are on the way here.",
                row.on_the_way,
            )
        )
    said.append(
        ngettext(
            "%(num)s tree is reserved, of these or of those to come.",
            "%(num)s trees are reserved, of these or of those to come.",
            row.promised,
        )
        if row.promised
        else visit.words.gettext("Nothing of it is reserved.")
    )
    return said


def _to_come(visit: Visit[Any], now: ItemNow, row: PromiseRow, day: date) -> list[str]:
    words, shown = visit.words, visit.shown
    said = [
        words.ngettext(
            "%(num)s tree of the cultivar on the rootstock still grows, in any size, for anybody.",
            "%(num)s trees of the cultivar on the rootstock still grow, in any size, for anybody.",
            row.growing,
        )
    ]
    if row.basis.foretold_at is not None:
        stock = now.stock("", row.site or ALL_SITES)
        there = stock.there(day.toordinal())[level_of(0.8)]
        said.append(
            words.gettext(
                "8 in 10 sure: %(count)s are ready and free by %(day)s; %(promised)s of them are "
                "reserved for then or earlier.",
                count=shown.number(max(there, 0)),
                promised=shown.number(due_by(stock.due, day.toordinal())),
                day=shown.day(day),
            )
        )
    return said
