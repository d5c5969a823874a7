"""Signing in and out: a code that is typed, a link that is opened, and the way back to the page.

Opening a link shows a button and uses nothing up: programs that look into mails and messages open
links too. A fresh cookie is made at each signing in, never one that the browser brought along, and
what was signed in on this browser before is signed out.
"""

from dataclasses import replace
from datetime import timedelta
from typing import Annotated
from urllib.parse import urlsplit

import msgspec
import structlog
from litestar.handlers import HTTPRouteHandler
from msgspec import Meta

from service.api.operation import NoQuery, Reply
from service.board import cookies
from service.board.device_names import name_of_device
from service.board.page import page
from service.board.visit import Visit
from service.log import contacts, sessions
from service.log.sessions import SignedIn

_log = structlog.get_logger("service.board")
_LONGEST_WAY = 1000


class Then(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Where somebody wanted to go."""

    then: Annotated[str, Meta(description="A page of this service.")] = ""


def own_page(address: str) -> str | None:
    """The address if it is a page of this service and nothing else, else None.

    Browsers read a second stroke, also a backward one, as another host, and skip tabs and line
    ends wherever they stand.
    """
    if not address.startswith("/") or len(address) > _LONGEST_WAY:
        return None
    if address[1:2] in ("/", "\\") or not address.isprintable() or "\\" in address:
        return None
    try:
        parts = urlsplit(address)
    except ValueError:
        return None
    away = parts.scheme or parts.netloc or parts.path.startswith(("/sign-", "/i/"))
    return None if away else address


@page("GET", "/sign-in", scope=None, query=Then)
async def get_sign_in(visit: Visit[Then]) -> Reply:
    """Type a code; or be told that one is signed in already."""
    return _kept_nowhere(
        visit.page("sign_in.html", then=own_page(visit.query.then), wrong=None, typed="")
    )


@page("POST", "/sign-in", scope=None, guard="origin")
async def post_sign_in(visit: Visit[NoQuery]) -> Reply:
    """Sign in by a code."""
    form, address = await visit.form(), (visit.request.scope["client"] or ("",))[0]
    visit.services.limits.try_code(address)
    label = name_of_device(visit.header("user-agent"))
    async with visit.services.writing() as connection:
        signed = await sessions.sign_in_by_code(connection, form["code"], label=label, at=visit.now)
    then = own_page(form["then"])
    if signed is None:
        wrong = visit.words.gettext(
            "This code is not right, or its time is over. After five wrong tries ask for a new one."
        )
        reply = visit.page("sign_in.html", status=422, then=then, wrong=wrong, typed=form["code"])
        return _kept_nowhere(reply)
    return await _welcome(visit, signed, then)


@page("GET", "/i/{token:str}", scope=None)
async def get_link(visit: Visit[NoQuery]) -> Reply:
    """Say who would be signed in, with a button that does it."""
    token = str(visit.request.scope["path_params"]["token"])
    async with visit.services.writing() as connection:
        found = await sessions.invited(connection, token, visit.now)
    if found is None:
        return _kept_nowhere(visit.page("invited.html", status=404, who=None))
    # Theirs from here on, whatever the browser asks for.
    visit.language = found.language
    who = contacts.called({found.person: found.name} if found.name else {}, found.person)
    return _kept_nowhere(visit.page("invited.html", who=who))


@page("POST", "/i/{token:str}", scope=None, guard="origin")
async def post_link(visit: Visit[NoQuery]) -> Reply:
    """Sign in by a link, and use it up."""
    token = str(visit.request.scope["path_params"]["token"])
    label = name_of_device(visit.header("user-agent"))
    async with visit.services.writing() as connection:
        signed = await sessions.sign_in_by_link(connection, token, label=label, at=visit.now)
    if signed is None:
        return _kept_nowhere(visit.page("invited.html", status=404, who=None))
    return await _welcome(visit, signed, None)


@page("POST", "/sign-out", scope="")
async def post_sign_out(visit: Visit[NoQuery]) -> Reply:
    """Sign out on this device."""
    await _end_device(visit)
    visit.forget(cookies.SEAT)
    visit.forget(cookies.SITE)
    return visit.go("/sign-in", said=visit.words.gettext("You are signed out on this device."))


async def _welcome(visit: Visit[NoQuery], signed: SignedIn, then: str | None) -> Reply:
    """Hand the device its cookie, and go where it wanted to."""
    await _end_device(visit)
    visit.forget(cookies.SITE)
    visit.keep(cookies.SEAT, signed.cookie, sessions.LONGEST // timedelta(seconds=1))
    _log.info("signed_in", person=signed.person)
    return visit.go(then or "/round")


async def _end_device(visit: Visit[NoQuery]) -> None:
    """Sign out what is signed in on this browser."""
    if visit.signed is not None:
        async with visit.services.writing() as connection:
            reference, device = visit.signed.person.reference, visit.signed.device
            await sessions.sign_out(connection, reference, device)


def _kept_nowhere(reply: Reply) -> Reply:
    return replace(reply, cache="no-store")


HANDLERS: list[HTTPRouteHandler] = [
    get_sign_in,
    post_sign_in,
    get_link,
    post_link,
    post_sign_out,
]
