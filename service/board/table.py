"""A table: what stands there, what is due, and the forms that record what is done there."""

from functools import partial
from typing import Annotated, Any
from urllib.parse import urlencode

import msgspec
from litestar.handlers import HTTPRouteHandler
from msgspec import Meta

from service.api.operation import Reply
from service.api.problems import not_found
from service.board import table_forms
from service.board.bench_page import at_bench
from service.board.entries import Entry, events_of, record_form
from service.board.graft_form import kept_for_next, to_graft
from service.board.happenings.other import WORK
from service.board.names import names
from service.board.page import page
from service.board.recording.at_table import Asked
from service.board.recording.fields import Amiss, Fields
from service.board.recording.refusals import Reason
from service.board.table_forms import FORM_OF_CHECK, FORMS, TableForm, filled, forms_for
from service.board.there import SQL, HoldSeen, LotSeen, There, checks_at, there
from service.board.undo import undoable
from service.board.visit import Visit
from service.log.rights import EVENTS, READ
from service.views.at_place import AtPlace
from service.wording.trade_words import METHODS, counted, named

Value = Annotated[str, Meta(max_length=200)]


class TableQuery(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """`done`: the entry just recorded, which can be undone."""

    done: Value | None = None


class FormQuery(TableQuery, frozen=True, kw_only=True):
    """What a link to a form chooses beforehand: a row, or a lot with stage, size and grade."""

    row: Value | None = None
    lot: Value | None = None
    stage: Value | None = None
    size: Value | None = None
    grade: Value | None = None
    count: Value | None = None
    to: Value | None = None
    bag: Value | None = None
    onto: Value | None = None
    liners: Value | None = None
    method: Value | None = None
    work_order: Value | None = None
    grafter: Value | None = None
    work: Value | None = None


@page("GET", "/table/{code:str}", scope=READ, query=TableQuery)
async def get_table(visit: Visit[TableQuery]) -> Reply:
    """What stands at a table, what is due, what was done, and every form."""
    seen = await there(visit, visit.code())
    due = await checks_at(visit, place=seen.place.code)
    cards = lots_of(seen, visit)
    return visit.page(
        "table.html",
        there=seen,
        due=due,
        forms=FORMS,
        undo=await undoable(visit, visit.query.done),
        may_record=visit.principal.may(EVENTS),
        lots=cards[:MOST_CARDS],
        more_lots=cards[MOST_CARDS:],
        bags=[row for row in seen.rows if row.kind == "bag"],
        form_of=FORM_OF_CHECK.get,
        **at_bench(visit, seen.site),
    )


@page("GET", "/table/{code:str}/{form:str}", scope=EVENTS, query=FormQuery)
async def get_form(visit: Visit[FormQuery]) -> Reply:
    """A form, with what the link chose filled in."""
    asked = msgspec.structs.asdict(visit.query)
    values = {name: value for name, value in asked.items() if value and name != "done"}
    return await _show(visit, _form(visit), await there(visit, visit.code()), values)


@page("POST", "/table/{code:str}/{form:str}", scope=EVENTS)
async def post_form(visit: Visit[Any]) -> Reply:
    """Record what the form tells; refused, it comes back with all that was typed."""
    return await record_at_table(visit, _form(visit), visit.code())


async def record_at_table(visit: Visit[Any], form: TableForm, code: str) -> Reply:
    """Record a form of the table `code`."""
    seen = await there(visit, code)

    async def told(fields: Fields) -> Entry:
        asked = Asked(seen.place.code, visit.principal.name)
        events = events_of(form.maker, fields, asked, seen.site)
        what = visit.words.gettext(form.title)
        said = visit.words.gettext("Recorded at %(place)s: %(what)s.", place=code, what=what)
        back = f"/table/{code}"
        if form.name == "graft":
            back += "/graft?" + urlencode(kept_for_next(fields.form))
        return Entry(events, said, back)

    return await record_form(visit, told, partial(_show, visit, form, seen))


def _form(visit: Visit[Any]) -> TableForm:
    form = FORMS.get(str(visit.request.path_params["form"]))
    if form is None:
        raise not_found("This form")
    return form


async def _show(
    visit: Visit[Any],
    form: TableForm,
    seen: There,
    values: dict[str, str],
    *,
    amiss: Amiss | None = None,
    reasons: list[Reason] | None = None,
    status: int = 200,
) -> Reply:
    """The form's page."""
    shown = filled(form, seen, visit.shown, visit.now, values, amiss=amiss, reasons=reasons)
    more: dict[str, Any] = {}
    if form.name in ("graft", "regraft"):
        more = await to_graft(visit, seen, shown)
    if form.name in ("move", "potted"):
        async with visit.services.reading() as connection:
            more = {
                "tables": await connection.fetch(SQL.tables, seen.site.code),
                "sizes": (await names(connection)).all_of("size"),
            }
    if form.name == "grade":
        async with visit.services.reading() as connection:
            used = [row["grade"] for row in await connection.fetch(SQL.grades, seen.site.code)]
        more = {"grades": list(dict.fromkeys([*USUAL_GRADES, *used]))}
    if form.name == "work":
        more = {"works": [(name, visit.words.gettext(text)) for name, text in WORK.items()]}
    if form.name == "wrap":
        wrapped = table_forms.last_said(seen.recent, "grafts.wrapped", lambda d: d["material"])
        more = {"material": wrapped or visit.words.gettext("stretch film")}
    done = getattr(visit.query, "done", None)
    return visit.page(
        "entry.html",
        status=status,
        there=seen,
        form=shown,
        action=f"/table/{seen.place.code}/{form.name}",
        back=f"/table/{seen.place.code}",
        undo=await undoable(visit, done),
        again_fields=urlencode(list((await visit.form()).pairs)) if reasons else "",
        **more,
        **at_bench(visit, seen.site),
    )


# What most sites grade into, common practice; those that a site uses besides are added.
USUAL_GRADES = ("first", "second")
# On a table of very many lots the others are named in a line each.
MOST_CARDS = 24


class RowSeen(msgspec.Struct, frozen=True, kw_only=True):
    """So many, in a stage, size and grade."""

    count: int
    words: str


class LotCard(msgspec.Struct, frozen=True, kw_only=True):
    """A lot at the table, as its card shows it; `forms` by how often they are wanted."""

    code: str
    title: str
    about: str
    rows: list[RowSeen]
    holds: list[HoldSeen]
    forms: list[str]


def lots_of(seen: There, visit: Visit[Any]) -> list[LotCard]:
    """A card for each lot of trees or liners at the table."""
    cards = []
    for code in dict.fromkeys(row.lot for row in seen.rows if row.kind != "bag"):
        rows = [row for row in seen.rows if row.lot == code and row.kind != "bag"]
        lot, stages = seen.lots.get(code), {row.stage for row in rows}
        title = " / ".join(part for part in (lot.named, lot.stock_named) if part) if lot else ""
        cards.append(
            LotCard(
                code=code,
                title=title,
                about=_about(lot, seen, visit),
                rows=[RowSeen(count=row.count, words=_row_words(row, visit)) for row in rows],
                holds=seen.held(code),
                forms=forms_for(rows[0].kind, stages, seen.holding(code)),
            )
        )
    return cards


def _row_words(row: AtPlace, visit: Visit[Any]) -> str:
    what = counted(visit.words, row.stage or row.kind, row.count)
    return " · ".join(part for part in (what, row.size, row.grade) if part)


def _about(lot: LotSeen | None, seen: There, visit: Visit[Any]) -> str:
    """Method and day of the graft."""
    if lot is None or lot.day is None:
        return ""
    method = named(visit.words, lot.method, METHODS)
    day = visit.shown.day(lot.day, today=seen.site.today)
    days = visit.shown.days_from(lot.day, seen.site.today)
    return " · ".join(part for part in (method, f"{day} ({days})") if part)


HANDLERS: list[HTTPRouteHandler] = [get_table, get_form, post_form]
