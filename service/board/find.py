"""From a code to its page: what a tag says, or what was typed by hand; and a lot as it stands."""

import re
from typing import Annotated, Any

import msgspec
from litestar.handlers import HTTPRouteHandler
from msgspec import Meta

from service.api.operation import NoQuery, Reply
from service.api.problems import not_found
from service.board.bench_page import at_bench
from service.board.page import page
from service.board.table_forms import FORMS, forms_for
from service.board.there import (
    SQL,
    HoldSeen,
    by_whom,
    checks_at,
    holds_on,
    lots_seen,
    recent,
)
from service.board.visit import Visit
from service.log import read
from service.log.rights import EVENTS, READ
from service.log.stored import StandingNow
from service.views.closed_houses import closed_houses

_KINDS = (("place", "table"), ("lot", "lot"), ("bag", "bag"))
_CODE = re.compile(r"[A-Z0-9][A-Z0-9.-]{0,19}")
MOST = 30


class FindQuery(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What was typed."""

    q: Annotated[str, Meta(max_length=300)] | None = None


@page("GET", "/t/{code:str}", scope=READ)
async def get_tag(visit: Visit[NoQuery]) -> Reply:
    """What the code of a tag names: on to its page."""
    return await _onward(visit, visit.code())


@page("GET", "/find", scope=READ, query=FindQuery)
async def find(visit: Visit[FindQuery]) -> Reply:
    """Type or scan a code: a whole one leads on, the beginning of one shows what there is."""
    typed = visit.query.q
    if typed is None:
        return visit.page("find.html", typed=None, found=[])
    code = code_in(typed)
    if _CODE.fullmatch(code) is None:
        return visit.page("find.html", status=404, typed=typed, found=[])
    return await _onward(visit, code)


def code_in(typed: str) -> str:
    """The code in what was typed or scanned: a tag's whole address, small letters, spaces."""
    last = typed.strip().rstrip("/").rpartition("/")[2]
    return re.sub(r"\s+", "", last).upper()


async def _onward(visit: Visit[Any], code: str) -> Reply:
    """To the page of what has this code; else to what has a code that begins so."""
    async with visit.services.reading() as connection:
        names = {name: code for name, _ in _KINDS}
        unknown = await read.unknown_codes(connection, visit.principal.site_list, names)
        for name, kind in _KINDS:
            if name not in unknown:
                return visit.go(f"/{kind}/{code}")
        after = code[:-1] + chr(ord(code[-1]) + 1)
        found = await connection.fetch(SQL.like, code, after, MOST)
    return visit.page("find.html", status=404, typed=code, found=found)


@page("GET", "/lot/{code:str}", scope=READ)
async def get_lot(visit: Visit[NoQuery]) -> Reply:
    """A lot: what it is, where it stands, what is due and was done last."""
    code, sites = visit.code(), visit.principal.site_list
    async with visit.services.reading() as connection:
        seen = (await lots_seen(connection, [code])).get(code)
        lot = await read.lot(connection, sites, seen.kind, code) if seen else None
        if seen is None or lot is None:
            raise not_found(f"A lot {code}")
        await visit.sites(connection)
        known = {one.code for one in await visit.sites()}
        here = next((one.site for one in lot.standing), seen.site)
        site = await visit.site(here if here in known else None)
        on = await holds_on(connection, [code], [], site, None)
        closed = await closed_houses(connection, site.code, visit.now)
        last = await recent(connection, "lot", code)
        await visit.call_people(by_whom(last), connection)
    holds = [hold for hold in on if hold.lot == code]
    may_record = visit.principal.may(EVENTS)
    shut = {place for house in closed for place in house.closed_places}
    return visit.page(
        "lot.html",
        seen=seen,
        lot=lot,
        holds=holds,
        acts=_acts(seen.kind, lot.standing, on, shut)
        if may_record and seen.kind != "budwood"
        else [],
        forms=FORMS,
        due=await checks_at(visit, lot=code) if seen.kind == "tree" else [],
        recent=last,
        may_record=may_record,
        **at_bench(visit, site),
    )


def _acts(
    kind: str, standing: list[StandingNow], holds: list[HoldSeen], shut: set[str]
) -> list[tuple[str, list[str], bool]]:
    """Each place where the lot stands: the forms that make sense there; whether it is closed."""
    stages: dict[str, set[str]] = {}  # by place; nothing of budwood stands
    for one in standing:
        stages.setdefault(one.place, set()).add(one.stage or "")
    row = "liners" if kind == "liner" else "trees"
    return [(place, forms_for(row, found, holds), place in shut) for place, found in stages.items()]


HANDLERS: list[HTTPRouteHandler] = [get_tag, find, get_lot]
