"""The writer: concurrent requests become groups, each decided under one lock and written at once.

A request waits in a bounded queue. The appender takes all that wait, opens one transaction, takes
the lock as its own first statement, loads what the group touches, judges request by request in
memory, writes what was accepted, commits, and answers each request with its own verdicts. A
lonely request is a group of one and waits for nobody.
"""

import asyncio
import contextlib
from collections import deque
from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Any
from uuid import UUID, uuid4

import asyncpg
import msgspec
import structlog

from service.clock import Clock, system_clock
from service.log import answering
from service.log.incoming import Part, parts_of, understand, units_of
from service.log.loading import SQL, Loader, load_catalogue, load_holds
from service.log.submission import (
    Answer,
    Busy,
    Fault,
    KeyInFlight,
    KeyReused,
    OutcomeUnknown,
    Submission,
    Verdict,
)
from service.log.writing import Entered, write
from service.storage.pool import Connection, Database
from service.trade.books import Books, Catalogue, Hold
from service.trade.units import UnitRefused, take_in

log = structlog.get_logger(__name__)

# A group holds at most so many events, so that a lock is never held for long.
GROUP_EVENTS = 4000
GROUP_REQUESTS = 256
# With a steady stream of groups, listeners are told at most this often.
NOTIFY_EVERY_S = 0.01


class Pending(msgspec.Struct, eq=False):
    """A request that waits for its verdicts."""

    submission: Submission
    parts: list[Part]
    answered: "asyncio.Future[Answer]"


class _Kept:
    """What is kept between groups; every use compares its position with the head's."""

    def __init__(self) -> None:
        self.catalogue: Catalogue | None = None
        self.catalogue_position = -1
        self.holds: dict[str, Hold] = {}
        self.holds_position = -1


