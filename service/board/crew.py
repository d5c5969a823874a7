"""The people of a nursery, for who lets them in: inviting, what each may do, lost telephones."""

import secrets
from dataclasses import replace
from typing import Any

import msgspec
from litestar.handlers import HTTPRouteHandler

from service.api.letting_in import (
    Link,
    PersonDetails,
    current_of,
    give,
    link_for,
    seen,
    take_away,
)
from service.api.operation import NoQuery, Reply
from service.api.people import REFERENCE
from service.api.problems import Problem, not_found
from service.board.forms import Form
from service.board.me import sign_out_those, signed_out_in_words, where_of
from service.board.page import page
from service.board.people_words import role_in_words, roles_to_give
from service.board.qr import qr_code
from service.board.visit import Visit
from service.log import contacts, giving, people, sessions
from service.log.contacts import ContactDetails
from service.log.people import Person
from service.log.rights import CONTACTS, EVERY_SITE, PEOPLE_MANAGE
from service.wording.words import LANGUAGE_NAMES, phrase

# A crew is a few dozen; a list of more than this is for programs.
_MOST = 500
_WHICH_SITES = phrase("Choose sites that you see.")


@page("GET", "/people", scope=PEOPLE_MANAGE)
async def get_people(visit: Visit[NoQuery]) -> Reply:
    """Who signs in, and inviting somebody."""
    return await _people(visit)


@page("POST", "/people", scope=PEOPLE_MANAGE)
async def post_people(visit: Visit[NoQuery]) -> Reply:
    """Invite somebody: a person, a name where one is given, and the link to hand over."""
    form = await visit.form()
    # What tells nothing by itself, for events are kept for ever.
    reference = form.get("reference") or f"p-{secrets.randbelow(10**6):06}"
    if not REFERENCE.fullmatch(reference):
        wrong = visit.words.gettext("A reference is letters, digits and . _ : @ - without spaces.")
        return await _people(visit, form, {"reference": wrong})
    if not form.all("sites"):
        # Left out it would be every site of who invites: never what a forgotten tick should give.
        return await _people(visit, form, {"sites": visit.words.gettext(_WHICH_SITES)})
    try:
        current = await current_of(visit.services, visit.principal, reference)
        if current is not None:
            raise Problem("refused", "There is such a person.")
        details = _details(form, new=True)
        person = await give(
            visit.services, visit.principal, reference, details, current=None, version=0
        )
    except Problem as problem:
        if problem.slug in ("refused", "not-found", "precondition-failed"):
            return await _people(visit, form, _in_words(visit, problem))
        raise
    await _name(visit, person, form.get("name"))
    return await _handed(visit, person)


@page("GET", "/people/{reference:str}", scope=PEOPLE_MANAGE)
async def get_person(visit: Visit[NoQuery]) -> Reply:
    """One person: what they may do, and their devices."""
    return await _person(visit, await _seen(visit))


@page("POST", "/people/{reference:str}", scope=PEOPLE_MANAGE)
async def post_person(visit: Visit[NoQuery]) -> Reply:
    """Change what somebody may do, and where."""
    form, person = await visit.form(), await _seen(visit)
    version = form["version"]
    before = int(version) if version.isdecimal() and len(version) < 19 else 0
    try:
        stored = await give(
            visit.services,
            visit.principal,
            person.reference,
            _details(form, new=False),
            current=person,
            version=before,
        )
    except Problem as problem:
        if problem.slug in ("refused", "precondition-failed"):
            return await _person(visit, await _seen(visit), _in_words(visit, problem))
        raise
    if giving.beyond(person.principal, stored):
        said = visit.words.gettext("Changed. They sign in again with a new link.")
    else:
        said = visit.words.gettext("Changed. It counts at once.")
    return visit.go(f"/people/{person.reference}", said=said)


@page("POST", "/people/{reference:str}/link", scope=PEOPLE_MANAGE)
async def post_link(visit: Visit[NoQuery]) -> Reply:
    """A new link for somebody."""
    return await _handed(visit, await _seen(visit))


@page("POST", "/people/{reference:str}/sign-out", scope=PEOPLE_MANAGE)
async def post_sign_out(visit: Visit[NoQuery]) -> Reply:
    """Sign somebody out on a device that was lost, or on all."""
    person = await _seen(visit)
    async with visit.services.writing() as connection:
        count = await sign_out_those(connection, person.reference, await visit.form(), but=None)
    return visit.go(f"/people/{person.reference}", said=signed_out_in_words(visit, count))


@page("POST", "/people/{reference:str}/remove", scope=PEOPLE_MANAGE)
async def post_remove(visit: Visit[NoQuery]) -> Reply:
    """Let somebody sign in no more."""
    person = await _seen(visit)
    await take_away(visit.services, visit.principal, person)
    said = visit.words.gettext(
        "%(person)s signs in no more. What they recorded stays.", person=person.reference
    )
    return visit.go("/people", said=said)


