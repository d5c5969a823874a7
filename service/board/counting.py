"""The book was wrong: a count of what is left puts it right, and what was refused is sent again."""

import re
from datetime import timedelta
from functools import partial
from typing import Annotated, Any

import msgspec
from litestar.handlers import HTTPRouteHandler
from msgspec import Meta

from service.api.operation import Reply
from service.board.bag import record_at_bag
from service.board.bench_page import at_bench
from service.board.entries import Entry, events_of, record_form
from service.board.forms import Form, understood_text
from service.board.page import page
from service.board.recording.at_bag import put_right
from service.board.recording.at_table import Asked
from service.board.recording.fields import Amiss, Fields, Row, row_of
from service.board.recording.refusals import Reason
from service.board.sent_form import sent_form
from service.board.table import record_at_table
from service.board.table_forms import FORMS
from service.board.there import There, there
from service.board.visit import Visit
from service.log.rights import EVENTS
from service.trade.words import understand_occurred
from service.views.site_days import zone

_AGAIN = re.compile(r"/(table|bag)/([A-Z0-9][A-Z0-9.-]{0,19})/([a-z-]+)")


class CountQuery(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What is to be counted (`row`), on which day it fell short, and for which entry."""

    row: Annotated[str, Meta(max_length=200)]
    on: Annotated[str, Meta(max_length=10)] | None = None
    there: Annotated[str, Meta(max_length=20)] | None = None
    again: Annotated[str, Meta(max_length=36)] | None = None
    site: Annotated[str, Meta(max_length=20)] | None = None


@page("GET", "/count", scope=EVENTS, query=CountQuery)
async def get_count(visit: Visit[CountQuery]) -> Reply:
    """How many are left: one number."""
    asked = msgspec.structs.asdict(visit.query)
    return await _show(visit, {name: value for name, value in asked.items() if value})


@page("POST", "/count", scope=EVENTS)
async def post_count(visit: Visit[Any]) -> Reply:
    """Record the count; then what was refused is sent again, if it came along."""
    sent = await visit.form()
    again = _AGAIN.fullmatch(sent["again_to"])
    # Read before anything is recorded, so that what can't be read leaves no half done.
    waits = understood_text(sent["again_fields"])

    async def told(fields: Fields) -> Entry:
        row = fields.row()
        seen = await there(visit, row.place)
        asked = Asked(row.place, visit.principal.name)
        events = events_of(put_right, fields, asked, seen.site, _moment(fields, seen))
        said = visit.words.gettext("Counted: the book is right now.")
        return Entry(events, said, f"/table/{row.place}")

    reply = await record_form(visit, told, partial(_show, visit))
    if again is None or visit.wants_json or reply.status != 303:
        return reply
    return await _send_again(visit, again, waits)


async def _send_again(visit: Visit[Any], again: re.Match[str], waits: Form) -> Reply:
    """What was refused, with the fields that it had."""
    visit.resend(waits)
    kind, code, form = again.groups()
    if kind == "bag":
        return await record_at_bag(visit, form, code)
    return await record_at_table(visit, FORMS[form], code) if form in FORMS else visit.go("/round")


def _moment(fields: Fields, seen: There) -> str | None:
    """A second after the form's moment; of a past day on which it fell short, the day's end.

    A count anchors what was told of earlier moments, so it must lie after what it settles.
    """
    on, there_zone = fields.form.get("on"), zone(seen.site.time_zone)
    try:
        told = understand_occurred(fields.form["occurred"], there_zone)
        if on is None or on[:10] >= told.day.isoformat():
            moment = told.at.astimezone(there_zone) + timedelta(seconds=1)
        else:
            noon = understand_occurred(on[:10], there_zone).at.astimezone(there_zone)
            moment = noon.replace(hour=23, minute=59, second=59)
    except ValueError:
        return None
    return moment.isoformat(timespec="seconds")


async def _show(
    visit: Visit[Any],
    values: dict[str, str],
    *,
    amiss: Amiss | None = None,
    reasons: list[Reason] | None = None,
    status: int = 200,
) -> Reply:
    row = row_of(values.get("row", "")) or Row("trees", "")
    if not row.place:
        return visit.go("/find")
    seen = await there(visit, row.place)
    book = sum(
        one.count
        for one in seen.rows
        if (one.bag if row.kind == "bag" else one.lot) == row.code
        and (one.stage, one.size) == (row.stage, row.size)
    )
    return visit.page(
        "count.html",
        status=status,
        there=seen,
        row=row,
        book=book,
        form=sent_form(values, visit.words, amiss=amiss, reasons=reasons),
        past=_past(values.get("on"), seen),
        **at_bench(visit, seen.site),
    )


def _past(on: str | None, seen: There) -> Any:
    """The past day that is asked for, None for today."""
    if on is None or on == seen.site.today.isoformat():
        return None
    try:
        return understand_occurred(on, zone(seen.site.time_zone)).day
    except ValueError:
        return None


HANDLERS: list[HTTPRouteHandler] = [get_count, post_count]
