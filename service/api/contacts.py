"""Contacts: who stands behind a reference, for those who may know, until it is erased."""

import re
from typing import Annotated, Any, Literal

from msgspec import Meta

from service.api.conditional import etag, expected_position
from service.api.cursors import decoded_cursor, no_cursor
from service.api.operation import JSON, Call, NoQuery, Page, Paged, Reply, operation, page
from service.api.problems import Mistake, Problem, not_found
from service.api.taking_in import decoded
from service.log import contacts, read
from service.log.contacts import Contact, ContactDetails
from service.log.rights import CONTACTS, CONTACTS_READ, sites_set

_REFERENCE = re.compile(r"[A-Za-z0-9][A-Za-z0-9._:@-]{0,63}")
# Of people, so not to be kept on the way.
_CACHE = "no-store"


class ContactsQuery(Paged, frozen=True, kw_only=True):
    """Which contacts are wanted."""

    kind: Annotated[Literal["person", "customer"] | None, Meta(description="Left out: both.")] = (
        None
    )


@operation(
    "GET",
    "/v1/contacts",
    tag="Contacts",
    scope=CONTACTS_READ,
    query=ContactsQuery,
    answer=Page[Contact],
)
async def list_contacts(call: Call[ContactsQuery]) -> Reply:
    """List the contacts of the key's sites by reference."""
    query = call.query
    after = decoded_cursor(query.cursor) if query.cursor else ""
    if after and not _REFERENCE.fullmatch(after):
        raise no_cursor()
    async with call.services.reading() as connection:
        position = await read.head(connection)
        found = await contacts.page(
            connection,
            call.principal.site_list,
            after=after,
            limit=query.limit + 1,
            kind=query.kind,
        )
    reply = page(call, found, lambda one: one.reference, position)
    return Reply(reply.body, headers=reply.headers, cache=_CACHE)


@operation(
    "GET", "/v1/contacts/{reference:str}", tag="Contacts", scope=CONTACTS_READ, answer=Contact
)
async def get_contact(call: Call[NoQuery]) -> Reply:
    """Who stands behind a reference. Its ETag is needed to change it."""
    reference = _reference(call)
    found = await _current(call, reference)
    if found is None:
        raise not_found(f"A contact {reference}")
    return Reply(found, etag=etag(found.version), cache=_CACHE)


@operation(
    "PUT",
    "/v1/contacts/{reference:str}",
    tag="Contacts",
    scope=CONTACTS,
    accepts=(JSON,),
    body=ContactDetails,
    answer=Contact,
    answers=(200, 201),
    problems=("not-found", "refused", "precondition-failed", "precondition-required"),
    request_headers=("If-Match", "If-None-Match"),
)
async def put_contact(call: Call[NoQuery]) -> Reply:
    """Say who stands behind a reference, or change it, whole.

    The reference is the one that events name as actor, grafter or customer; choose one that tells
    nothing by itself, for events are kept for ever. To change a contact send its ETag in If-Match;
    `If-None-Match: *` makes only a new one. What it said before is kept nowhere.
    """
    reference = _reference(call)
    details = decoded(await call.body(), ContactDetails)
    current = await _current(call, reference)
    version = expected_position(
        call.header("if-match"),
        call.header("if-none-match"),
        current.version if current else None,
        f"The contact {reference}",
    )
    sites = sites_set(details.sites, current.sites if current else None, call.principal)
    await _check_sites(call, details.sites or [], current)
    async with call.services.writing() as connection:
        stored = await contacts.put(
            connection,
            reference,
            details,
            sites,
            principal=call.principal,
            at=call.services.clock(),
            version=version,
        )
    if stored is None:
        raise _changed(reference)
    return Reply(
        stored,
        200 if current else 201,
        etag=etag(stored.version),
        headers={"Location": f"/v1/contacts/{reference}"},
        cache=_CACHE,
    )


@operation(
    "DELETE",
    "/v1/contacts/{reference:str}",
    tag="Contacts",
    scope=CONTACTS,
    answers=(204,),
    problems=("not-found", "refused", "precondition-failed"),
    request_headers=("If-Match",),
)
async def erase_contact(call: Call[NoQuery]) -> Reply:
    """Erase who stands behind a reference, at once and for good.

    Events keep the bare reference, and read as before. No copy is kept; backups made earlier hold
    it until they are let go. With If-Match only the version that was read is erased.
    """
    reference = _reference(call)
    current = await _current(call, reference)
    if current is None:
        raise not_found(f"A contact {reference}")
    if call.header("if-match") is not None:
        expected_position(
            call.header("if-match"), None, current.version, f"The contact {reference}"
        )
    await _check_sites(call, [], current)
    async with call.services.writing() as connection:
        erased = await contacts.erase(connection, reference, current.version)
    if not erased:
        raise _changed(reference)
    return Reply(status=204, cache=_CACHE)


def _reference(call: Call[Any]) -> str:
    """The reference in the path; what can't be one is not found."""
    value = str(call.request.scope["path_params"]["reference"])
    if not _REFERENCE.fullmatch(value):
        raise not_found("What the address names")
    return value


async def _current(call: Call[Any], reference: str) -> Contact | None:
    """The contact; None when there is none. Raises 404 when there is one that is not seen."""
    async with call.services.reading() as connection:
        found = await contacts.contact(connection, call.principal.site_list, reference)
        if found is None and await contacts.taken(connection, reference):
            raise not_found(f"A contact {reference}")
    return found


async def _check_sites(call: Call[Any], named: list[str], current: Contact | None) -> None:
    """Raises 409 for sites that are not seen: those named, and those the contact is of by now."""
    async with call.services.reading() as connection:
        unknown = set(await contacts.unknown_sites(connection, named))
    mistakes = [
        Mistake(
            kind="unknown_code", detail=f"No site {site} is known.", pointer=f"#/sites/{number}"
        )
        for number, site in enumerate(named)
        if site in unknown
    ]
    if current is not None and not current.all_seen_by(call.principal):
        detail = "It is a contact of other sites too; a key that sees them all can change it."
        mistakes.append(Mistake(kind="other_sites", detail=detail, pointer="#"))
    if mistakes:
        raise Problem("refused", "Nothing was changed: see errors.", errors=mistakes)


def _changed(reference: str) -> Problem:
    return Problem("precondition-failed", f"The contact {reference} was changed since it was read.")


HANDLERS = [list_contacts, get_contact, put_contact, erase_contact]
