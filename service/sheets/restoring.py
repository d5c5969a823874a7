"""An exported log taken back: into an empty database, to the state it was written from.

The events are not judged anew, they happened; but each is taken into the books by the writer's own
code, must lead to what is told with it, and may bring no account below zero. Whatever does not
agree is refused with its line, and then nothing of the file is stored.
"""

import hashlib
from collections.abc import Callable, Iterable, Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

import asyncpg
import msgspec

from service.log.loading import SQL as LOG_SQL
from service.log.loading import Loader
from service.log.rows import event_of
from service.log.upcasting import NewerVersion
from service.log.writing import AsStored, Entered, write
from service.sheets.archive import COUNTED, FORMAT, NOTHING, PORTION, SQL, End, EventLine, Line
from service.storage.pool import Connection, Database
from service.trade.books import Books, Hold
from service.trade.entries import Catalogue
from service.trade.units import Accepted, Incoming, UnitRefused, take_in
from service.trade.words import Moment

_line_of = msgspec.json.Decoder(Line).decode
_remarks_of = msgspec.json.Decoder(list[dict[str, Any]]).decode
_A_DAY = timedelta(days=1)


class ArchiveError(Exception):
    """The file can't be taken back; says on which line, and why. Nothing of it was stored."""

    def __init__(self, line: int, detail: str) -> None:
        super().__init__(f"line {line}: {detail}")
        self.line = line


class Restored(msgspec.Struct, frozen=True):
    """What an exported log came to: `known` when this database had all of it already."""

    events: int
    known: bool
    temperature_versions: int = 0


async def restore(
    database: Database,
    path: Path,
    *,
    check: bool = False,
    progress: Callable[[int], object] = lambda _: None,
) -> Restored:
    """Take an exported log back, in one transaction; with `check` only see whether it would go.

    Into a log that is not empty nothing is written: it may hold all of the file's events already.
    Raises ArchiveError.
    """
    connection = await database.connect("writer")
    try:
        await connection.execute(LOG_SQL.begin)
        if not await connection.fetchval(SQL.is_empty):
            return await _all_known(connection, path)
        taking = _Taking(connection, progress)
        await taking.run(_lines(path))
        if check:
            await connection.execute(LOG_SQL.roll_back)
        else:
            await connection.execute(LOG_SQL.notify, str(taking.position))
            await connection.execute(LOG_SQL.commit)
        return Restored(taking.position, False, taking.counts["temperature_versions"])
    finally:
        # Whatever is not committed by now is not to be.
        await connection.close(timeout=10)


def _lines(path: Path) -> Iterator[tuple[int, Line]]:
    """Each line with its number. Raises ArchiveError where the file was cut or changed."""
    seen, number, ended = hashlib.sha256(), 0, False
    with path.open("rb") as file:
        for number, raw in enumerate(file, start=1):
            if ended:
                raise ArchiveError(number, "there is more after the last line")
            try:
                line = _line_of(raw)
            except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
                raise ArchiveError(number, f"it is no line of an exported log: {error}") from error
            if line.end is not None and line.end.sha256 != seen.hexdigest():
                detail = "the SHA-256 of the lines above differs: the file was changed"
                raise ArchiveError(number, detail)
            yield number, line
            seen.update(raw)
            ended = line.end is not None
    if not ended:
        raise ArchiveError(number + 1, "the file is cut off: its last line is missing")


