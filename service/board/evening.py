"""The evening: the day's sheets typed in from paper, as grids."""

from collections.abc import Iterable, Sequence
from typing import Any, Literal

import msgspec
from litestar.handlers import HTTPRouteHandler

from service.api.operation import JSON, Reply
from service.api.problems import bad_parameter
from service.board.asking import Asked, Field, again, code_in, day_in, number_in
from service.board.entries import Answered, judged
from service.board.grid import (
    GRAFTED,
    HEADINGS,
    MOST_ROWS,
    PUSHED,
    SPARE_ROWS,
    STOCKED,
    GridRow,
    Kind,
    Sent,
    Why,
    choices,
    rows_to_fill,
    sent_back,
    understood,
    with_actor,
)
from service.board.grid_far import without_far
from service.board.names import Names, names
from service.board.page import page
from service.board.recording.fields import Amiss, Fields
from service.board.recording.refusals import reason_of, remark_of
from service.board.there import SQL
from service.board.visit import SiteSeen, Visit
from service.log import read
from service.log.incoming import new_id
from service.log.rights import EVENTS
from service.log.submission import Verdict
from service.sheets import printing
from service.sheets.drafts import Draft
from service.sheets.report import located
from service.trade.events.catalogue import Place
from service.views.at_place import AtPlace, at_place
from service.views.grafting_list import grafting_list
from service.wording.words import phrase

_TITLES = {
    GRAFTED.columns: phrase("Grafting sheet"),
    PUSHED.columns: phrase("Push count sheet"),
    STOCKED.columns: phrase("Stock count sheet"),
}


class EveningQuery(Asked, frozen=True, kw_only=True):
    """Of which site."""

    site: Field = ""


class GraftingQuery(Asked, frozen=True, kw_only=True):
    """Which day's sheet, and whose."""

    day: Field = ""
    grafter: Field = ""
    sheet: Field = ""
    after: Field = ""


class CountsQuery(Asked, frozen=True, kw_only=True):
    """Which place is counted, what, and on which day."""

    place: Field = ""
    count: Literal["stock", "push"] = "push"
    day: Field = ""
    sheet: Field = ""
    after: Field = ""


class RowTold(msgspec.Struct, frozen=True, kw_only=True):
    """What became of a row."""

    row: str
    verdict: str
    words: str
    errors: list[Why] = []


class GridAnswered(Answered, frozen=True, kw_only=True):
    """What became of a grid."""

    rows: list[RowTold]


@page("GET", "/evening", scope=EVENTS, query=EveningQuery)
async def get_evening(visit: Visit[EveningQuery]) -> Reply:
    """Which sheet is to be typed in."""
    site = await visit.site(code_in("site", visit.query.site))
    async with visit.services.reading() as connection:
        places = await connection.fetch(SQL.tables, site.code)
    return visit.page("evening.html", sites=await visit.sites(), site=site, places=places)


# -- grafting --------------------------------------------------------------------------------


@page("GET", "/evening/{site:str}/grafting", scope=EVENTS, query=GraftingQuery)
async def get_grafting(visit: Visit[GraftingQuery]) -> Reply:
    """The day's grafting sheet, to be filled in."""
    asked, site = visit.query, await visit.site(visit.code("site"))
    day = day_in("day", asked.day) or site.today
    async with visit.services.reading() as connection:
        listed = await grafting_list(
            connection, site.code, day, asked.grafter.strip() or None, visit.now
        )
        named = await names(connection)
    orders = printing.grafting_lines(listed, None)
    lines = []
    for one, found in orders:
        what = named.item(visit.words, one.order.cultivar, one.order.rootstock)
        lines += [(line, what, _note_of(visit, line)) for line in found]
    common = {"date": str(day), "sheet": asked.sheet}
    return _show_page(visit, site, GRAFTED, common, lines, more=listed.more)


def _note_of(visit: Visit[Any], line: printing.Line) -> str:
    """How many trees are meant, and until when the bag keeps."""
    said = []
    if line.shared:
        said.append(visit.words.gettext("shared with the row above"))
    elif line.up_to is not None:
        count = visit.shown.number(line.up_to)
        said.append(visit.words.gettext("up to %(count)s", count=count))
    if line.use_by:
        day = visit.shown.day(line.use_by)
        said.append(visit.words.gettext("use by %(day)s", day=day))
    return " · ".join(said)


