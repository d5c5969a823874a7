"""What is one's own: language, units, first site, and where one is signed in."""

from typing import Any
from uuid import UUID

import msgspec
from litestar.handlers import HTTPRouteHandler

from service.api.letting_in import sign_out_all
from service.api.operation import UUID as IS_UUID
from service.api.operation import NoQuery, Reply
from service.api.problems import Problem
from service.board.page import page
from service.board.people_words import role_in_words, where_in_words
from service.board.visit import SiteSeen, Visit
from service.log import people, sessions
from service.log.people import Choices, Person
from service.wording.words import LANGUAGE_NAMES, words_of


@page("GET", "/me", scope="")
async def get_me(visit: Visit[NoQuery]) -> Reply:
    """My choices and my devices."""
    person = visit.person
    async with visit.services.reading() as connection:
        sites = await visit.sites(connection)
    async with visit.services.writing() as connection:
        devices = await sessions.devices(connection, person.reference, visit.now)
    return visit.page(
        "me.html",
        name=visit.signed.name if visit.signed else None,
        role=role_in_words(visit.words, person),
        where=where_of(visit, person, sites),
        sites=sites,
        devices=devices,
        languages=LANGUAGE_NAMES.items(),
    )


@page("POST", "/me", scope="")
async def post_me(visit: Visit[NoQuery]) -> Reply:
    """Keep my choices."""
    form = await visit.form()
    home = form.get("home_site")
    told = {name: form[name] for name in ("language", "temperature", "length")}
    try:
        chosen = msgspec.convert(told | {"home_site": home}, Choices)
    except msgspec.ValidationError as error:
        raise Problem("validation-error", "There is no such language or unit.") from error
    if home is not None and home not in {site.code for site in await visit.sites()}:
        raise Problem("validation-error", f"{home} is none of your sites.")
    async with visit.services.writing() as connection:
        await people.choose(connection, visit.person.reference, chosen)
    return visit.go("/me", said=words_of(chosen.language).gettext("Your settings are kept."))


@page("POST", "/me/sign-out", scope="")
async def post_device_out(visit: Visit[NoQuery]) -> Reply:
    """Sign out one of my devices, or all but this one."""
    assert visit.signed is not None, "the page needs somebody signed in"
    mine, here = visit.person.reference, visit.signed.device
    async with visit.services.writing() as connection:
        count = await sign_out_those(connection, mine, await visit.form(), but=here)
    return visit.go("/me", said=signed_out_in_words(visit, count))


def where_of(visit: Visit[Any], person: Person, sites: list[SiteSeen]) -> str:
    """Where a person works, as the visitor reads it."""
    names = {site.code: site.name for site in sites}
    return where_in_words(visit.words, visit.shown, person, names)


async def sign_out_those(connection: Any, person: str, form: Any, *, but: str | None) -> int:
    """Sign out the device that a form names, or without one all of a person's `but` one; how many
    that were."""
    device = form.get("device")
    if device is not None:
        known = IS_UUID.fullmatch(device) is not None
        return int(known and await sessions.sign_out(connection, person, UUID(device)))
    if but is None:
        return await sign_out_all(connection, person)
    return await sessions.sign_out_others(connection, person, but)


def signed_out_in_words(visit: Visit[Any], count: int) -> str:
    """What is said after signing devices out."""
    if not count:
        return visit.words.gettext("No other device was signed in.")
    return visit.words.ngettext(
        "%(num)s device is signed out.", "%(num)s devices are signed out.", count
    )


HANDLERS: list[HTTPRouteHandler] = [get_me, post_me, post_device_out]