class _Taking:
    """The state while a file is taken back."""

    def __init__(self, connection: Connection, progress: Callable[[int], object]) -> None:
        self.connection = connection
        self.progress = progress
        self.position = 0
        self.next_account_id = self.next_lot_id = 1
        self.catalogue = Catalogue()
        self.holds: dict[str, Hold] = {}
        self.catalogue_position = self.holds_position = 0
        self.announced = -1
        self.newest: Any = None
        self.counts = dict.fromkeys(COUNTED, 0)
        # lines whose events wait for their portion, and rows that wait for theirs
        self.waiting: list[tuple[int, EventLine]] = []
        self.rows: dict[str, list[msgspec.Raw]] = {"to_put_right": [], "put_right_earlier": []}

    async def run(self, lines: Iterable[tuple[int, Line]]) -> None:
        for number, line in lines:
            if (number == 1) != (line.log is not None):
                raise ArchiveError(number, "the file must begin with its one `log` line")
            if line.log is not None:
                if line.log.format != FORMAT:
                    detail = f"format {line.log.format} is not known here, only {FORMAT}"
                    raise ArchiveError(number, detail)
                self.announced = line.log.position
            elif line.event is not None:
                await self._event(number, line.event)
            else:
                await self._rest(number, line)

    # -- events --------------------------------------------------------------------------

    async def _event(self, number: int, line: EventLine) -> None:
        before = self.waiting[-1][1].position if self.waiting else self.position
        if line.position != before + 1:
            raise ArchiveError(
                number, f"position {line.position} follows {before}: a line is missing or moved"
            )
        if self.newest is not None and line.recorded_at < self.newest:
            raise ArchiveError(number, "it was recorded before the event above it")
        self.newest = line.recorded_at
        # A portion ends where a unit does.
        if len(self.waiting) >= PORTION and self.waiting[-1][1].unit != line.unit:
            await self._portion()
        self.waiting.append((number, line))

    async def _portion(self) -> None:
        """Take the waiting lines into books that hold what they touch, and write them."""
        if not self.waiting:
            return
        waiting, self.waiting = self.waiting, []
        books = Books()
        books.position = self.position
        books.next_account_id, books.next_lot_id = self.next_account_id, self.next_lot_id
        books.catalogue, books.holds = self.catalogue, self.holds
        incoming = [_incoming(number, line) for number, line in waiting]
        await Loader(self.connection, books, 0).load(incoming)
        entered: list[Entered] = []
        for start, end in _units(waiting):
            unit = incoming[start:end]
            entered += _taken(books, waiting[start:end], unit)
        await self._write(books, entered, waiting)
        books.let_go()
        self.progress(len(waiting))

    async def _write(
        self, books: Books, entered: list[Entered], waiting: list[tuple[int, EventLine]]
    ) -> None:
        types = {line.type for _, line in waiting}
        self.position = books.position
        if "catalogue.changed" in types:
            self.catalogue_position = books.position
        if types & {"hold.placed", "hold.lifted", "label.lost", "event.voided"}:
            self.holds_position = books.position
        self.next_account_id, self.next_lot_id = books.next_account_id, books.next_lot_id
        head = (
            books.position,
            waiting[-1][1].recorded_at,
            books.next_account_id,
            books.next_lot_id,
            0,
            self.catalogue_position,
            self.holds_position,
        )
        try:
            await write(self.connection, books, entered, head)
        except asyncpg.UniqueViolationError as error:
            lines = f"{waiting[0][0]} to {waiting[-1][0]}"
            raise ArchiveError(waiting[0][0], f"in lines {lines}: {error}") from error

    # -- what comes after the events --------------------------------------------------------

    async def _rest(self, number: int, line: Line) -> None:
        await self._portion()
        try:
            if line.temperatures is not None:
                version, days = line.temperatures.version, line.temperatures.days
                await self.connection.execute(SQL.add_temperatures, version, days)
                self.counts["temperature_versions"] += 1
            elif line.readings is not None:
                version, told = line.readings.version, line.readings.readings
                await self.connection.execute(SQL.add_readings, version, told)
                self.counts["reading_versions"] += 1
            elif line.forecast is not NOTHING:
                await self.connection.execute(SQL.add_forecast, line.forecast)
                self.counts["forecast_versions"] += 1
            elif line.to_put_right is not NOTHING:
                await self._row("to_put_right", line.to_put_right)
            elif line.put_right_earlier is not NOTHING:
                await self._row("put_right_earlier", line.put_right_earlier)
            elif line.end is not None:
                await self._end(number, line.end)
            else:
                raise ArchiveError(number, "there is nothing in the line")
        except (asyncpg.DataError, asyncpg.IntegrityConstraintViolationError) as error:
            raise ArchiveError(number, f"the database refuses it: {error}") from error

    async def _row(self, table: str, row: msgspec.Raw) -> None:
        self.rows[table].append(row)
        self.counts[table] += 1
        if len(self.rows[table]) >= PORTION:
            await self._save_rows()

    async def _save_rows(self) -> None:
        for table, statement in (
            ("to_put_right", SQL.add_to_put_right),
            ("put_right_earlier", SQL.add_put_right_earlier),
        ):
            if self.rows[table]:
                await self.connection.execute(statement, self.rows[table])
                self.rows[table] = []

    async def _end(self, number: int, end: End) -> None:
        await self._save_rows()
        told = {name: getattr(end, name) for name in self.counts} | {"events": end.events}
        found = self.counts | {"events": self.position}
        for name, count in told.items():
            if count != found[name]:
                what = name.replace("_", " ")
                raise ArchiveError(number, f"{count} {what} are told, {found[name]} were read")
        if self.announced != end.events:
            raise ArchiveError(number, f"the first line announced {self.announced} events")
        await self.connection.execute(SQL.next_code, end.next_code)
        if self.counts["to_put_right"]:
            await self.connection.execute(SQL.number_on)