class Appender:
    """The log's writer in this process. Start it, append, stop it."""

    def __init__(
        self, database: Database, *, clock: Clock = system_clock, queue_limit: int = 2000
    ) -> None:
        self._database = database
        self._clock = clock
        self._queue_limit = queue_limit
        self._queue: deque[Pending] = deque()
        self._waiting_events = 0
        self._woken = asyncio.Event()
        self._task: asyncio.Task[None] | None = None
        self._keys_in_flight: set[tuple[str, str]] = set()
        self._kept = _Kept()
        self._notified_at = 0.0
        self._notify_task: asyncio.Task[None] | None = None
        self._newest = 0

    async def start(self) -> None:
        """Begin to take requests."""
        self._task = asyncio.create_task(self._run(), name="appender")

    async def stop(self) -> None:
        """Finish what waits, then end."""
        if self._task is None:
            return
        while self._queue and not self._task.done():
            self._woken.set()
            await asyncio.sleep(0.01)
        self._task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await self._task
        self._task = None
        if self._notify_task is not None:
            with contextlib.suppress(Exception):
                await self._notify_task

    async def append(self, submission: Submission) -> Answer:
        """Record, or say exactly why not.

        Raises Busy, KeyInFlight, KeyReused, OutcomeUnknown. A caller that goes away does not take
        its request with it: what was queued is decided.
        """
        count = len(submission.elements)
        if self._task is None or self._task.done():
            raise Busy
        if self._queue and self._waiting_events + count > self._queue_limit:
            raise Busy
        key = submission.key
        flight = (submission.principal.name, key.key) if key else None
        if flight is not None:
            if flight in self._keys_in_flight:
                raise KeyInFlight
            self._keys_in_flight.add(flight)
        pending = Pending(
            submission, parts_of(submission), asyncio.get_running_loop().create_future()
        )
        if flight is not None:
            pending.answered.add_done_callback(
                lambda _, flight=flight: self._keys_in_flight.discard(flight)  # type: ignore[misc]
            )
        self._queue.append(pending)
        self._waiting_events += count
        self._woken.set()
        return await asyncio.shield(pending.answered)

    # -- groups --------------------------------------------------------------------

    async def _run(self) -> None:
        while True:
            await self._woken.wait()
            self._woken.clear()
            while self._queue:
                group: list[Pending] = []
                events = 0
                while self._queue and len(group) < GROUP_REQUESTS and events < GROUP_EVENTS:
                    pending = self._queue.popleft()
                    events += len(pending.parts)
                    group.append(pending)
                self._waiting_events -= events
                await self._decide(group)

    async def _decide(self, group: list[Pending]) -> None:
        """Decide a group; a data error makes it run again request by request."""
        try:
            answers = await self._transaction(group)
        except (
            asyncpg.PostgresConnectionError,
            asyncpg.InterfaceError,
            OSError,
            TimeoutError,
        ) as e:
            self._kept = _Kept()
            log.warning("the database went away", error=str(e), requests=len(group))
            await self._look_up(group)
            return
        except Exception as error:
            # Whatever was half applied in memory is of no use any more.
            self._kept = _Kept()
            if len(group) > 1:
                for pending in group:
                    await self._decide([pending])
                return
            log.exception("a request could not be decided", error=str(error))
            _settle(group[0], error)
            return
        for pending, answer in zip(group, answers, strict=True):
            _settle(pending, answer)

    async def _transaction(self, group: list[Pending]) -> list[Answer | Exception]:
        async with self._database.writer.acquire() as connection, connection.transaction():
            await connection.execute(SQL.lock)
            session = _Group(connection, self._kept, self._clock)
            answers = await session.decide(group)
            if session.entered and self._may_notify():
                await connection.execute(SQL.notify, str(session.books.position))
        if session.entered:
            self._newest = session.books.position
            self._later_notify()
        return answers

    # -- telling listeners -------------------------------------------------------------

    def _may_notify(self) -> bool:
        now = asyncio.get_running_loop().time()
        if now - self._notified_at < NOTIFY_EVERY_S:
            return False
        self._notified_at = now
        self._told = True
        return True

    _told = False

    def _later_notify(self) -> None:
        """When the group was not told of because of the throttle, tell a little later."""
        if self._told:
            self._told = False
            return
        if self._notify_task is None or self._notify_task.done():
            self._notify_task = asyncio.create_task(self._trailing_notify())

    async def _trailing_notify(self) -> None:
        await asyncio.sleep(NOTIFY_EVERY_S)
        self._notified_at = asyncio.get_running_loop().time()
        try:
            await self._database.writer.execute(SQL.notify, str(self._newest))
        except (asyncpg.PostgresError, asyncpg.InterfaceError, OSError) as error:
            # Readers poll as a safety net; the next group tells again.
            log.warning("listeners were not told", error=str(error))

    # -- unknown outcomes ------------------------------------------------------------------

    async def _look_up(self, group: list[Pending]) -> None:
        """After a lost connection ask by id whether the group got in; never say 'refused'."""
        ids = [p.event.id for one in group for p in one.parts if p.event is not None]
        found: dict[str, int] | None = None
        for attempt in range(3):
            try:
                rows = await self._database.writer.fetch(SQL.outcome, ids, timeout=5)
                found = {row["id"]: row["position"] for row in rows}
                break
            except (asyncpg.PostgresError, asyncpg.InterfaceError, OSError, TimeoutError):
                await asyncio.sleep(0.1 * (attempt + 1))
        for pending in group:
            mine = [p.event.id for p in pending.parts if p.event is not None]
            if found and mine and all(event_id in found for event_id in mine):
                verdicts = [
                    Verdict(id=event_id, verdict="accepted", position=found[event_id or ""])
                    for event_id in mine
                ]
                newest = max(found[event_id or ""] for event_id in mine)
                _settle(pending, Answer(status=201, verdicts=verdicts, position=newest))
            else:
                _settle(pending, OutcomeUnknown())


def _settle(pending: Pending, outcome: Answer | Exception) -> None:
    if pending.answered.done():
        return
    if isinstance(outcome, Exception):
        pending.answered.set_exception(outcome)
    else:
        pending.answered.set_result(outcome)


