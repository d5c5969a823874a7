"""The cheap checks of `graftlog selftest`: server, rights, walls, head, clocks, disk, jobs."""

import shutil
from datetime import datetime, timedelta
from pathlib import Path

from service.cli_selftest_finding import SQL, Asked, Finding, State, found
from service.clock import Clock
from service.jobs.work import ALERTS_EVERY
from service.storage.pool import Connection, Database
from service.storage.roles import DatabaseError, Part

CLOCKS_APART = timedelta(seconds=2)
# A head that is ahead of the clock by more holds every new event to its time.
HEAD_AHEAD = timedelta(minutes=5)
LITTLE_ROOM, NO_ROOM = 2 * 1024**3, 256 * 1024**2
_GIVE_BACK = (
    "stop the service, keep a copy (`graftlog backup`), and restore the last good one into an "
    "empty database (`graftlog restore`). If nobody changed the tables by hand, please report it."
)


async def server(one: Connection, clock: Clock) -> Finding:
    """Does it answer, and do its clock and ours agree?"""
    row = await one.fetchrow(SQL.server, clock())
    assert row is not None
    size = f"{row['bytes'] / 1024**2:,.0f} MiB"
    words = f"The database answers: PostgreSQL {row['version']}, {size}."
    if abs(row["ahead"]) <= CLOCKS_APART.total_seconds():
        return Finding(State.OK, words)
    side = "ahead of" if row["ahead"] > 0 else "behind"
    return Finding(
        State.FAILED,
        f"{words} Its clock is {abs(row['ahead']):,.0f} s {side} this machine's.",
        (),
        "set both by a time server (NTP): `recorded_at` and overdue checks go by them.",
    )


async def roles(database: Database) -> Finding:
    """Is any of the service's roles strong enough to pass over the log's guards?"""
    names, strong = [], []
    parts: tuple[Part, ...] = ("owner", "writer", "reader")
    for part in parts:
        name = database.roles.name(part)
        names.append(name)
        try:
            # The service refuses to work as a role that is too strong, and says so.
            connection = await database.connect(part)
        except DatabaseError as error:
            strong.append(f"{name}: {error}")
        else:
            await connection.close()
    return found(
        strong,
        f"The service works as {', '.join(names)}; none may pass over the log's guards.",
        "The service can't work as one of its roles.",
        "; ".join(
            f"ALTER ROLE {line.partition(':')[0]} NOSUPERUSER NOBYPASSRLS" for line in strong
        ),
    )


async def rights(asked: Asked) -> Finding:
    """The log is only added to, and a reader only reads."""
    names = asked.database.roles
    rows = await asked.connection.fetch(SQL.rights, names.writer, names.reader)
    details = [row["words"] for row in rows]
    remedies = [row["remedy"] for row in rows]
    for row in await asked.connection.fetch(SQL.guards):
        details.append(f"the trigger {row['wanted']} on events is not in force")
        remedies.append(f"ALTER TABLE events ENABLE TRIGGER {row['wanted']}")
    return found(
        details,
        "The log can only be added to, and a reader only reads.",
        "Somebody may do what must not be done to the log.",
        "as the owner of the tables: " + "; ".join(remedies),
    )


async def walls(asked: Asked) -> Finding:
    """Readers are shown rows of the sites that they look at alone."""
    rows = await asked.connection.fetch(SQL.without_walls, asked.database.roles.reader)
    details = [f"{row['name']} is shown whole to every reader" for row in rows]
    async with asked.database.reader.acquire() as reader:
        if await reader.fetchval(SQL.events_seen):
            details.append("a reader that names no site is shown events all the same")
    tables = "; ".join(f"ALTER TABLE {row['name']} ENABLE ROW LEVEL SECURITY" for row in rows)
    return found(
        details,
        "Each table is walled by site: a reader that names no site is shown nothing.",
        "The wall between the sites has a gap.",
        f"as the owner of the tables: {tables or 'see the policies of events'}.",
    )


async def log_head(asked: Asked) -> Finding:
    """Are the positions dense, and does the head agree with the tables?"""
    row = await asked.connection.fetchrow(SQL.head)
    assert row is not None
    count, newest = row["events"], row["newest"]
    details = []
    if not row["head"] == count == row["last"]:
        details.append(f"the head says {row['head']}, the newest event is {row['last']}")
        gaps = await asked.connection.fetch(SQL.missing, row["head"], row["last"])
        if gaps:
            details.append(f"missing: {', '.join(str(gap['position']) for gap in gaps)}")
    if newest is not None and newest > row["recorded_at"]:
        details.append(f"an event was recorded at {newest}, after the head's {row['recorded_at']}")
    if row["lot_id_used"] or row["account_id_used"]:
        details.append("the head's next number of a lot or account is in use already")
    return found(
        details,
        f"The log holds {count} events at positions {row['first']} to {row['last']}, none missing.",
        f"The log holds {count} events, and its head does not agree with them.",
        _GIVE_BACK,
    )


