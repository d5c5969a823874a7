"""A bag of budwood: what is left in it, how old it is, and what is done with it at the bench."""

from functools import partial
from typing import Any, NamedTuple

from litestar.handlers import HTTPRouteHandler

from service.api.operation import Reply
from service.api.problems import not_found
from service.board.bench_page import at_bench
from service.board.entries import Entry, events_of, record_form
from service.board.page import page
from service.board.recording import at_bag
from service.board.recording.at_table import Asked, Maker
from service.board.recording.fields import Amiss, Fields
from service.board.recording.refusals import Reason
from service.board.sent_form import sent_form
from service.board.table import TableQuery
from service.board.there import SQL, by_whom, holds_on, recent
from service.board.undo import undoable
from service.board.visit import SiteSeen, Visit
from service.log import read
from service.log.rights import EVENTS, READ
from service.views.budwood import BudwoodQuery, budwood_on_hand
from service.wording.words import phrase


class BagForm(NamedTuple):
    """A form of a bag."""

    title: str
    maker: Maker


FORMS = {
    "discard": BagForm(phrase("throw buds away"), at_bag.discard),
    "move": BagForm(phrase("move the bag"), at_bag.carry),
    "stock-count": BagForm(phrase("count the buds"), at_bag.count_buds),
}


@page("GET", "/bag/{code:str}", scope=READ, query=TableQuery)
async def get_bag(visit: Visit[TableQuery]) -> Reply:
    """What is left in the bag, and its forms."""
    return await _show(visit, visit.code(), None, {}, done=visit.query.done)


@page("POST", "/bag/{code:str}/{form:str}", scope=EVENTS)
async def post_bag(visit: Visit[Any]) -> Reply:
    """Record what the form tells of the bag."""
    return await record_at_bag(visit, str(visit.request.path_params["form"]), visit.code())


async def record_at_bag(visit: Visit[Any], name: str, code: str) -> Reply:
    """Record the form `name` of the bag `code`."""
    form = FORMS.get(name)
    if form is None:
        raise not_found("This form")
    _, site = await _bag(visit, code, (await visit.form())["site"])

    async def told(fields: Fields) -> Entry:
        events = events_of(form.maker, fields, Asked(code, visit.principal.name), site)
        what = visit.words.gettext(form.title)
        said = visit.words.gettext("Recorded of bag %(code)s: %(what)s.", code=code, what=what)
        return Entry(events, said, f"/bag/{code}")

    return await record_form(visit, told, partial(_show, visit, code, name))


async def _bag(
    visit: Visit[Any], code: str, site: str | None = None
) -> tuple[dict[str, Any], SiteSeen]:
    """The bag with where it lies, and the site that it is told of at: where it lies, or lay.

    Raises 404 for a bag that the visitor does not see.
    """
    async with visit.services.reading() as connection:
        sites = visit.principal.site_list
        row = await connection.fetchrow(SQL.bag, code)
        if row is None or await read.unknown_codes(connection, sites, {"bag": code}):
            raise not_found(f"A bag {code}")
        lies = [dict(one) for one in await connection.fetch(SQL.bag_lies, code, row["lot"])]
        await visit.sites(connection)
        here = await visit.site(site or (lies[0]["site"] if lies else None))
        found = dict(row) | {
            "lies": lies,
            "left": sum(one["count"] for one in lies),
            "holds": await holds_on(connection, [row["lot"]], [code], here, None),
            "recent": await recent(connection, "bag", code),
        }
        await visit.call_people(by_whom(found["recent"]), connection)
    return found, here


async def _show(
    visit: Visit[Any],
    code: str,
    form: str | None,
    values: dict[str, str],
    *,
    done: str | None = None,
    amiss: Amiss | None = None,
    reasons: list[Reason] | None = None,
    status: int = 200,
) -> Reply:
    bag, site = await _bag(visit, code)
    aged = await budwood_on_hand(
        visit.services.database.reader,
        BudwoodQuery(bag=code, limit=1),
        visit.principal.site_list,
        clock=visit.services.clock,
    )
    async with visit.services.reading() as connection:
        tables = await connection.fetch(SQL.tables, site.code)
        seen = int(await connection.fetchval(SQL.known_at))
    return visit.page(
        "bag.html",
        status=status,
        bag=bag,
        site=site,
        aged=aged.rows[0] if aged.rows else None,
        tables=tables,
        seen=seen,
        forms=FORMS,
        open_form=form,
        sent=sent_form(values, visit.words, amiss=amiss, reasons=reasons),
        undo=await undoable(visit, done),
        may_record=visit.principal.may(EVENTS),
        **at_bench(visit, site),
    )


HANDLERS: list[HTTPRouteHandler] = [get_bag, post_bag]
