"""Webhooks as people set them: what is told where, and how far it has come."""

from datetime import datetime, timedelta
from typing import Annotated, Literal
from uuid import UUID

import asyncpg
import msgspec
from msgspec import Meta

from service.log.read import Sites
from service.log.rights import Principal
from service.storage.pool import Connection
from service.storage.sql import load
from service.storage.walls import past_the_wall
from service.trade.events import EVENT_TYPES
from service.trade.words import Code, Text
from service.webhooks.sealing import Sealer
from service.webhooks.signing import new_secret
from service.webhooks.topics import TEST, TOPICS

SQL = load(__package__, "webhooks.sql")
TELLABLE = (*EVENT_TYPES, *TOPICS)
# Of one name: more is most often a program that makes one at each start.
MOST_OF_ONE_NAME = 100
# Of one webhook, signed with at a time: each makes every message longer.
MOST_SECRETS = 10
# How long both secrets are signed with, unless it is said otherwise.
OVERLAP = timedelta(hours=24)
# A receiver that is told to forget a secret needs it no longer than this.
LONGEST_OVERLAP_HOURS = 24 * 30

Told = Annotated[str, Meta(examples=["trees.sold"], extra_json_schema={"enum": list(TELLABLE)})]
State = Literal["active", "stopped"]
StoppedBecause = Literal["by_hand", "gone", "exhausted", "key_gone", "secret_unreadable"]
Because = Annotated[
    StoppedBecause | None,
    Meta(
        description="Why it is stopped. by_hand: somebody did. gone: the receiver answered 410. "
        "exhausted: a message did not arrive at any of ten attempts over three days. key_gone: no "
        "live key of the owner's name sees anything of its sites. secret_unreadable: the service "
        "lost the key that secrets are kept with; make a new secret."
    ),
]


class TooMany(Exception):
    """There would be more than can be; nothing was changed."""