async def time_goes_on(asked: Asked) -> Finding:
    """Is the head in the future? Every new event would be recorded at its time."""
    row = await asked.connection.fetchrow(SQL.head)
    assert row is not None
    ahead = row["recorded_at"] - asked.clock()
    details = [
        f"event {e['position']}: {e['recorded_at']}, the one before it {e['before']}"
        for e in await asked.connection.fetch(SQL.back_in_time)
    ]
    if ahead > HEAD_AHEAD:
        details.append(
            f"the newest event was recorded at {row['recorded_at']}, {ahead} from now; until then "
            "every event is recorded at that time"
        )
    return found(
        details,
        "Events were recorded in the order of their positions, none in the future.",
        "A clock was wrong when events were recorded.",
        "set this machine's clock by a time server (NTP); a head in the future is waited for.",
    )


async def disk(asked: Asked) -> Finding:
    """Is there room on the disk that the database is on, where it is this machine's?"""
    server = asked.database.server
    if server is None:
        words = "The database is on a server of its own: see to its disk there."
        return Finding(State.OK, words)
    return _room(server.data_dir, shutil.disk_usage(server.data_dir).free)


def _room(folder: Path, free: int) -> Finding:
    words = f"{free / 1024**3:,.1f} GiB are free where {folder} is."
    if free >= LITTLE_ROOM:
        return Finding(State.OK, words)
    state = State.FAILED if free < NO_ROOM else State.NOTE
    return Finding(state, words, (), "make room: nothing can be recorded on a full disk.")


FORECAST = "ready_dates"


async def following(asked: Asked) -> Finding:
    """How far behind the log are the views, and what did they set aside?"""
    rows = await asked.connection.fetch(SQL.views)
    if not rows:
        words = "No view has begun yet."
        return Finding(State.NOTE, words, (), "`graftlog serve` or `graftlog work` keeps them.")
    aside = [f"{r['view']} set aside {r['set_aside']}, first {r['example']}" for r in rows
             if r["set_aside"]]  # fmt: skip
    behind = [
        f"{r['view']} is {r['head'] - r['position']} events behind, since {r['waits_since']}"
        for r in rows
        if r["head"] > r["position"]
    ]
    if aside:
        return Finding(
            State.FAILED,
            f"{len(aside)} of {len(rows)} views could not compute everything.",
            aside + behind,
            "see the alerts of kind view_fault; when what hindered it is gone, "
            "`graftlog rebuild VIEW` computes all of it anew.",
        )
    # The forecast is made every three minutes at most, and tried again after a quarter of an hour.
    waiting = [
        r
        for r in rows
        if r["head"] > r["position"] and not (r["view"] == FORECAST and r["waits_shortly"])
    ]
    if waiting:
        # Behind is no fault by itself: nobody may be running them now.
        words = f"{len(rows)} views follow the log; {len(waiting)} have events to catch up with."
        remedy = "`graftlog serve` or `graftlog work` must be running to keep them."
        return Finding(State.NOTE, words, behind, remedy)
    words = "the forecast comes at its next turn" if behind else "all reflect its newest event"
    return Finding(State.OK, f"{len(rows)} views follow the log; {words}.")


async def jobs(asked: Asked) -> Finding:
    """Did the timed work run, and end well?"""
    rows = await asked.connection.fetch(SQL.jobs)
    failed = [
        f"{r['name']} at {_minute(r['tick'])}: {r['outcome']}"
        for r in rows
        if (r["outcome"] or "").startswith("failed")
    ]
    if failed:
        remedy = "the next tick does the same work again; if it stays, see the service's log."
        return Finding(State.FAILED, "The newest run of a job failed.", failed, remedy)
    now = asked.clock()
    looks = [r["started_at"] for r in rows if r["name"] == "overdue_alerts"]
    unended = [
        f"{r['name']} began at {_minute(r['started_at'])} and did not end"
        for r in rows
        if r["ended_at"] is None and now - r["started_at"] > 3 * ALERTS_EVERY
    ]
    if not looks or now - looks[0] > 3 * ALERTS_EVERY or unended:
        since = f"since {_minute(looks[0])}" if looks else "yet"
        words = f"Nothing has looked for overdue checks {since}."
        if looks and now - looks[0] <= 3 * ALERTS_EVERY:
            words = "A job was cut off."
        remedy = "`graftlog serve` or `graftlog work` must be running, or nobody is warned."
        return Finding(State.NOTE, words, unended, remedy)
    return Finding(State.OK, f"The timed jobs run; overdue checks were looked for at "
                   f"{_minute(looks[0])}.")  # fmt: skip


def _minute(moment: datetime) -> str:
    return f"{moment:%Y-%m-%d %H:%M} UTC"


async def waiting(asked: Asked) -> Finding:
    """Does anything wait to be put right?"""
    row = await asked.connection.fetchrow(SQL.waiting)
    assert row is not None
    if not row["items"]:
        return Finding(State.OK, "Nothing that people recorded waits to be put right.")
    since = _minute(row["since"])
    words = f"Of what people recorded, {row['items']} wait to be put right, since {since}."
    return Finding(State.NOTE, words, (), "see GET /v1/to-put-right.")


CHECKS = (rights, walls, log_head, time_goes_on, disk, following, jobs, waiting)
