"""Webhooks: addresses that are told what happens, as it happens."""

from collections.abc import Sequence
from typing import Any

from msgspec.structs import asdict

from service.api import wording
from service.api.conditional import etag, expected_position
from service.api.cursors import after_code
from service.api.operation import JSON, Call, NoQuery, Page, Paged, Reply, operation, page
from service.api.problems import Mistake, Problem, lacks_scope, not_found
from service.api.taking_in import decoded
from service.log import read
from service.log.rights import READ, WEBHOOKS, sites_set
from service.webhooks import subscriptions
from service.webhooks.guard import Guard, Refused
from service.webhooks.sealing import Sealer
from service.webhooks.subscriptions import MadeWebhook, Webhook, WebhookDetails

TAG = "Webhooks"
# A secret goes by here, and who is told what is nobody else's to know.
CACHE = "no-store"


@operation("GET", "/v1/webhooks", tag=TAG, scope=WEBHOOKS, query=Paged, answer=Page[Webhook])
async def list_webhooks(call: Call[Paged]) -> Reply:
    """List webhooks by code: those that are told of sites which the key sees, and of no others."""
    after = after_code(call.query.cursor)
    async with call.services.reading() as connection:
        position = await read.head(connection)
        found = await subscriptions.page(
            connection, call.principal.site_list, after=after, limit=call.query.limit + 1
        )
    return page(call, found, lambda one: one.code, position)


@operation("GET", "/v1/webhooks/{code:str}", tag=TAG, scope=WEBHOOKS, answer=Webhook)
async def get_webhook(call: Call[NoQuery]) -> Reply:
    """One webhook as it is set. Its ETag is needed to change it."""
    found = await seen(call)
    return Reply(found, etag=etag(found.version))


@operation(
    "PUT",
    "/v1/webhooks/{code:str}",
    tag=TAG,
    scope=WEBHOOKS,
    accepts=(JSON,),
    body=WebhookDetails,
    answer=MadeWebhook,
    answers=(200, 201),
    problems=("not-found", "refused", "precondition-failed", "precondition-required"),
    request_headers=("If-Match", "If-None-Match"),
)
async def put_webhook(call: Call[NoQuery]) -> Reply:
    """Have an address told, or change what it is told, whole. You choose the code.

    A new one is told events recorded from now on, and of topics all that is so now; its secret is
    in this answer and in no other. Each message is a CloudEvent 1.0 (JSON), signed by Standard
    Webhooks 1.0.0. Answer 2xx within 15 seconds; anything else (a redirect too) is tried again,
    ten attempts over three days, and what comes after it waits. Then it stops and keeps its place
    until it is resumed; 410 stops it at once. Messages come at least once and in the order of the
    log; webhook-id is the same each time. It sees what the live keys of your key's name see, which
    need the scope read too. To change one send its ETag in If-Match.
    """
    code = call.code()
    details = decoded(await call.body(), WebhookDetails)
    _check_types(details.types or ())
    if not call.principal.may(READ):
        raise lacks_scope(READ)
    sealer = sealer_of(call)
    current = await _current(call, code)
    version = expected_position(
        call.header("if-match"),
        call.header("if-none-match"),
        current.version if current else None,
        f"The webhook {code}",
    )
    sites = sites_set(details.sites, current.sites if current else None, call.principal)
    await _check(call, details, new=current is None)
    async with call.services.writing() as connection:
        secret = await subscriptions.put(
            connection,
            code,
            details,
            sites,
            principal=call.principal,
            at=call.services.clock(),
            version=version,
            sealer=sealer,
        )
    if secret is None:
        raise changed(code)
    stored = await seen(call)
    return Reply(
        MadeWebhook(**asdict(stored), secret=secret or None),
        200 if current else 201,
        etag=etag(stored.version),
        headers={"Location": f"/v1/webhooks/{code}"},
        cache=CACHE,
    )


