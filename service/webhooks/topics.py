"""What changes without an event of its own: alerts, and what is available.

A topic is a table of subjects and what is to be said of each now. What differs from what a webhook
was told last is told next, so nothing is missed however long a receiver was away, and what changed
twice meanwhile is told once. A new webhook is told all that is so now.
"""

from collections.abc import Mapping
from datetime import datetime
from hashlib import blake2b
from time import monotonic
from typing import Any, Protocol
from uuid import uuid4

import msgspec

from service.clock import Clock
from service.reminders import alerts
from service.reminders.alerts import AlertRow
from service.storage.pool import Database
from service.storage.sql import load
from service.storage.walls import seeing
from service.views.availability_now import AvailabilityNow, Offered
from service.webhooks.wanted import Wanted

SQL = load(__package__, "webhooks.sql")

ALERT_RAISED, ALERT_CLOSED = "alert.raised", "alert.closed"
AVAILABILITY = "availability.changed"
TOPICS = (AVAILABILITY, ALERT_RAISED, ALERT_CLOSED)
TEST = "webhook.test"
# The type of a change that nobody is told of.
UNSEEN = "unseen"
# Messages are kept small (Standard Webhooks: under 20 kB).
_MOST_SUBJECTS = 50

# Webhooks of the same sites look together.
_LOOKED_SECONDS = 1.0


class TopicEvent(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A message that is no event of the log, as a CloudEvent 1.0."""

    id: str
    source: str
    type: str
    time: datetime
    data: Any
    subject: str | None = None
    specversion: str = msgspec.field(default_factory=lambda: "1.0")
    datacontenttype: str = msgspec.field(default_factory=lambda: "application/json")


class AvailabilityChanged(msgspec.Struct, frozen=True, kw_only=True):
    """Rows of the availability list that changed. `gone`: keys of rows that are there no more."""

    items: list[Offered]
    gone: list[str]


class Change(msgspec.Struct, frozen=True, kw_only=True):
    """Something to be told: its type, what it is about, its data, and what is said by it of which
    subjects; of `unsays` nothing is left to say."""

    type: str
    subject: str | None
    data: Any
    says: dict[str, str]
    unsays: list[str]


class Message(msgspec.Struct, frozen=True, kw_only=True):
    """A change on its way, as it is kept until it has arrived.

    `wanted`: what was wanted when it was made (`Wanted.text`). Who may see less by now is told of
    the change anew, not this.
    """

    id: str
    topic: str
    type: str
    body: str
    says: dict[str, str]
    unsays: list[str]
    wanted: str = ""


class Topic(Protocol):
    """One source of what is so now."""

    name: str
    types: tuple[str, ...]

    async def mark(self, wanted: Wanted) -> object:
        """While this is equal, `change` has nothing new to say."""
        ...

    async def change(self, told: Mapping[str, str], wanted: Wanted) -> Change | None:
        """The next thing to say to who was told `told`; None when nothing differs."""
        ...


def message_of(change: Change, topic: str, base: str, at: datetime, wanted: Wanted) -> Message:
    """A change as the message that is sent to who wants that."""
    message_id = str(uuid4())
    event = TopicEvent(
        id=message_id,
        source=base,
        type=change.type,
        time=at,
        subject=change.subject,
        data=change.data,
    )
    return Message(
        id=message_id,
        topic=topic,
        type=change.type,
        body=msgspec.json.encode(event).decode(),
        says=change.says,
        unsays=change.unsays,
        wanted=wanted.text,
    )


class Alerts:
    """Alerts that are raised and closed: one message each, as `GET /v1/alerts/{id}` tells it."""

    name: str = "alerts"
    types: tuple[str, ...] = (ALERT_RAISED, ALERT_CLOSED)

    def __init__(self, database: Database, clock: Clock) -> None:
        self._database, self._clock = database, clock
        self._looked: dict[str, tuple[float, frozenset[str]]] = {}

    async def mark(self, wanted: Wanted) -> object:
        return await self._open(wanted.site_list)

    async def change(self, told: Mapping[str, str], wanted: Wanted) -> Change | None:
        sites = wanted.site_list
        open_now = await self._open(sites)
        for alert in sorted(open_now - told.keys()):
            if (row := await self._row(alert, sites)) is not None:
                return self._change(ALERT_RAISED, alert, row, says={alert: "open"})
        for alert in sorted(told.keys() - open_now):
            row = await self._row(alert, sites)
            # One that is not seen any more may well be open still: it is forgotten, and not told.
            kind = ALERT_CLOSED if row is not None else UNSEEN
            return self._change(kind, alert, row, unsays=[alert])
        return None

    async def _open(self, sites: list[str] | None) -> frozenset[str]:
        """Open alerts; asked once for all webhooks of the same sites."""
        key, now = ",".join(sites) if sites is not None else "*", monotonic()
        looked = self._looked.get(key)
        if looked is None or now - looked[0] > _LOOKED_SECONDS:
            async with seeing(self._database.reader, sites, timeout=10) as connection:
                rows = await connection.fetch(SQL.open_alerts, sites)
            looked = self._looked[key] = now, frozenset(row["id"] for row in rows)
        return looked[1]

    async def _row(self, alert: str, sites: list[str] | None) -> AlertRow | None:
        return await alerts.alert(self._database.reader, alert, sites, clock=self._clock)

    def _change(
        self,
        kind: str,
        alert: str,
        data: Any,
        says: dict[str, str] | None = None,
        unsays: list[str] | None = None,
    ) -> Change:
        return Change(
            type=kind, subject=f"alert/{alert}", data=data, says=says or {}, unsays=unsays or []
        )


class Availability:
    """What can be reserved of items at sites: the rows that changed, up to fifty a message."""

    name: str = "availability"
    types: tuple[str, ...] = (AVAILABILITY,)

    def __init__(self, available: AvailabilityNow) -> None:
        self._available = available
        self._digests: dict[str, tuple[Offered, str]] = {}

    async def mark(self, wanted: Wanted) -> object:
        return (await self._available.get()).version

    async def change(self, told: Mapping[str, str], wanted: Wanted) -> Change | None:
        rows = {
            key: row
            for key, row in (await self._available.rows(wanted.sites)).items()
            if wanted.wants_item(row.cultivar, row.rootstock, row.size)
        }
        now = {key: self._digest(key, row) for key, row in rows.items()}
        other = [key for key, said in now.items() if told.get(key) != said][:_MOST_SUBJECTS]
        gone = [key for key in told if key not in now][: _MOST_SUBJECTS - len(other)]
        if not other and not gone:
            return None
        data = AvailabilityChanged(items=[rows[key] for key in other], gone=gone)
        return Change(
            type=AVAILABILITY,
            subject=None,
            data=data,
            says={key: now[key] for key in other},
            unsays=gone,
        )

    def _digest(self, key: str, row: Offered) -> str:
        held = self._digests.get(key)
        # Rows that did not change are the same objects.
        if held is None or held[0] is not row:
            said = blake2b(msgspec.json.encode(row), digest_size=12).hexdigest()
            held = self._digests[key] = row, said
        return held[1]
