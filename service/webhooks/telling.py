"""One webhook at work: one message after another, each until it has arrived."""

import asyncio
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from random import random
from time import monotonic
from typing import NamedTuple, Protocol

import msgspec

from service.feed.newest import Told
from service.webhooks import signing
from service.webhooks.duty import Duty
from service.webhooks.ledger import Attempt, Ledger, Standing
from service.webhooks.schedule import LONGEST, next_attempt
from service.webhooks.sending import Sender, Sent
from service.webhooks.tail import Tail
from service.webhooks.topics import TEST, Message, Topic, TopicEvent, message_of

# A place in the log that only passed by what is not wanted is written now and then.
_PASSED_BY = 500
_encode = msgspec.json.Encoder().encode


class Superseded(Exception):
    """The webhook was changed or stopped meanwhile: somebody reads it anew."""


class Timer(Protocol):
    """A clock that can be waited for."""

    def now(self) -> datetime: ...

    async def until(self, moment: datetime) -> None: ...


@dataclass(frozen=True)
class Means:
    """What all webhooks of a process are told by."""

    base: str
    tail: Tail
    topics: Sequence[Topic]
    sender: Sender
    ledger: Ledger
    timer: Timer
    chance: Callable[[], float] = random
    look_seconds: float = 2.0


class _Outgoing(NamedTuple):
    id: str
    type: str
    body: bytes
    position: int | None
    message: Message | None