class WebhookDetails(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What is to be told, and where.

    Item filters let through events that speak of such an item, by the lots, bags, reservations
    and orders that they name; a size holds back only events that name other sizes and not it.
    """

    url: Annotated[
        str,
        Meta(
            pattern=r"^https?://[!-~]+$(?!\n)",
            max_length=1000,
            description="Where messages are sent: https, on the open internet. No redirect is "
            "followed.",
            examples=["https://shop.example/graftlog"],
        ),
    ]
    types: (
        Annotated[
            list[Told],
            Meta(
                min_length=1,
                max_length=100,
                description="Types of events and topics. Left out: every event, types yet to come "
                "too, and no topic.",
            ),
        ]
        | None
    ) = None
    sites: (
        Annotated[
            list[Code],
            Meta(
                min_length=1,
                max_length=100,
                description="Whose events are told. Left out: as it was; of a new one the sites "
                "that the key sees.",
            ),
        ]
        | None
    ) = None
    cultivar: Code | None = None
    rootstock: Code | None = None
    size: Code | None = None
    note: Annotated[Text, Meta(description="What it is for.")] | None = None


class Webhook(msgspec.Struct, frozen=True, kw_only=True):
    """A webhook as it is set. `sites`: whose events it is told of, `*` for every site's."""

    code: Code
    url: str
    types: list[str] | None
    sites: list[str]
    cultivar: str | None
    rootstock: str | None
    size: str | None
    note: str | None
    owner: Annotated[
        str, Meta(description="The name of the keys that it sees with: of who set it last.")
    ]
    state: State
    stopped_because: Because
    version: Annotated[int, Meta(ge=1, description="Its ETag.")]
    created_at: datetime
    changed_at: datetime
    changed_by: str


class MadeWebhook(Webhook, frozen=True, kw_only=True):
    """A webhook just set. The secret of a new one is told here and never again."""

    secret: Annotated[
        str | None,
        Meta(
            description="What its messages are signed with (Standard Webhooks); null unless it is "
            "new."
        ),
    ]


class Progress(msgspec.Struct, frozen=True, kw_only=True):
    """How far a webhook has come."""

    code: Code
    state: State
    stopped_because: Because
    position: Annotated[int, Meta(ge=0, description="Events up to here were told or passed over.")]
    head: Annotated[int, Meta(ge=0, description="The log's newest position.")]
    attempts: Annotated[int, Meta(ge=0, description="How often the message at hand has failed.")]
    next_at: Annotated[datetime | None, Meta(description="It is not tried again before.")]
    failing_since: datetime | None
    told_at: Annotated[datetime | None, Meta(description="When a message last arrived.")]


class Delivery(msgspec.Struct, frozen=True, kw_only=True):
    """One attempt to bring a message."""

    number: int
    message: Annotated[
        str, Meta(description="The message's id (header webhook-id): the same at each attempt.")
    ]
    type: str
    position: Annotated[int | None, Meta(description="Of the event; null for a topic.")]
    attempt: Annotated[int, Meta(ge=1)]
    at: datetime
    outcome: Annotated[
        str,
        Meta(
            description="arrived; answered (another status than 2xx); timeout; unreachable; "
            "cut_off (the answer broke off); refused (the address is none for messages)."
        ),
    ]
    status: int | None
    milliseconds: int
    detail: str | None
    next_at: Annotated[datetime | None, Meta(description="When it is tried again, if it is.")]


class NewSecret(msgspec.Struct, frozen=True, kw_only=True):
    """A secret, told here and never again."""

    secret: str
    old_until: Annotated[
        datetime, Meta(description="Until then messages are signed with the old secret too.")
    ]


class AskedTest(msgspec.Struct, frozen=True, kw_only=True):
    """A test message that is on its way."""

    message: Annotated[str, Meta(description="Its id: look for it among the deliveries.")]
    type: Annotated[str, Meta(examples=[TEST])] = TEST


def _webhook(row: asyncpg.Record) -> Webhook:
    fields = dict(row)
    del fields["id"]
    return Webhook(**fields)


async def page(connection: Connection, sites: Sites, *, after: str, limit: int) -> list[Webhook]:
    """Webhooks after a code, in order of code."""
    return [_webhook(row) for row in await connection.fetch(SQL.page, after, sites, limit)]


async def webhook(connection: Connection, sites: Sites, code: str) -> Webhook | None:
    """One webhook; None when there is none that is wholly of these sites."""
    row = await connection.fetchrow(SQL.one, code, sites)
    return _webhook(row) if row else None


async def taken(connection: Connection, code: str) -> bool:
    """Whether the code has a webhook, seen or not."""
    async with past_the_wall(connection):
        return bool(await connection.fetchval(SQL.taken, code))


async def progress(connection: Connection, sites: Sites, code: str) -> Progress | None:
    """How far one has come."""
    row = await connection.fetchrow(SQL.progress, code, sites)
    return Progress(**row) if row else None


async def deliveries(
    connection: Connection, code: str, *, before: int | None, limit: int, outcome: str | None
) -> list[Delivery]:
    """Attempts, the newest first, before a number."""
    rows = await connection.fetch(SQL.deliveries, code, before, outcome, limit)
    return [Delivery(**row) for row in rows]


async def count_of(connection: Connection, owner: str) -> int:
    """How many webhooks a name has."""
    return int(await connection.fetchval(SQL.count_of, owner))


async def put(
    connection: Connection,
    code: str,
    details: WebhookDetails,
    sites: list[str],
    *,
    principal: Principal,
    at: datetime,
    version: int,
    sealer: Sealer,
) -> str | None:
    """Make (`version` 0) or change a webhook, whole. Gives a new one's secret, else an empty text;
    None when it was changed meanwhile."""
    types = list(dict.fromkeys(details.types)) if details.types is not None else None
    told = (types, details.cultivar, details.rootstock, details.size, details.note)
    arguments = (code, principal.name, sites, details.url, *told, at)
    secret = ""
    async with connection.transaction():
        if version:
            done = await connection.fetchval(SQL.change, *arguments, version)
        else:
            done = await connection.fetchval(SQL.add, *arguments, None)
            if done is not None:
                secret = new_secret()
                await connection.execute(SQL.add_secret, code, sealer.seal(secret), at)
        await connection.execute(SQL.changed)
    return None if done is None else secret


async def replace_secret(
    connection: Connection, code: str, *, at: datetime, until: datetime, sealer: Sealer
) -> str:
    """A new secret; those in use are signed with beside it until then. Raises TooMany."""
    secret = new_secret()
    async with connection.transaction():
        await connection.execute(SQL.replace_secrets, code, until, at)
        await connection.execute(SQL.add_secret, code, sealer.seal(secret), at)
        if await connection.fetchval(SQL.secrets_in_use, code, at) > MOST_SECRETS:
            raise TooMany
        await connection.execute(SQL.changed)
    return secret


async def resume(connection: Connection, code: str, *, by: Principal, at: datetime) -> None:
    """Go on where it stopped, seeing with the keys of who says so."""
    async with connection.transaction():
        await connection.execute(SQL.resume, code, at, by.name)
        await connection.execute(SQL.changed)


async def stop(connection: Connection, code: str, *, by: Principal, at: datetime) -> None:
    """Tell nothing until it is resumed."""
    async with connection.transaction():
        await connection.execute(SQL.stop_by_hand, code, at, by.name)
        await connection.execute(SQL.changed)


async def set_position(
    connection: Connection, code: str, position: int, *, by: Principal, at: datetime
) -> bool:
    """Go on after a position. False when the log is not that long."""
    async with connection.transaction():
        done = await connection.fetchval(SQL.set_position, code, position, at, by.name)
        await connection.execute(SQL.changed)
    return done is not None


async def ask_test(connection: Connection, code: str, message: UUID) -> None:
    """Have a test message sent."""
    async with connection.transaction():
        await connection.execute(SQL.ask_test, code, message)
        await connection.execute(SQL.changed)


async def remove(connection: Connection, code: str, version: int) -> bool:
    """Remove it with all that belongs to it; False when it was changed or removed meanwhile."""
    async with connection.transaction():
        gone = await connection.fetchval(SQL.remove, code, version)
        await connection.execute(SQL.changed)
    return gone is not None
