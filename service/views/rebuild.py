"""A view built beside the live one, compared with it, and put in its place.

The building goes into temporary tables of the session, which hide the live ones behind the same
names: the view's own statements fill them, unchanged, and nobody else sees them. When the session
ends, however it ends, they are gone. The swap changes only the rows that differ, in one
transaction: readers see all old rows or all new ones, and are never kept waiting.

Tables are not renamed: who had begun to read before would find the new table empty, its rows being
younger than what they may see; and rights and row-level security belong to a table.
"""

import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager

import asyncpg
import msgspec

from service.storage.pool import Connection, Database
from service.storage.roles import DatabaseError
from service.storage.sql import load
from service.views.applying import SUBJECTS_AT_ONCE, Applying, Batch, OnFaults, Table, View, limit

SQL = load(__package__, "rebuild.sql")
# Events that an additive view takes at once: planning and joining for few costs as much.
MANY = 250_000
# Events that a per-subject view takes at once, as in life.
FEW = 2_000
# Others write to some views too: the calendar to alerts, the morning to ready dates.
MOST_TRIES = 20

# A live view that is further behind is not compared row by row.
FAR_BEHIND = 20_000

Progress = Callable[[int, int], None]
Found = Callable[[str], None]


class BeingBuilt(Exception):
    """Somebody else is building this view anew."""


class Rebuilt(msgspec.Struct, frozen=True, kw_only=True):
    """What came of it, as of `position`: so many `differences`, and `set_aside` subjects.

    `behind`: so many events the live view had not seen yet, so that it was replaced as it stood.
    `seconds` from start to end, `swap_seconds` of them while the live view could not go on.
    """

    view: str
    position: int
    differences: int
    behind: int
    set_aside: int
    seconds: float
    swap_seconds: float


def _nobody(line: str) -> None:
    """Nobody is told."""


async def rebuild(
    database: Database,
    view: View,
    *,
    swap: bool = True,
    progress: Progress = lambda done, of: None,
    found: Found = _nobody,
    on_faults: OnFaults | None = None,
) -> Rebuilt:
    """Build `view` from nothing, tell how the live one differs, and (`swap`) put it right.

    The runner leaves the view alone while the two are compared and swapped. `progress` is told
    events done and events in all; `found` a line for each row that differs: `kept` (it is in the
    live view, and should not be) or `anew`, the table, the row. `on_faults` is called in the
    transaction of the swap. Raises BeingBuilt when another process is at it (not without `swap`),
    DatabaseError where the writer may not make temporary tables, asyncpg.SerializationError when
    others kept changing the view all the time.
    """
    begun = time.monotonic()
    conn = await database.connect("writer")
    try:
        if swap and not await conn.fetchval(SQL.build_alone, view.name):
            raise BeingBuilt(view.name)
        await _make_tables(conn, view)
        reached = await _build(conn, view, progress)
        swapping = time.monotonic()
        # Taken before the snapshot: the runner's step at hand ends, and no other begins.
        await conn.execute(SQL.stop_the_runner, view.name)
        for tries in range(1, MOST_TRIES + 1):
            # A try may be undone: what it found is told when it is done.
            lines: list[str] = []
            tell = _nobody if found is _nobody else lines.append
            try:
                async with _kept_on(conn, keep=swap):
                    done = await _finish(conn, view, reached, tell, swap=swap)
                    if swap and on_faults is not None:
                        await conn.execute(SQL.live_names)
                        await on_faults(conn)
                break
            except asyncpg.SerializationError:
                if tries == MOST_TRIES:
                    raise
        await conn.execute(SQL.let_go)
    finally:
        # Ends the locks and the tables too.
        await conn.close()
    for line in lines:
        found(line)
    ended = time.monotonic()
    return msgspec.structs.replace(done, seconds=ended - begun, swap_seconds=ended - swapping)


async def _make_tables(conn: Connection, view: View) -> None:
    await conn.execute(SQL.ensure_checkpoint, view.name)
    if not await conn.fetchval(SQL.may_make_tables):
        statement = await conn.fetchval(SQL.grant_tables)
        raise DatabaseError(
            "a view is built in temporary tables, which the writer may not make here; "
            f"have an administrator run: {statement}"
        )
    await conn.execute(SQL.settings)
    for name in (*(table.name for table in view.tables), "view_faults"):
        # Names come from the program's own list of tables, never from outside.
        await conn.execute(f'CREATE TEMP TABLE "{name}" (LIKE public."{name}" INCLUDING ALL)')