@operation(
    "DELETE",
    "/v1/webhooks/{code:str}",
    tag=TAG,
    scope=WEBHOOKS,
    answers=(204,),
    problems=("not-found", "precondition-failed"),
    request_headers=("If-Match",),
)
async def remove_webhook(call: Call[NoQuery]) -> Reply:
    """Tell the address nothing more, and forget its secrets and how far it had come."""
    current = await seen(call)
    if call.header("if-match") is not None:
        what = f"The webhook {current.code}"
        expected_position(call.header("if-match"), None, current.version, what)
    async with call.services.writing() as connection:
        removed = await subscriptions.remove(connection, current.code, current.version)
    if not removed:
        raise changed(current.code)
    return Reply(status=204, cache=CACHE)


async def seen(call: Call[Any]) -> Webhook:
    """The webhook in the path. Raises 404 when there is none that the key sees."""
    code = call.code()
    async with call.services.reading() as connection:
        found = await subscriptions.webhook(connection, call.principal.site_list, code)
    if found is None:
        raise not_found(f"The webhook {code}")
    return found


def sealer_of(call: Call[Any]) -> Sealer:
    """What secrets are sealed with. Raises a 503 problem where the service has no key for it."""
    keys = call.services.settings.secrets_key
    if not keys:
        raise Problem(
            "not-ready", "There are no webhooks here: the service has no GRAFTLOG_SECRETS_KEY."
        )
    return Sealer(keys)


def changed(code: str) -> Problem:
    return Problem("precondition-failed", f"The webhook {code} was changed since it was read.")


async def _current(call: Call[Any], code: str) -> Webhook | None:
    """The webhook; None when there is none. Raises 404 when there is one that is not seen."""
    async with call.services.reading() as connection:
        found = await subscriptions.webhook(connection, call.principal.site_list, code)
        if found is None and await subscriptions.taken(connection, code):
            raise not_found(f"The webhook {code}")
    return found


def _check_types(types: Sequence[str]) -> None:
    """Raises 422 for a type of which nothing is ever told."""
    allowed = subscriptions.TELLABLE
    mistakes = [
        Mistake(
            kind="bad_value",
            detail=wording.one_of(kind, list(allowed), "type of event or topic"),
            pointer=f"#/types/{number}",
        )
        for number, kind in enumerate(types)
        if kind not in allowed
    ]
    if mistakes:
        raise Problem("validation-error", "Nothing was changed: see errors.", errors=mistakes)


async def _check(call: Call[Any], details: WebhookDetails, *, new: bool) -> None:
    """Raises 409 for what can't be: an address inside, codes that nobody knows, one too many."""
    mistakes = []
    loopback = call.services.settings.webhook_targets == "loopback"
    try:
        Guard(loopback=loopback).check_url(details.url)
    except Refused as error:
        mistakes.append(Mistake(kind="no_target", detail=str(error), pointer="#/url"))
    named = {
        f"#/{kind}": (kind, code)
        for kind in ("cultivar", "rootstock", "size")
        if (code := getattr(details, kind)) is not None
    } | {f"#/sites/{number}": ("site", site) for number, site in enumerate(details.sites or ())}
    sites = call.principal.site_list
    async with call.services.reading() as connection:
        for pointer, (kind, code) in named.items():
            if await read.unknown_codes(connection, sites, {kind: code}):
                detail = f"No {kind} {code} is known."
                mistakes.append(Mistake(kind="unknown_code", detail=detail, pointer=pointer))
        most = subscriptions.MOST_OF_ONE_NAME
        if new and await subscriptions.count_of(connection, call.principal.name) >= most:
            detail = f"{call.principal.name} has {most} webhooks, and may have no more."
            mistakes.append(Mistake(kind="too_many", detail=detail, pointer="#"))
    if mistakes:
        raise Problem("refused", "Nothing was changed: see errors.", errors=mistakes)


HANDLERS = [list_webhooks, get_webhook, put_webhook, remove_webhook]
