"""People who sign in to the pages: who they are, what they may do where, and their devices."""

import re
from datetime import timedelta
from typing import Annotated, Any
from uuid import UUID

import msgspec
from msgspec import Meta

from service.api.conditional import content_tag, etag, expected_position
from service.api.cursors import decoded_cursor, no_cursor
from service.api.letting_in import (
    Link,
    PersonDetails,
    PersonShown,
    current_of,
    give,
    link_for,
    seen,
    shown,
    sign_out_all,
    take_away,
)
from service.api.operation import JSON, Call, NoQuery, Page, Paged, Reply, operation, page
from service.api.problems import not_found
from service.api.taking_in import decoded
from service.log import people, read, sessions
from service.log.rights import PEOPLE_MANAGE
from service.log.sessions import Device

TAG = "People"
# Of people, and with secrets in it: not to be kept on the way.
CACHE = "no-store"
REFERENCE = re.compile(r"[A-Za-z0-9][A-Za-z0-9._:@-]{0,63}")


class AskedLink(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How long a link is to last."""

    hours: Annotated[int, Meta(ge=1, le=168, description="Until it ends, if nobody used it.")] = (
        sessions.LINK_LASTS // timedelta(hours=1)
    )


class AskedSignOut(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Which device is to be signed out."""

    device: Annotated[
        UUID | None,
        Meta(description="Its `id`. Left out: all; a link and addresses of calendars go too."),
    ] = None


class SignedOut(msgspec.Struct, frozen=True, kw_only=True):
    """How many devices were signed out."""

    devices: Annotated[int, Meta(ge=0)]


@operation("GET", "/v1/people", tag=TAG, scope=PEOPLE_MANAGE, query=Paged, answer=Page[PersonShown])
async def list_people(call: Call[Paged]) -> Reply:
    """List by reference the people who work at a site that the key sees.

    Who works at every site is listed for keys of every site. Names are contacts' business.
    """
    query = call.query
    after = decoded_cursor(query.cursor) if query.cursor else ""
    if after and not REFERENCE.fullmatch(after):
        raise no_cursor()
    async with call.services.reading() as connection:
        position = await read.head(connection)
        found = await people.page(
            connection, call.principal.site_list, after=after, limit=query.limit + 1
        )
    reply = page(call, [shown(one) for one in found], lambda one: one.reference, position)
    return Reply(reply.body, headers=reply.headers, cache=CACHE)


@operation("GET", "/v1/people/{reference:str}", tag=TAG, scope=PEOPLE_MANAGE, answer=PersonShown)
async def get_person(call: Call[NoQuery]) -> Reply:
    """One person. The ETag is needed to change them."""
    found = await seen(call.services, call.principal, _reference(call))
    return Reply(shown(found), etag=etag(found.version), cache=CACHE)


@operation(
    "PUT",
    "/v1/people/{reference:str}",
    tag=TAG,
    scope=PEOPLE_MANAGE,
    accepts=(JSON,),
    body=PersonDetails,
    answer=PersonShown,
    answers=(200, 201),
    problems=("not-found", "refused", "precondition-failed", "precondition-required"),
    request_headers=("If-Match", "If-None-Match"),
)
async def put_person(call: Call[NoQuery]) -> Reply:
    """Let a person sign in, or change what they may do.

    The reference is the actor of what they record: choose one that tells nothing by itself, for
    events are kept for ever, and put the name into a contact of the same reference. Nobody gives
    what their own key may not do, nor changes who may do more. Who is given more than before is
    signed out and signs in afresh by a new link. Fewer rights count at once.
    """
    reference = _reference(call)
    details = decoded(await call.body(), PersonDetails)
    current = await current_of(call.services, call.principal, reference)
    version = expected_position(
        call.header("if-match"),
        call.header("if-none-match"),
        current.version if current else None,
        f"The person {reference}",
    )
    stored = await give(
        call.services, call.principal, reference, details, current=current, version=version
    )
    return Reply(
        shown(stored),
        200 if current else 201,
        etag=etag(stored.version),
        headers={"Location": f"/v1/people/{reference}"},
        cache=CACHE,
    )


@operation(
    "DELETE",
    "/v1/people/{reference:str}",
    tag=TAG,
    scope=PEOPLE_MANAGE,
    answers=(204,),
    problems=("not-found", "refused", "precondition-failed"),
    request_headers=("If-Match",),
)
async def remove_person(call: Call[NoQuery]) -> Reply:
    """Let a person sign in no more, at once on every device. What they recorded stays."""
    current = await seen(call.services, call.principal, _reference(call))
    if call.header("if-match") is not None:
        what = f"The person {current.reference}"
        expected_position(call.header("if-match"), None, current.version, what)
    await take_away(call.services, call.principal, current)
    return Reply(status=204, cache=CACHE)


@operation(
    "POST",
    "/v1/people/{reference:str}/link",
    tag=TAG,
    scope=PEOPLE_MANAGE,
    accepts=(JSON,),
    body=AskedLink,
    answer=Link,
    problems=("not-found", "refused", "precondition-failed"),
)
async def make_link(call: Call[NoQuery]) -> Reply:
    """Make a link and a code, either of which signs one device in, once.

    Give them to the person and to nobody else: whoever has one is taken for them. An earlier link
    of theirs is void with it. The code lasts ten minutes and bears five wrong tries.
    """
    wanted = decoded(await call.body(), AskedLink)
    current = await seen(call.services, call.principal, _reference(call))
    lasts = timedelta(hours=wanted.hours)
    return Reply(await link_for(call.services, call.principal, current, lasts=lasts), cache=CACHE)


@operation(
    "GET",
    "/v1/people/{reference:str}/devices",
    tag=TAG,
    scope=PEOPLE_MANAGE,
    query=Paged,
    answer=Page[Device],
)
async def list_devices(call: Call[Paged]) -> Reply:
    """List where a person is signed in: twenty devices at most, the one seen last first."""
    if call.query.cursor:
        raise no_cursor()
    current = await seen(call.services, call.principal, _reference(call))
    async with call.services.reading() as connection:
        position = await read.head(connection)
    async with call.services.writing() as connection:
        found = await sessions.devices(connection, current.reference, call.services.clock())
    body = {"position": position, "items": found[: call.query.limit], "next": None}
    return Reply(body, etag=content_tag(msgspec.json.encode(body)), cache=CACHE)


@operation(
    "POST",
    "/v1/people/{reference:str}/sign-out",
    tag=TAG,
    scope=PEOPLE_MANAGE,
    accepts=(JSON,),
    body=AskedSignOut,
    answer=SignedOut,
    problems=("not-found",),
)
async def sign_out_person(call: Call[NoQuery]) -> Reply:
    """Sign a person out on a device that was lost, or on all of them, at once.

    It takes nothing but time to sign in again, so whoever manages one of their sites may.
    """
    wanted = decoded(await call.body(), AskedSignOut)
    current = await seen(call.services, call.principal, _reference(call))
    async with call.services.writing() as connection:
        if wanted.device is None:
            count = await sign_out_all(connection, current.reference)
        else:
            count = int(await sessions.sign_out(connection, current.reference, wanted.device))
    return Reply(SignedOut(devices=count), cache=CACHE)


def _reference(call: Call[Any]) -> str:
    value = str(call.request.scope["path_params"]["reference"])
    if not REFERENCE.fullmatch(value):
        raise not_found("What the address names")
    return value


HANDLERS = [
    list_people,
    get_person,
    put_person,
    remove_person,
    make_link,
    list_devices,
    sign_out_person,
]