@page("POST", "/evening/{site:str}/grafting", scope=EVENTS)
async def post_grafting(visit: Visit[Any]) -> Reply:
    """Record a grafting sheet: each lot's rows by themselves."""
    site = await visit.site(visit.code("site"))
    return await _record(visit, site, GRAFTED)


# -- counts ----------------------------------------------------------------------------------


@page("GET", "/evening/{site:str}/counts", scope=EVENTS, query=CountsQuery)
async def get_counts(visit: Visit[CountsQuery]) -> Reply:
    """A place's count sheet, to be filled in; the book's figures are not on it."""
    asked, site = visit.query, await visit.site(visit.code("site"))
    code = code_in("place", asked.place)
    if code is None:
        raise bad_parameter("place", "Say which place was counted.", "missing")
    async with visit.services.reading() as connection:
        place = await _place(visit, connection, site, code)
        standing = await at_place(connection, site.code, code)
        named = await names(connection)
    kind = PUSHED if asked.count == "push" else STOCKED
    day = day_in("day", asked.day) or site.today
    lines = printing.count_lines(standing, asked.count, place=place, day=day, sheet=None)
    what = {one.bag or one.lot: _what(visit, named, one) for one in standing}
    shown = [(line, what.get(line.cells.get("bag") or line.cells["lot"], ""), "") for line in lines]
    common = {"date": str(day), "sheet": asked.sheet, "person": visit.person.reference}
    return _show_page(visit, site, kind, common, shown, place=code)


async def _place(visit: Visit[Any], connection: Any, site: SiteSeen, code: str) -> Place:
    """A place of the site. Raises 422 for what is none."""
    found = await read.catalogue_entry(connection, [site.code], "place", code)
    if found is None or not isinstance(found.entry, Place) or found.entry.site != site.code:
        raise bad_parameter("place", f"No place {code} is known.", "unknown_code")
    return found.entry


def _what(visit: Visit[Any], named: Names, one: AtPlace) -> str:
    """What stands there, in words."""
    words = visit.words
    if one.kind == "bag":
        of = named.of("cultivar", one.cultivar) or words.gettext("unknown")
        return words.gettext("buds of %(what)s", what=of)
    if one.kind == "liners":
        of = named.of("rootstock", one.rootstock) or words.gettext("unknown")
        return words.gettext("liners of %(what)s", what=of)
    return named.item(words, one.cultivar, one.rootstock)


@page("POST", "/evening/{site:str}/counts", scope=EVENTS)
async def post_counts(visit: Visit[Any]) -> Reply:
    """Record a count sheet, row by row."""
    site = await visit.site(visit.code("site"))
    kind = STOCKED if (await visit.form())["count"] == "stock" else PUSHED
    return await _record(visit, site, kind)


# -- both ------------------------------------------------------------------------------------


async def _record(visit: Visit[Any], site: SiteSeen, kind: Kind) -> Reply:
    form = await visit.form()
    sent = sent_back(kind, site.code, form)
    try:
        entry = Fields(form).entry()
    except Amiss as amiss:
        raise bad_parameter("entry", amiss.in_words(visit.words), "bad_value") from amiss
    found = understood(sent, entry, visit.words) if sent.filled else []
    drafts = await without_far(visit, site, sent, found)
    if drafts:
        events = [with_actor(draft, visit.principal.name) for draft, _ in drafts]
        verdicts = await judged(visit, events)
        for (draft, rows), verdict in zip(drafts, verdicts, strict=True):
            _tell(visit, draft, rows, verdict, entry)
    words, all_recorded = _summed_up(visit, sent)
    # Of a long sheet the next page follows.
    onward = form["onward"]
    own = onward.startswith(f"/evening/{site.code}/")
    back = onward if own else f"/evening?site={site.code}"
    if visit.wants_json:
        return _as_json(sent, entry, words, back if all_recorded else None)
    if all_recorded:
        return visit.go(back, said=words)
    status = 409 if found else 422
    return _show(
        visit, site, kind, sent.common, sent.rows, place=form["place"], status=status,
        onward=onward if own else "", entry=entry, wrong=sent.wrong, words=words,
    )  # fmt: skip