async def _build(conn: Connection, view: View, progress: Progress) -> int:
    """Fill the tables, in many transactions; returns the position that they reflect."""
    reached = 0
    if view.kind == "per_subject":
        # What changes from here on is computed again afterwards.
        reached = await limit(conn, view)
        subjects = await view.everything(conn)
        for number, start in enumerate(range(0, len(subjects), SUBJECTS_AT_ONCE), 1):
            part = subjects[start : start + SUBJECTS_AT_ONCE]
            async with conn.transaction():
                await Applying(conn, view, 0).subjects(reached, part)
            if number > 2 and number.bit_count() == 1:
                # Twice as large as last time: plans made for less would read it whole.
                await _analyze(conn, view)
            progress(reached * (start + len(part)) // len(subjects), reached)
    reached = await _follow(conn, view, reached, progress)
    await _analyze(conn, view)
    return reached


async def _analyze(conn: Connection, view: View) -> None:
    for table in view.tables:
        await conn.execute(f'ANALYZE pg_temp."{table.name}"')


async def _follow(conn: Connection, view: View, reached: int, progress: Progress) -> int:
    """Apply what was recorded meanwhile, until there is hardly anything left."""
    size = MANY if view.kind == "additive" else FEW
    while True:
        head = await limit(conn, view)
        for after in range(reached, head, size):
            reached = min(after + size, head)
            async with conn.transaction():
                await Applying(conn, view, 0).batch(Batch(after, reached))
            progress(reached, head)
        if await limit(conn, view) - reached < FEW:
            return reached


@asynccontextmanager
async def _kept_on(conn: Connection, *, keep: bool) -> AsyncIterator[None]:
    """A transaction that sees one moment, and is undone at its end unless `keep`."""
    change = conn.transaction(isolation="repeatable_read")
    await change.start()
    try:
        yield
    except BaseException:
        await change.rollback()
        raise
    await (change.commit() if keep else change.rollback())


async def _finish(
    conn: Connection, view: View, reached: int, found: Found, *, swap: bool
) -> Rebuilt:
    """Bring both to the same position, compare, and put the new rows in place of the old."""
    row = await conn.fetchrow(SQL.hold_checkpoint, view.name)
    assert row is not None
    head, generation = await limit(conn, view), row["generation"] + 1
    behind = head - row["position"]
    if swap and behind > FAR_BEHIND:
        # To bring it up to here only to compare would take as long again.
        found = _nobody
    else:
        behind = 0
        await conn.execute(SQL.live_names)
        await _apply(conn, view, row["generation"], row["position"], head)
        await conn.execute(SQL.built_names)
    await _apply(conn, view, generation, reached, head)
    differences = 0
    await conn.execute(SQL.join_by_hash, "off")
    for table in view.tables:
        columns = await conn.fetchrow(SQL.columns, table.name, list(table.apart))
        assert columns is not None
        differences += await _compare(conn, table, columns["keys"], columns["rest"], found)
        if swap:
            await _swap(conn, table, columns["keys"], columns["rest"])
    await conn.execute(SQL.join_by_hash, "on")
    set_aside = int(await conn.fetchval(SQL.set_aside_now))
    if swap:
        await conn.execute(SQL.forget_faults, view.name)
        await conn.execute(SQL.take_faults, generation)
        await conn.execute(SQL.new_generation, view.name, head)
    return Rebuilt(
        view=view.name,
        position=head,
        differences=differences,
        behind=behind,
        set_aside=set_aside,
        seconds=0,
        swap_seconds=0,
    )


async def _apply(conn: Connection, view: View, generation: int, after: int, head: int) -> None:
    for start in range(after, head, FEW):
        await Applying(conn, view, generation).batch(Batch(start, min(start + FEW, head)))


async def _compare(
    conn: Connection, table: Table, keys: list[str], rest: list[str], found: Found
) -> int:
    count = 0
    kept, anew = f'public."{table.name}"', f'pg_temp."{table.name}"'
    for side, here, there in (("kept", kept, anew), ("anew", anew, kept)):
        missing = _missing(table, here, there, keys, rest)
        async for row in conn.cursor(f"SELECT this::text AS line {missing}", prefetch=1000):
            found(f"{side} {table.name} {row['line']}")
            count += 1
    return count


async def _swap(conn: Connection, table: Table, keys: list[str], rest: list[str]) -> None:
    kept, anew = f'public."{table.name}"', f'pg_temp."{table.name}"'
    wrong = _missing(table, kept, anew, keys, rest)
    await conn.execute(f"DELETE FROM {kept} WHERE ctid IN (SELECT this.ctid {wrong})")  # noqa: S608
    lacking = _missing(table, anew, kept, keys, [])
    await conn.execute(f"INSERT INTO {kept} SELECT this.* {lacking}")


def _missing(table: Table, here: str, there: str, keys: list[str], rest: list[str]) -> str:
    """FROM and WHERE of the rows `this` of one table that the other has not, or not the same."""
    same = " AND ".join(f'this."{key}" = other."{key}"' for key in keys)
    if rest:
        ours = ", ".join(f'this."{name}"' for name in rest)
        theirs = ", ".join(f'other."{name}"' for name in rest)
        same += f" AND ROW({ours}) IS NOT DISTINCT FROM ROW({theirs})"
    rows = f"SELECT * FROM {there} WHERE {table.only}"  # noqa: S608
    return (
        f"FROM {here} AS this WHERE {table.only} "
        f"AND NOT EXISTS (SELECT FROM ({rows}) AS other WHERE {same})"
    )
