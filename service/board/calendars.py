"""My calendars: an address to subscribe to in one's own calendar program, and taking it back."""

import re
from dataclasses import replace
from typing import Any, get_args

from litestar.handlers import HTTPRouteHandler

from service.api.calendars import address_of
from service.api.operation import NoQuery, Reply
from service.api.problems import Problem, not_found
from service.board.page import page
from service.board.visit import Visit
from service.log.rights import READ
from service.reminders.calendar import addresses
from service.reminders.calendar.addresses import CalendarDetails, Shows
from service.wording.words import phrase

HERE = "/reminders/calendar"
SHOWS: dict[Shows, str] = {
    "checks": phrase("checks that are due"),
    "orders": phrase("orders to graft and to hand over"),
    "bags": phrase("bags, by the day to use them"),
}
_NUMBERED = re.compile(r"DAYS-([1-9][0-9]?)")


@page("GET", HERE, scope=READ)
async def get_calendars(visit: Visit[NoQuery]) -> Reply:
    """My calendars, and a form for a new one."""
    return await _show(visit)


@page("POST", HERE, scope=READ)
async def post_calendar(visit: Visit[NoQuery]) -> Reply:
    """Make one; its address is on the page that answers, and on no other."""
    form = await visit.form()
    seen = [site.code for site in await visit.sites()]
    wanted = [code for code in form.all("site") if code]
    shows = [one for one in get_args(Shows) if one in form.all("shows")]
    if not shows or any(code not in seen for code in wanted):
        return await _show(visit, wrong=visit.words.gettext("Say what it shows."), status=422)
    details = CalendarDetails(sites=wanted or None, shows=shows, language=visit.person.language)
    owner = visit.principal.name
    async with visit.services.writing() as connection:
        mine = await addresses.page(connection, owner, after="", limit=100)
        code = _next_code([one.code for one in mine])
        token = await addresses.make(connection, owner, code, details, at=visit.now)
    if token is None:
        words = visit.words.gettext("You have as many calendars as one may have. Take one back.")
        return await _show(visit, wrong=words, status=409)
    return await _show(visit, address=address_of(visit.services.settings.base, token))


@page("POST", HERE + "/remove", scope=READ)
async def post_remove(visit: Visit[NoQuery]) -> Reply:
    """Take one back: its address shows nothing any more."""
    form, owner = await visit.form(), visit.principal.name
    async with visit.services.writing() as connection:
        found = await addresses.calendar(connection, owner, form["code"])
        if found is None:
            raise not_found("The calendar")
        if not await addresses.remove(connection, owner, found.code, found.version):
            raise Problem("precondition-failed", "It was changed meanwhile.")
    return visit.go(HERE, said=visit.words.gettext("Taken back: its address shows nothing now."))


def _next_code(taken: list[str]) -> str:
    """The first of DAYS-1, DAYS-2 and so on that is free."""
    numbers = {int(match[1]) for code in taken if (match := _NUMBERED.fullmatch(code))}
    return f"DAYS-{next(number for number in range(1, 100) if number not in numbers)}"


async def _show(visit: Visit[Any], *, status: int = 200, **more: Any) -> Reply:
    async with visit.services.reading() as connection:
        mine = await addresses.page(connection, visit.principal.name, after="", limit=100)
        sites = await visit.sites(connection)
    context = {"wrong": None, "address": None} | more
    reply = visit.page(
        "calendars.html",
        status=status,
        mine=mine,
        sites=sites,
        kinds=[(key, visit.words.gettext(text)) for key, text in SHOWS.items()],
        named={key: visit.words.gettext(text) for key, text in SHOWS.items()},
        webcal=_webcal(context["address"]),
        **context,
    )
    # An address goes by here.
    return replace(reply, cache="no-store")


def _webcal(address: str | None) -> str | None:
    """The address as calendar programs take it up by themselves."""
    return None if address is None else re.sub(r"^https?:", "webcal:", address)


HANDLERS: list[HTTPRouteHandler] = [get_calendars, post_calendar, post_remove]
