"""What is done with a webhook: seeing how far it is, trying, stopping, going on, telling again."""

from datetime import timedelta
from typing import Annotated, Literal
from uuid import uuid4

import msgspec
from msgspec import Meta

from service.api.cursors import after_number
from service.api.operation import JSON, Call, NoQuery, Page, Paged, Reply, operation, page
from service.api.problems import Mistake, Problem, lacks_scope, not_found
from service.api.taking_in import decoded
from service.api.webhooks import CACHE, TAG, sealer_of, seen
from service.log import read
from service.log.rights import READ, WEBHOOKS
from service.webhooks import subscriptions
from service.webhooks.subscriptions import AskedTest, Delivery, NewSecret, Progress, Webhook


class DeliveriesQuery(Paged, frozen=True, kw_only=True):
    """Which attempts are wanted."""

    outcome: (
        Literal["arrived", "answered", "timeout", "unreachable", "cut_off", "refused"] | None
    ) = None


class ReplaceSecret(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How a secret is replaced."""

    overlap_hours: Annotated[
        int,
        Meta(
            ge=0,
            le=subscriptions.LONGEST_OVERLAP_HOURS,
            description="How long messages are signed with the old secret too. 0: it is known to "
            "others, and no longer used.",
        ),
    ] = subscriptions.OVERLAP // timedelta(hours=1)


class Replay(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """From where it goes on."""

    position: Annotated[
        int,
        Meta(
            ge=0,
            le=2**53 - 1,
            description="What was recorded after this position of the log is told, once more if "
            "it was told before. A later one leaves out what is before it.",
        ),
    ]


@operation("GET", "/v1/webhooks/{code:str}/progress", tag=TAG, scope=WEBHOOKS, answer=Progress)
async def get_progress(call: Call[NoQuery]) -> Reply:
    """How far a webhook has come, and whether its receiver takes what is sent."""
    return await _progress(call)


async def _progress(call: Call[NoQuery]) -> Reply:
    code = call.code()
    async with call.services.reading() as connection:
        found = await subscriptions.progress(connection, call.principal.site_list, code)
    if found is None:
        raise not_found(f"The webhook {code}")
    return Reply(found)


@operation(
    "GET",
    "/v1/webhooks/{code:str}/deliveries",
    tag=TAG,
    scope=WEBHOOKS,
    query=DeliveriesQuery,
    answer=Page[Delivery],
)
async def list_deliveries(call: Call[DeliveriesQuery]) -> Reply:
    """List every attempt of the last seven days, the newest first. Bodies are not kept."""
    found, query = await seen(call), call.query
    before = after_number(query.cursor) or None
    async with call.services.reading() as connection:
        position = await read.head(connection)
        made = await subscriptions.deliveries(
            connection, found.code, before=before, limit=query.limit + 1, outcome=query.outcome
        )
    return page(call, made, lambda one: one.number, position)


@operation(
    "POST",
    "/v1/webhooks/{code:str}/test",
    tag=TAG,
    scope=WEBHOOKS,
    answer=AskedTest,
    answers=(202,),
)
async def send_test(call: Call[NoQuery]) -> Reply:
    """Have a message of the type webhook.test sent, once, also by one that is stopped.

    What became of it is among the deliveries within seconds.
    """
    found, message = await seen(call), uuid4()
    async with call.services.writing() as connection:
        await subscriptions.ask_test(connection, found.code, message)
    return Reply(AskedTest(message=str(message)), 202, cache=CACHE)


@operation(
    "POST",
    "/v1/webhooks/{code:str}/secret",
    tag=TAG,
    scope=WEBHOOKS,
    accepts=(JSON,),
    body=ReplaceSecret,
    answer=NewSecret,
    problems=("refused",),
)
async def replace_secret(call: Call[NoQuery]) -> Reply:
    """Make a new secret. For a while messages bear two signatures, so that none is turned away.

    Ten secrets at most are in use at a time.
    """
    found = await seen(call)
    wanted, at = decoded(await call.body(), ReplaceSecret), call.services.clock()
    until, sealer = at + timedelta(hours=wanted.overlap_hours), sealer_of(call)
    async with call.services.writing() as connection:
        try:
            secret = await subscriptions.replace_secret(
                connection, found.code, at=at, until=until, sealer=sealer
            )
        except subscriptions.TooMany as error:
            detail = (
                f"{subscriptions.MOST_SECRETS} secrets are in use. With overlap_hours 0 the old "
                "ones are out at once."
            )
            mistake = Mistake(kind="too_many", detail=detail, pointer="#/overlap_hours")
            raise Problem(
                "refused", "Nothing was changed: see errors.", errors=[mistake]
            ) from error
    return Reply(NewSecret(secret=secret, old_until=until), cache=CACHE)


@operation(
    "POST",
    "/v1/webhooks/{code:str}/replay",
    tag=TAG,
    scope=WEBHOOKS,
    accepts=(JSON,),
    body=Replay,
    answer=Progress,
    problems=("refused",),
)
async def replay_webhook(call: Call[NoQuery]) -> Reply:
    """Go on after another position of the log: tell again what was told, or leave something out.

    What is told again bears the ids it had, so a receiver that keeps them takes only what it
    missed. One that is stopped stays so until it is resumed.
    """
    found = await seen(call)
    wanted = decoded(await call.body(), Replay)
    async with call.services.writing() as connection:
        done = await subscriptions.set_position(
            connection,
            found.code,
            wanted.position,
            by=call.principal,
            at=call.services.clock(),
        )
    if not done:
        mistake = Mistake(
            kind="in_the_future", detail="The log is not that long.", pointer="#/position"
        )
        raise Problem("refused", "Nothing was changed: see errors.", errors=[mistake])
    return await _progress(call)


@operation("POST", "/v1/webhooks/{code:str}/stop", tag=TAG, scope=WEBHOOKS, answer=Webhook)
async def stop_webhook(call: Call[NoQuery]) -> Reply:
    """Tell nothing until it is resumed. It keeps its place."""
    found = await seen(call)
    async with call.services.writing() as connection:
        await subscriptions.stop(
            connection, found.code, by=call.principal, at=call.services.clock()
        )
    return Reply(await seen(call), cache=CACHE)


@operation("POST", "/v1/webhooks/{code:str}/resume", tag=TAG, scope=WEBHOOKS, answer=Webhook)
async def resume_webhook(call: Call[NoQuery]) -> Reply:
    """Go on where it stopped; nothing that was recorded meanwhile is left out.

    From now on it sees with the keys of your key's name. One that waits after a failure tries
    again at once.
    """
    found = await seen(call)
    if not call.principal.may(READ):
        raise lacks_scope(READ)
    async with call.services.writing() as connection:
        await subscriptions.resume(
            connection, found.code, by=call.principal, at=call.services.clock()
        )
    return Reply(await seen(call), cache=CACHE)


HANDLERS = [
    get_progress,
    list_deliveries,
    send_test,
    replace_secret,
    replay_webhook,
    stop_webhook,
    resume_webhook,
]