def _units(waiting: list[tuple[int, EventLine]]) -> Iterator[tuple[int, int]]:
    """Where each unit begins and ends among the lines."""
    start = 0
    for index in range(1, len(waiting) + 1):
        if index == len(waiting) or waiting[index][1].unit != waiting[start][1].unit:
            yield start, index
            start = index


def _incoming(number: int, line: EventLine) -> Incoming:
    fields = {name: getattr(line, name) for name in line.__struct_fields__}
    try:
        fields["data"] = msgspec.json.decode(line.data)
        event = event_of(fields)
    except (msgspec.MsgspecError, KeyError, NewerVersion) as error:
        raise ArchiveError(number, f"its event can't be read: {error}") from error
    timed = len(line.occurred) > len("2026-01-01")
    moment = Moment(line.occurred_at, line.occurred_day, timed)
    _same_moment(number, line, timed=timed)
    return Incoming(event, moment, bytes.fromhex(line.digest), number)


def _same_moment(number: int, line: EventLine, *, timed: bool) -> None:
    """What was told and what it was understood as must fit, whatever zone the site had then."""
    day = line.occurred[:10]
    if timed:
        fits = msgspec.convert(line.occurred, type(line.occurred_at)) == line.occurred_at
        fits = fits and abs(line.occurred_at.date() - line.occurred_day) <= _A_DAY
    else:
        fits = str(line.occurred_day) == day
        fits = fits and abs(line.occurred_at.date() - line.occurred_day) <= _A_DAY
    if not fits:
        raise ArchiveError(number, f"occurred {line.occurred} is not {line.occurred_at}")


def _taken(books: Books, lines: list[tuple[int, EventLine]], unit: list[Incoming]) -> list[Entered]:
    """One unit in the books, each event with what was stored of it."""
    first = lines[0][0]
    try:
        accepted = take_in(books, unit, completed=True, judged=True)
    except UnitRefused as refused:
        number, faults = min(refused.faults.items())
        raise ArchiveError(number, faults[0].detail) from refused
    except (KeyError, ValueError, AssertionError, AttributeError, TypeError) as error:
        # Stored events are taken on trust, so what no log would hold fails somewhere inside.
        what = f"{type(error).__name__} {error}"
        raise ArchiveError(first, f"it does not follow from the lines above: {what}") from error
    return [_entered(one, *line) for one, line in zip(accepted, lines, strict=True)]


def _entered(one: Accepted, number: int, line: EventLine) -> Entered:
    if one.index != number:
        raise ArchiveError(number, "events judged together stand in another order")
    if sorted(one.sites) != sorted(line.sites):
        raise ArchiveError(
            number, f"it touches {', '.join(one.sites)}, not {', '.join(line.sites)}"
        )
    told = {
        remark.get("kind")
        for remark in msgspec.json.decode(line.remarks, type=list[dict[str, Any]])
    }
    for remark in one.remarks:
        if remark.kind not in told:
            raise ArchiveError(number, f"it should be remarked: {remark.detail}")
    one.sites = line.sites
    return Entered(
        one,
        UUID(line.unit),
        line.recorded_at,
        line.recorded_by,
        AsStored(line.version, line.remarks, line.data),
    )


# -- a log that is not empty -----------------------------------------------------------------


async def _all_known(connection: Connection, path: Path) -> Restored:
    """See whether the log holds every event of the file; refuse the first that it does not."""
    events, portion = 0, []
    for number, line in _lines(path):
        if line.event is not None:
            portion.append((number, line.event))
            events += 1
        if len(portion) == PORTION or line.end is not None:
            await _known(connection, portion)
            portion = []
    return Restored(events, True)


async def _known(connection: Connection, portion: list[tuple[int, EventLine]]) -> None:
    rows = await connection.fetch(SQL.stored, [line.id for _, line in portion])
    stored = {row["id"]: (row["position"], row["digest"]) for row in rows}
    for number, line in portion:
        found = stored.get(line.id)
        what = f"event {line.id} ({line.type} of {line.occurred[:10]})"
        if found is None:
            raise ArchiveError(
                number,
                f"this log is not empty and has no {what}. An exported log goes into an empty "
                "database only; send single events to POST /v1/events.",
            )
        if found != (line.position, line.digest):
            raise ArchiveError(
                number,
                f"{what} is at position {found[0]} in this log, here at {line.position}"
                + ("." if found[1] == line.digest else ", and says something else."),
            )
