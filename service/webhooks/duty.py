"""What there is to deliver: the webhooks at work, as the database has them."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID, uuid5

import asyncpg
import msgspec
import structlog

from service.log.rights import READ, WEBHOOKS, sees_of
from service.storage.pool import Connection
from service.storage.sql import load
from service.webhooks.sealing import Sealer, Unreadable
from service.webhooks.topics import Message
from service.webhooks.wanted import Wanted

SQL = load(__package__, "webhooks.sql")
_log = structlog.get_logger(__name__)
# What a key must allow for a webhook to see with it.
SEES_WITH = [WEBHOOKS, READ]


@dataclass
class Duty:
    """One webhook at work: what is wanted, where it goes, and how far it has come."""

    code: str
    id: UUID
    version: int
    active: bool
    url: str
    wanted: Wanted
    secrets: list[str]
    position: int
    attempts: int
    next_at: datetime | None
    failing_since: datetime | None
    message: Message | None
    test: UUID | None
    # Why it can't be told anything, if that is so.
    stop_for: str | None = field(default=None)

    @property
    def terms(self) -> tuple[int, Wanted]:
        """While these are the same it goes on as it is."""
        return self.version, self.wanted

    def message_id(self, event_id: str) -> str:
        """The id by which this webhook is told of an event: the same at every attempt."""
        return str(uuid5(self.id, event_id))


async def load_duties(connection: Connection, sealer: Sealer, now: datetime) -> list[Duty]:
    """All that there is to work on. Secrets under an older key are sealed anew on the way."""
    duties = []
    for row in await connection.fetch(SQL.to_deliver, now, SEES_WITH):
        secrets = await open_secrets(connection, sealer, row["code"], row["sealed"] or ())
        sees = sees_of(row["sites"], row["owner_sees"])
        stop_for = None
        if sees is not None and not sees:
            stop_for = "key_gone"
        elif not secrets:
            stop_for = "secret_unreadable"
        duties.append(_duty(row, secrets, sees, stop_for))
    return duties


def _duty(
    row: asyncpg.Record, secrets: list[str], sees: frozenset[str] | None, stop_for: str | None
) -> Duty:
    types = row["types"]
    wanted = Wanted(
        None if types is None else frozenset(types),
        sees,
        row["cultivar"],
        row["rootstock"],
        row["size"],
    )
    message = msgspec.convert(row["message"], Message) if row["message"] else None
    return Duty(
        code=row["code"],
        id=row["id"],
        version=row["version"],
        active=row["state"] == "active",
        url=row["url"],
        wanted=wanted,
        secrets=secrets,
        position=row["position"],
        attempts=row["attempts"],
        next_at=row["next_at"],
        failing_since=row["failing_since"],
        # One that was made for who saw more, or wanted other things, is not sent any more.
        message=message if message is not None and message.wanted == wanted.text else None,
        test=row["test"],
        stop_for=stop_for,
    )


async def open_secrets(
    connection: Connection, sealer: Sealer, webhook: str, kept: Sequence[str]
) -> list[str]:
    """The secrets of a webhook that can be read; those under an older key are sealed anew."""
    found = []
    for sealed in kept:
        try:
            found.append(sealer.open(sealed))
            anew = sealer.sealed_anew(sealed)
        except Unreadable:
            _log.warning("webhook_secret_unreadable", webhook=webhook)
            continue
        if anew is not None:
            await connection.execute(SQL.reseal, webhook, sealed, anew)
    return found


async def seal_all_anew(connection: Connection, sealer: Sealer) -> None:
    """Have all secrets under the newest key, those of webhooks that are stopped too: afterwards an
    older key can go."""
    for row in await connection.fetch(SQL.all_secrets):
        await open_secrets(connection, sealer, row["webhook"], [row["sealed"]])
