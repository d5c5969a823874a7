"""Deciding one group of requests inside its transaction, the lock held."""

import asyncio
import random
from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

import msgspec

from service.clock import Clock
from service.log import answering
from service.log.incoming import Part, understand, units_of, zones_told
from service.log.loading import SQL, Loader, load_catalogue, load_holds
from service.log.put_right import PutRightOfGroup, id_in
from service.log.submission import Answer, Fault, KeyReused, Submission, Verdict
from service.log.writing import Entered, write
from service.storage.pool import Connection
from service.trade.books import Books, Hold
from service.trade.entries import Catalogue
from service.trade.events.envelope import Envelope
from service.trade.promising import PROMISED_AT
from service.trade.subjects import made_by
from service.trade.units import Accepted, UnitRefused, take_in
from service.trade.verdicts import Remark


class Pending(msgspec.Struct, eq=False):
    """A request that waits for its verdicts."""

    submission: Submission
    parts: list[Part]
    answered: "asyncio.Future[Answer]"


class Kept:
    """What is kept between groups; every use compares its position with the head's."""

    def __init__(self) -> None:
        self.catalogue: Catalogue | None = None
        self.catalogue_position = -1
        self.holds: dict[str, Hold] = {}
        self.holds_position = -1


class Group:
    """One group inside its transaction, the lock held."""

    def __init__(
        self, connection: Connection, kept: Kept, clock: Clock, confidence: float = PROMISED_AT
    ) -> None:
        """`confidence`: how sure the nursery wants to be of what it promises."""
        self.connection = connection
        self.kept = kept
        self.books = Books()
        self.books.confidence = confidence
        self.newest = self.clock_now = clock().astimezone(UTC)
        self.next_code = self.start_position = 0
        self.catalogue_position = self.holds_position = 0
        self.entered: list[Entered] = []
        self.known: dict[str, tuple[int, bytes]] = {}
        self.voided: dict[int, int] = {}
        self.put_right = PutRightOfGroup()
        self.keys: dict[tuple[str, str], Any] = {}
        self.to_keep: list[tuple[Submission, Answer, datetime]] = []

    async def decide(self, group: list[Pending]) -> list[Answer | Exception]:
        """Verdicts for all requests of the group, and everything written that they changed."""
        await self._head(group)
        await self._keys_seen(group)
        corrected = [p.submission.corrects for p in group if p.submission.corrects is not None]
        await self.put_right.load(self.connection, corrected)
        for pending in group:
            now = pending.submission.recorded_at or max(self.newest, self.clock_now)
            told = zones_told(pending.parts)
            for part in pending.parts:
                # A group may be decided again, request by request: nothing of before counts.
                part.faults, part.incoming = list(part.element.faults), None
                if part.event is not None and not part.faults:
                    understand(part, self.books.catalogue, now, told)
        loader = Loader(self.connection, self.books, self.next_code)
        await loader.load(
            [p.incoming for one in group for p in one.parts if p.incoming is not None]
        )
        self.next_code = loader.next_code
        answers: list[Answer | Exception] = [self._one(pending) for pending in group]
        await self._name_the_events(answers)
        await self._write()
        return answers

    async def _head(self, group: list[Pending]) -> None:
        """The head, and which of the group's ids the log has seen."""
        ids = [p.event.id for one in group for p in one.parts if p.event is not None]
        rows = await self.connection.fetch(SQL.head, ids)
        row = rows[0]
        for seen in rows:
            if seen["id"] is None:
                continue
            if seen["known_position"] < 0:
                self.put_right.waiting.add(seen["id"])
            else:
                self.known[seen["id"]] = (seen["known_position"], seen["digest"])
        if self.known:
            known = [position for position, _ in self.known.values()]
            rows = await self.connection.fetch(SQL.voids_of, known)
            self.voided = {row["voided_position"]: row["by_position"] for row in rows}
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

    async def _keys_seen(self, group: list[Pending]) -> None:
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
        if submission.corrects is not None:
            closed = self.put_right.closed(submission.corrects, self.known)
            if closed is not None:
                return closed
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
            self.to_keep.append((submission, answer, at))
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
        """412 when a thing's last change is not where the client saw it."""
        for (kind, code), positions in submission.expected.items():
            present = self._changed_at(kind, code)
            if present not in positions:
                seen = " or ".join(str(one) for one in sorted(positions)) or "any you named"
                fault = Fault(
                    kind="position_moved",
                    detail=f"{code} was last changed at position {present}, not {seen}.",
                    numbers={"position": present, "expected": sorted(positions)},
                )
                refused = Verdict(id=None, verdict="refused", errors=[fault])
                return Answer(status=412, verdicts=[refused], position=self.books.position)
        return None

    def _changed_at(self, kind: str, code: str) -> int:
        """The position of a thing's last change, 0 when there is no such thing."""
        if kind == "reservation":
            reservation = self.books.reservations.get(code)
            return reservation.changed_position if reservation else 0
        found = self.books.catalogue.entries.get((kind, code))
        return found[1] if found else 0

    def _verdicts(self, submission: Submission, parts: list[Part], at: datetime) -> Answer:
        verdicts: dict[int, Verdict] = {}
        events: list[Envelope] = []
        for part in parts:
            self._known_or_faulty(part, verdicts, submission)
        for unit in units_of(submission, [p for p in parts if p.index not in verdicts]):
            if submission.mode == "all" and any(v.verdict == "refused" for v in verdicts.values()):
                break
            taken = self._unit(submission, unit, at, verdicts)
            if submission.mode == "all":
                events = [one.event for one in sorted(taken, key=lambda one: one.index)]
        refused = any(v.verdict in ("refused", "malformed") for v in verdicts.values())
        if submission.mode == "each":
            if not submission.check:
                for part in parts:
                    if verdicts[part.index].verdict in ("refused", "malformed"):
                        self.put_right.refused(submission, part, verdicts[part.index], at)
            status = 200
            if submission.corrects is not None:
                names = {verdict.verdict for verdict in verdicts.values()}
                status = 409 if "refused" in names else 201 if "accepted" in names else 200
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
            status=200 if submission.check and status < 400 else status,
            verdicts=ordered,
            position=self.books.position,
            events=events,
        )

    def _known_or_faulty(
        self, part: Part, verdicts: dict[int, Verdict], submission: Submission
    ) -> None:
        event = part.event
        if event is None:
            verdicts[part.index] = Verdict(
                id=id_in(part.element.raw) or part.element.id,
                verdict="malformed",
                errors=part.faults,
            )
            return
        known = self.known.get(event.id or "")
        if known is not None:
            position, digest = known
            if digest == part.digest:
                verdicts[part.index] = Verdict(
                    id=event.id, verdict="known", position=position, remarks=self._void_of(position)
                )
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

    def _void_of(self, position: int) -> list[Remark]:
        """What is to be said of a known event: that it counts no more, if it was voided."""
        by = self.voided.get(position)
        if by is None:
            return []
        words = f"It was voided at position {by}. To record it all the same, send it as a new event"
        return [
            Remark(
                kind="voided_since",
                detail=f"{words} (a row of a sheet: with another number under sheet).",
                numbers={"voided_by": by},
            )
        ]

    def _unit(
        self, submission: Submission, unit: list[Part], at: datetime, verdicts: dict[int, Verdict]
    ) -> list[Accepted]:
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
            return []
        unit_id = UUID(int=random.getrandbits(128), version=4)
        by = submission.recorded_by or submission.principal.name
        for one in accepted:
            verdicts[one.index] = Verdict(
                id=one.event.id,
                verdict="accepted",
                position=None if submission.check else one.position,
                lot=getattr(one.event.data, "lot", None),  # type: ignore[attr-defined]
                made=made_by(one.event),
                remarks=one.remarks,
            )
        if submission.check:
            # Later units of a check are judged as if the earlier ones had been recorded; the
            # caller rolls all of them back.
            return accepted
        for one in accepted:
            self.entered.append(Entered(one, unit_id, at, by))
            event_id = one.event.id or ""
            self.known[event_id] = (one.position, one.digest)
            self.put_right.recorded(submission.corrects, event_id, one.position, by, at)
        return accepted

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
            types = {str(one.accepted.event.__struct_config__.tag) for one in self.entered}
            if "catalogue.changed" in types:
                self.catalogue_position = books.position
            if types & {"hold.placed", "hold.lifted", "label.lost", "event.voided"}:
                self.holds_position = books.position
            head = (
                books.position,
                max(one.recorded_at for one in self.entered),
                books.next_account_id,
                books.next_lot_id,
                self.next_code,
                self.catalogue_position,
                self.holds_position,
            )
            await write(connection, books, self.entered, head)
            self.kept.catalogue_position = self.catalogue_position
            self.kept.holds_position = self.holds_position
        await self.put_right.write(connection)
        if self.to_keep:
            # Only now: until the events of a shortage are named an answer is not what is sent.
            rows = [_key_row(*one) for one in self.to_keep]
            await connection.executemany(SQL.save_key, rows)


def _key_row(submission: Submission, answer: Answer, at: datetime) -> tuple[Any, ...]:
    """What a retry under the same key is answered."""
    key = submission.key
    assert key is not None, "kept for the sake of it"
    body = answering.encode(answer, submission.array)
    name = submission.principal.name
    return (name, key.key, key.method_path, key.fingerprint, answer.status, body, at)