async def _people(
    visit: Visit[Any], form: Form | None = None, wrong: dict[str, str] | None = None
) -> Reply:
    mine = visit.principal.site_list
    async with visit.services.reading() as connection:
        found = await people.page(connection, mine, after="", limit=_MOST)
        names = await contacts.names(connection, visit.principal, (one.reference for one in found))
        sites = await visit.sites(connection)
    async with visit.services.writing() as connection:
        last = await sessions.seen_of(connection, visit.now)
    return visit.page(
        "people.html",
        status=409 if wrong else 200,
        found=[
            (
                one,
                role_in_words(visit.words, one),
                where_of(visit, one, sites),
                last.get(one.reference),
            )
            for one in found
        ],
        names=names,
        sites=sites,
        roles=roles_to_give(visit.words, visit.principal),
        languages=LANGUAGE_NAMES.items(),
        form=form or Form([("role", "recorder"), ("language", visit.language)]),
        wrong=wrong or {},
    )


async def _person(visit: Visit[Any], person: Person, wrong: dict[str, str] | None = None) -> Reply:
    async with visit.services.reading() as connection:
        names = await contacts.names(connection, visit.principal, [person.reference])
        sites = await visit.sites(connection)
    async with visit.services.writing() as connection:
        devices = await sessions.devices(connection, person.reference, visit.now)
    roles = roles_to_give(visit.words, visit.principal)
    if person.role is None:
        roles.insert(0, ("", role_in_words(visit.words, person)))
    return visit.page(
        "person.html",
        status=409 if wrong else 200,
        who=person,
        name=names.get(person.reference),
        role=role_in_words(visit.words, person),
        where=where_of(visit, person, sites),
        sites=sites,
        roles=roles,
        devices=devices,
        beyond=giving.beyond(visit.principal, person) is not None,
        wrong=wrong or {},
    )


async def _handed(visit: Visit[Any], person: Person) -> Reply:
    """The page with a link that was just made. It is shown this once."""
    link: Link = await link_for(visit.services, visit.principal, person)
    async with visit.services.reading() as connection:
        names = await contacts.names(connection, visit.principal, [person.reference])
    reply = visit.page(
        "person_link.html",
        who=person,
        name=names.get(person.reference),
        link=link,
        door=visit.services.settings.base + "/sign-in",
        picture=qr_code(link.url),
    )
    return replace(reply, cache="no-store")


async def _seen(visit: Visit[Any]) -> Person:
    reference = str(visit.request.scope["path_params"]["reference"])
    if not REFERENCE.fullmatch(reference):
        raise not_found("What the address names")
    return await seen(visit.services, visit.principal, reference)


def _details(form: Form, *, new: bool) -> PersonDetails:
    """What a form says of a person. Raises a 422 problem for words that no such form holds."""
    told: dict[str, Any] = {"role": form.get("role"), "sites": form.all("sites") or None}
    if new:
        told["language"] = form.get("language")
        if told["sites"] and told["sites"] != [EVERY_SITE]:
            told["home_site"] = told["sites"][0]
    try:
        return msgspec.convert(told, PersonDetails)
    except msgspec.ValidationError as error:
        raise Problem("validation-error", "There is no such role, site or language.") from error


def _in_words(visit: Visit[Any], problem: Problem) -> dict[str, str]:
    """Why it could not be, by the field that it is about ("" for the whole)."""
    words, found = visit.words, {}
    if problem.slug == "precondition-failed":
        found[""] = words.gettext("Somebody changed this person meanwhile. This is how it is now.")
    elif problem.slug == "not-found" or not problem.errors:
        found["reference"] = words.gettext("This reference is somebody's already. Choose another.")
    for mistake in problem.errors:
        if mistake.kind == "taken":
            found["reference"] = words.gettext(
                "This reference is somebody's already. Choose another."
            )
        elif mistake.kind == "more_rights":
            found[""] = words.gettext("Nobody gives more rights or sites than they have.")
        else:
            found["sites"] = words.gettext(_WHICH_SITES)
    return found


async def _name(visit: Visit[Any], person: Person, name: str | None) -> None:
    """Put the name into a contact, where there is none and the visitor may."""
    if name is None or not visit.principal.may(CONTACTS):
        return
    details = ContactDetails(kind="person", name=name[:500])
    async with visit.services.writing() as connection:
        await contacts.put(
            connection,
            person.reference,
            details,
            person.sites,
            principal=visit.principal,
            at=visit.now,
            version=0,
        )


HANDLERS: list[HTTPRouteHandler] = [
    get_people,
    post_people,
    get_person,
    post_person,
    post_link,
    post_sign_out,
    post_remove,
]