def _tell(
    visit: Visit[Any], draft: Draft, rows: list[GridRow], verdict: Verdict, entry: str
) -> None:
    """Write beside the rows of an event what became of it.

    After a count that settles a refusal, a device sends the whole sheet again: `entry`.
    """
    for row in rows:
        row.verdict = "refused" if verdict.verdict == "malformed" else verdict.verdict
    remarks = [remark_of(one, visit.words) for one in verdict.remarks]
    rows[0].note = " · ".join(dict.fromkeys(remarks))
    by_line = dict(zip(draft.lines, rows, strict=True))
    for fault in verdict.errors:
        where = located(draft, fault)
        reason = reason_of(fault, draft.event, visit.shown, entry)
        row = by_line.get(where.line, rows[0])
        column = where.column if where.column in HEADINGS else None
        said = " ".join(part for part in (reason.words, reason.settle) if part)
        row.why = [*row.why, Why(column=column, words=said, count_form=reason.count_form)]


def _summed_up(visit: Visit[Any], sent: Sent) -> tuple[str, bool]:
    """What became of the sheet, in one sentence, and whether all of it is recorded."""
    words = visit.words
    recorded = sum(row.recorded for row in sent.filled)
    if not sent.filled:
        return words.gettext("Nothing is filled in yet."), False
    told = words.ngettext("%(num)s row recorded.", "%(num)s rows recorded.", recorded)
    left = len(sent.filled) - recorded
    if not left:
        return told, True
    if not recorded:
        told = words.gettext("Nothing was recorded.")
    amiss = words.ngettext(
        "%(num)s row is still to be put right.", "%(num)s rows are still to be put right.", left
    )
    return f"{told} {amiss}", False


def _as_json(sent: Sent, entry: str, words: str, onward: str | None) -> Reply:
    rows = [
        RowTold(row=row.name, verdict=row.verdict, words=row.note, errors=row.why)
        for row in sent.filled
    ]
    answered = GridAnswered(
        entry=entry,
        verdict="accepted" if onward else "refused",
        words=words,
        rows=rows,
        next=onward,
    )
    return Reply(answered, media_type=JSON, cache="no-store")


def _show_page(
    visit: Visit[Any],
    site: SiteSeen,
    kind: Kind,
    common: dict[str, str],
    lines: Sequence[tuple[printing.Line, str, str]],
    *,
    place: str = "",
    more: bool = False,
) -> Reply:
    """The rows that fit a page, from those on that were asked for; the next page follows them."""
    first = number_in("after", visit.query.after) or 0
    rows = rows_to_fill(kind, lines, {"place": place} if place else {}, first)
    end = first + MOST_ROWS
    onward = ""
    if end < len(lines):
        onward = f"{visit.request.scope['path']}?{again(visit.query, after=str(end))}"
    several = (first + 1, min(end, len(lines)), len(lines)) if first or onward else None
    return _show(
        visit, site, kind, common, rows, place=place, more=more and not onward, onward=onward,
        several=several,
    )  # fmt: skip


def _show(
    visit: Visit[Any],
    site: SiteSeen,
    kind: Kind,
    common: dict[str, str],
    rows: Iterable[GridRow],
    *,
    place: str = "",
    status: int = 200,
    entry: str | None = None,
    wrong: dict[str, str] | None = None,
    words: str = "",
    more: bool = False,
    onward: str = "",
    several: tuple[int, int, int] | None = None,
) -> Reply:
    title = visit.words.gettext(_TITLES[kind.columns])
    return visit.page(
        "grid.html",
        status=status,
        site=site,
        kind=kind,
        title=f"{title} · {place or site.name}",
        headings=HEADINGS,
        choices={name: choices(name, visit.words) for name in kind.columns},
        common=common,
        rows=list(rows),
        place=place,
        entry=entry or new_id(int(visit.now.timestamp() * 1000)),
        wrong=wrong or {},
        told=words,
        more=more,
        onward=onward,
        several=several,
        spare=SPARE_ROWS,
        count="stock" if kind is STOCKED else "push",
    )


HANDLERS: list[HTTPRouteHandler] = [
    get_evening,
    get_grafting,
    post_grafting,
    get_counts,
    post_counts,
]