class _Group:
    """One group inside its transaction, the lock held."""

    def __init__(self, connection: Connection, kept: _Kept, clock: Clock) -> None:
        self.connection = connection
        self.kept = kept
        self.books = Books()
        self.newest = self.clock_now = clock().astimezone(UTC)
        self.next_code = self.start_position = 0
        self.catalogue_position = self.holds_position = 0
        self.entered: list[Entered] = []
        self.known: dict[str, tuple[int, bytes]] = {}
        self.waiting: set[str] = set()
        self.keys: dict[tuple[str, str], Any] = {}
        self.refused_rows: list[tuple[Any, ...]] = []
        self.key_rows: list[tuple[Any, ...]] = []

    async def decide(self, group: list[Pending]) -> list[Answer | Exception]:
        """Verdicts for all requests of the group, and everything written that they changed."""
        await self._head()
        await self._seen_before(group)
        for pending in group:
            now = pending.submission.recorded_at or max(self.newest, self.clock_now)
            for part in pending.parts:
                if part.event is not None and not part.faults:
                    understand(part, self.books.catalogue, now)
        loader = Loader(self.connection, self.books, self.next_code)
        await loader.load(
            [p.incoming for one in group for p in one.parts if p.incoming is not None]
        )
        self.next_code = loader.next_code
        answers: list[Answer | Exception] = [self._one(pending) for pending in group]
        await self._name_the_events(answers)
        await self._write()
        return answers

    async def _head(self) -> None:
        row = await self.connection.fetchrow(SQL.head)
        assert row is not None
        books, kept = self.books, self.kept
        books.position = row["position"]
        books.next_account_id, books.next_lot_id = row["next_account_id"], row["next_lot_id"]
        self.newest = row["recorded_at"]
        self.next_code = row["next_code"]
        self.start_position = books.position
        if kept.catalogue is None or kept.catalogue_position != row["catalogue_position"]:
            kept.catalogue = await load_catalogue(self.connection)
            kept.catalogue_position = row["catalogue_position"]
        if kept.holds_position != row["holds_position"]:
            kept.holds = await load_holds(self.connection)
            kept.holds_position = row["holds_position"]
        books.catalogue, books.holds = kept.catalogue, kept.holds
        self.catalogue_position = row["catalogue_position"]
        self.holds_position = row["holds_position"]

    async def _seen_before(self, group: list[Pending]) -> None:
        ids = [p.event.id for one in group for p in one.parts if p.event is not None]
        if ids:
            for event_id, position, digest in await self.connection.fetch(SQL.known, ids):
                if position < 0:
                    self.waiting.add(event_id)
                else:
                    self.known[event_id] = (position, digest)
        keyed = [one.submission for one in group if one.submission.key is not None]
        if keyed:
            rows = await self.connection.fetch(
                SQL.keys,
                [s.principal.name for s in keyed],
                [s.key.key for s in keyed if s.key],
            )
            self.keys = {(row["principal"], row["key"]): row for row in rows}

    # -- one request -----------------------------------------------------------------------

    def _one(self, pending: Pending) -> Answer | Exception:
        submission = pending.submission
        key = submission.key
        if key is not None:
            seen = self.keys.get((submission.principal.name, key.key))
            if seen is not None:
                same = (seen["method_path"], seen["fingerprint"]) == (
                    key.method_path,
                    key.fingerprint,
                )
                if not same:
                    return KeyReused()
                return Answer(
                    status=seen["status"],
                    verdicts=[],
                    position=self.books.position,
                    replayed=True,
                    stored=seen["body"],
                )
        mark, entered = self.books.mark(), len(self.entered)
        at = self._recorded_at(submission, pending.parts)
        self.books.now = at
        answer = self._expected(submission) or self._verdicts(submission, pending.parts, at)
        if submission.check or (submission.mode == "all" and answer.status >= 400):
            self.books.roll_back(mark)
            del self.entered[entered:]
            return msgspec.structs.replace(answer, position=self.start_position)
        if len(self.entered) > entered:
            self.newest = at
        if key is not None and answer.status < 300:
            body = answering.encode(answer, submission.array)
            self.key_rows.append(
                (
                    submission.principal.name,
                    key.key,
                    key.method_path,
                    key.fingerprint,
                    answer.status,
                    body,
                    at,
                )
            )
        return answer

    def _recorded_at(self, submission: Submission, parts: list[Part]) -> datetime:
        """One `recorded_at` a group, but for imports, which bring their own, never going back."""
        given = submission.recorded_at
        newest = self.newest
        if given is None:
            return max(newest, self.clock_now)
        if given < newest:
            fault = Fault(
                kind="out_of_order",
                detail=f"The log knows of events up to {newest.isoformat()}; what is imported "
                "must not come before.",
                numbers={"newest": newest.isoformat(), "given": given.isoformat()},
            )
            for part in parts:
                part.faults.append(fault)
                part.incoming = None
            return newest
        return given

    def _expected(self, submission: Submission) -> Answer | None:
        """412 when an entry's last change is not where the client saw it."""
        for (kind, code), position in submission.expected.items():
            found = self.books.catalogue.entries.get((kind, code))
            present = found[1] if found else 0
            if present != position:
                fault = Fault(
                    kind="position_moved",
                    detail=f"{code} was last changed at position {present}, not {position}.",
                    numbers={"position": present, "expected": position},
                )
                refused = Verdict(id=None, verdict="refused", errors=[fault])
                return Answer(status=412, verdicts=[refused], position=self.books.position)
        return None

    def _verdicts(self, submission: Submission, parts: list[Part], at: datetime) -> Answer:
        verdicts: dict[int, Verdict] = {}
        for part in parts:
            self._known_or_faulty(part, verdicts, submission)
        for unit in units_of(submission, [p for p in parts if p.index not in verdicts]):
            if submission.mode == "all" and any(v.verdict == "refused" for v in verdicts.values()):
                break
            self._unit(submission, unit, at, verdicts)
        refused = any(v.verdict in ("refused", "malformed") for v in verdicts.values())
        if submission.mode == "each":
            self._keep_refused(submission, parts, verdicts, at)
            status = 200
        elif refused:
            listed = [v for _, v in sorted(verdicts.items())]
            # Nothing of a request that is refused whole was recorded.
            listed = [v if v.errors else msgspec.structs.replace(v, position=None) for v in listed]
            for part in parts:
                if part.index not in verdicts and part.event is not None:
                    listed.insert(part.index, Verdict(id=part.event.id, verdict="refused"))
            return Answer(status=409, verdicts=listed, position=self.start_position)
        else:
            status = 201 if any(v.verdict == "accepted" for v in verdicts.values()) else 200
        ordered = [verdicts[part.index] for part in parts]
        return Answer(
            status=200 if submission.check else status,
            verdicts=ordered,
            position=self.books.position,
        )

    def _known_or_faulty(
        self, part: Part, verdicts: dict[int, Verdict], submission: Submission
    ) -> None:
        event = part.event
        if event is None:
            verdicts[part.index] = Verdict(
                id=_id_in(part.element.raw), verdict="malformed", errors=part.faults
            )
            return
        known = self.known.get(event.id or "")
        if known is not None:
            position, digest = known
            if digest == part.digest:
                verdicts[part.index] = Verdict(id=event.id, verdict="known", position=position)
                return
            part.faults.append(
                Fault(
                    kind="id_reused",
                    detail=f"Event {event.id} is in the log with other content.",
                    pointer="#/id",
                    numbers={"position": position},
                )
            )
        if part.faults:
            verdicts[part.index] = Verdict(id=event.id, verdict="refused", errors=part.faults)

    def _unit(
        self, submission: Submission, unit: list[Part], at: datetime, verdicts: dict[int, Verdict]
    ) -> None:
        by_index = {part.index: part for part in unit}
        try:
            accepted = take_in(self.books, [p.incoming for p in unit if p.incoming is not None])
        except UnitRefused as refused:
            for index, part in by_index.items():
                faults = refused.faults.get(index, [])
                if not faults:
                    faults = (
                        [
                            Fault(
                                kind="counts_disagree",
                                detail="It was judged together with an event that was refused.",
                            )
                        ]
                        if submission.mode == "each"
                        else []
                    )
                verdicts[index] = Verdict(
                    id=part.event.id if part.event else None, verdict="refused", errors=faults
                )
            return
        unit_id = uuid4()
        by = submission.recorded_by or submission.principal.name
        for one in accepted:
            verdicts[one.index] = Verdict(
                id=one.event.id,
                verdict="accepted",
                position=None if submission.check else one.position,
                lot=getattr(one.event.data, "lot", None),  # type: ignore[attr-defined]
                remarks=one.remarks,
            )
        if submission.check:
            # Later units of a check are judged as if the earlier ones had been recorded; the
            # caller rolls all of them back.
            return
        for one in accepted:
            self.entered.append(Entered(one, unit_id, at, by))
            self.known[one.event.id or ""] = (one.position, one.digest)

    def _keep_refused(
        self,
        submission: Submission,
        parts: list[Part],
        verdicts: dict[int, Verdict],
        at: datetime,
    ) -> None:
        if submission.check:
            return
        for part in parts:
            verdict = verdicts[part.index]
            if verdict.verdict not in ("refused", "malformed"):
                continue
            event_id = verdict.id
            if event_id is not None and any(f.kind == "id_reused" for f in verdict.errors):
                # The id is another, recorded event's: it can't be what this row is known by.
                event_id = None
            self.refused_rows.append(
                (
                    UUID(event_id) if event_id else None,
                    submission.principal.name,
                    part.event.site if part.event else _site_in(part.element.raw),
                    part.element.raw,
                    verdict.errors,
                    at,
                )
            )

    # -- after judging -------------------------------------------------------------------------

    async def _name_the_events(self, answers: Iterable[Answer | Exception]) -> None:
        """A refusal for a shortage names the events on that account that day."""
        for answer in answers:
            if isinstance(answer, Exception):
                continue
            for verdict in answer.verdicts:
                for fault in verdict.errors:
                    if "account_id" not in fault.numbers:
                        continue
                    account_id = fault.numbers.pop("account_id")
                    lot_id = fault.numbers.pop("lot_id")
                    day = datetime.fromisoformat(fault.numbers["day"]).date()
                    rows = await self.connection.fetch(SQL.events_there, lot_id, account_id, day)
                    fault.numbers["events_that_day"] = [dict(row) for row in rows]

    async def _write(self) -> None:
        books, connection = self.books, self.connection
        if self.entered:
            await write(connection, books, self.entered)
            types = {str(one.accepted.event.__struct_config__.tag) for one in self.entered}
            if "catalogue.changed" in types:
                self.catalogue_position = books.position
            if types & {"hold.placed", "hold.lifted", "label.lost", "event.voided"}:
                self.holds_position = books.position
            await connection.execute(
                SQL.save_head,
                books.position,
                max(one.recorded_at for one in self.entered),
                books.next_account_id,
                books.next_lot_id,
                self.next_code,
                self.catalogue_position,
                self.holds_position,
            )
            self.kept.catalogue_position = self.catalogue_position
            self.kept.holds_position = self.holds_position
            right = [
                (one.accepted.event.id, one.accepted.position)
                for one in self.entered
                if one.accepted.event.id in self.waiting
            ]
            if right:
                await connection.execute(
                    SQL.put_right, [i for i, _ in right], [p for _, p in right]
                )
        if self.refused_rows:
            await connection.executemany(SQL.keep_refused, self.refused_rows)
        if self.key_rows:
            await connection.executemany(SQL.save_key, self.key_rows)


class _Loose(msgspec.Struct):
    id: Any = None
    site: Any = None


def _id_in(raw: bytes) -> str | None:
    """The id inside something unreadable, if it has one."""
    with contextlib.suppress(msgspec.MsgspecError, ValueError, TypeError, AttributeError):
        return str(UUID(msgspec.json.decode(raw, type=_Loose).id))
    return None


def _site_in(raw: bytes) -> str | None:
    with contextlib.suppress(msgspec.MsgspecError, ValueError):
        site = msgspec.json.decode(raw, type=_Loose).site
        if isinstance(site, str) and len(site) <= 20 and "\x00" not in site:
            return site
    return None