class Telling:
    """Tells what a duty asks for, in order, from where it stands."""

    def __init__(self, duty: Duty, means: Means) -> None:
        self.duty, self._means = duty, means
        self._line = means.sender.line()
        # What arrived last is written while the next is sent.
        self._writing: asyncio.Task[bool] | None = None
        # Up to where the log was looked through; what of it is wanted waits in `_coming`.
        self._seen = duty.position
        self._coming: deque[Told] = deque()
        self._told: dict[str, dict[str, str]] = {}
        # Of each topic the mark at which there was nothing more to say.
        self._quiet: dict[str, object] = {}
        self._looked = float("-inf")

    async def run(self) -> None:
        """Until it is stopped, or changed by somebody."""
        try:
            while True:
                await self._bring(await self._next())
        except Superseded:
            return
        finally:
            # What is being written is left to the ledger, so that it need not be told again.
            await self._line.close()

    async def test(self) -> None:
        """Send the test message that was asked for, once, whatever else waits."""
        duty, means = self.duty, self._means
        assert duty.test is not None, "asked for"
        at, message_id = means.timer.now(), str(duty.test)
        event = TopicEvent(
            id=message_id,
            source=means.base,
            type=TEST,
            time=at,
            data={"webhook": duty.code},
        )
        body = _encode(event)
        try:
            sent = await self._send(message_id, at, body)
        finally:
            await self._line.close()
        made = Attempt(message_id, TEST, None, 1, at, *_result(sent), None)
        await means.ledger.tested(duty.code, duty.test, made)

    async def _next(self) -> _Outgoing:
        """The message at hand: wait until there is one."""
        duty, means = self.duty, self._means
        while True:
            if duty.message is not None:
                kept = duty.message
                return _Outgoing(kept.id, kept.type, kept.body.encode(), None, kept)
            # While much is recorded topics have their turn too.
            if monotonic() - self._looked >= means.look_seconds and await self._take_up_change():
                continue
            event = await self._next_event()
            if event is not None:
                stored = event.stored
                message_id = duty.message_id(stored.id)
                return _Outgoing(
                    message_id, stored.type, event.cloud(means.base), stored.position, None
                )
            if await self._take_up_change():
                continue
            await self._written()
            head = await means.tail.beyond(self._seen, means.look_seconds)
            if head <= self._seen and duty.position < self._seen:
                await self._write(self._standing())

    async def _next_event(self) -> Told | None:
        wanted = self.duty.wanted
        while not self._coming:
            page = await self._means.tail.page(self._seen)
            if not page:
                return None
            found = [one for one in page if wanted.wants_event(one.stored)]
            if wanted.of_items:
                items = await self._means.tail.items_of(found)
                found = [
                    one for one in found if wanted.wants_items_of(one.stored, items[one.position])
                ]
            self._coming.extend(found)
            self._seen = page[-1].position
            if not found and self._seen - self.duty.position >= _PASSED_BY:
                await self._write(self._standing())
        return self._coming[0]

    async def _take_up_change(self) -> bool:
        """Have the next change of a topic become the message at hand, if there is one."""
        duty, means = self.duty, self._means
        self._looked = monotonic()
        for topic in means.topics:
            if not any(map(duty.wanted.wants, topic.types)):
                continue
            mark = await topic.mark(duty.wanted)
            if self._quiet.get(topic.name, self) == mark:
                continue
            if topic.name not in self._told:
                self._told[topic.name] = await means.ledger.told(duty.code, topic.name)
            told = self._told[topic.name]
            while (change := await topic.change(told, duty.wanted)) is not None:
                message = message_of(change, topic.name, means.base, means.timer.now(), duty.wanted)
                if duty.wanted.wants(change.type):
                    # Kept before it is sent: a retry, in whichever process, says the very same.
                    duty.message = message
                    await self._write(self._standing())
                    return True
                await self._write(self._standing()._replace(said=message))
                self._remember(message)
            self._quiet[topic.name] = mark
        return False

    def _remember(self, message: Message) -> None:
        told = self._told.get(message.topic)
        if told is None:
            # Not looked up yet: it will be found as it was written.
            return
        told.update(message.says)
        for subject in message.unsays:
            told.pop(subject, None)

    async def _bring(self, out: _Outgoing) -> None:
        """Send until it has arrived; the place moves on with it."""
        duty, means = self.duty, self._means
        while True:
            if duty.next_at is not None:
                # It may have been set by a clock that was years ahead.
                await means.timer.until(min(duty.next_at, means.timer.now() + LONGEST))
            at = means.timer.now()
            sent = await self._send(out.id, at, out.body)
            ended = means.timer.now()
            if sent.arrived:
                await self._arrived(out, at, ended, sent)
                return
            await self._failed(out, at, ended, sent)

    async def _arrived(self, out: _Outgoing, at: datetime, ended: datetime, sent: Sent) -> None:
        duty = self.duty
        made = Attempt(out.id, out.type, out.position, duty.attempts + 1, at, *_result(sent), None)
        duty.attempts, duty.next_at, duty.failing_since, duty.message = 0, None, None, None
        if out.message is None:
            self._coming.popleft()
        standing = self._standing()
        standing = standing._replace(told_at=ended, said=out.message, attempt=made)
        if out.message is not None:
            await self._write(standing)
            self._remember(out.message)
            return
        await self._written()
        self._writing = asyncio.create_task(self._means.ledger.write(standing))

    async def _failed(self, out: _Outgoing, at: datetime, ended: datetime, sent: Sent) -> None:
        duty = self.duty
        duty.attempts += 1
        duty.failing_since = duty.failing_since or at
        duty.next_at = next_attempt(duty.attempts, sent, ended, self._means.chance)
        made = Attempt(
            out.id, out.type, out.position, duty.attempts, at, *_result(sent), duty.next_at
        )
        standing = self._standing()._replace(attempt=made)
        if duty.next_at is None:
            because = "gone" if sent.gone else "exhausted"
            await self._write(standing._replace(stopped_because=because, at=ended))
            raise Superseded
        await self._write(standing)

    async def _send(self, message_id: str, at: datetime, body: bytes) -> Sent:
        headers = signing.headers(self.duty.secrets, message_id, at, body)
        return await self._line.send(self.duty.url, headers, body)

    def _standing(self) -> Standing:
        """How far it is: up to what waits to be told, or as far as it has looked."""
        duty = self.duty
        duty.position = self._coming[0].position - 1 if self._coming else self._seen
        return Standing(
            duty.code,
            duty.version,
            duty.position,
            duty.attempts,
            duty.next_at,
            duty.failing_since,
            message=duty.message,
        )

    async def _written(self) -> None:
        """Wait for what is being written."""
        writing, self._writing = self._writing, None
        if writing is not None and not await writing:
            raise Superseded

    async def _write(self, standing: Standing) -> None:
        await self._written()
        if not await self._means.ledger.write(standing):
            raise Superseded


def _result(sent: Sent) -> tuple[str, int | None, int, str | None]:
    return sent.outcome, sent.status, sent.milliseconds, sent.detail
