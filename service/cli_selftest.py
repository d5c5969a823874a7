"""`graftlog selftest`: the promises of the books, checked one by one and told in words."""

from collections.abc import AsyncIterator, Callable
from typing import Any, NamedTuple

import asyncpg

from service.log.refold import differences, refold
from service.storage.migrate import current, head
from service.storage.pool import Connection, Database
from service.storage.sql import load

SQL = load(__package__, "cli_selftest.sql")
_SHOWN = 10


class Finding(NamedTuple):
    """One check: whether it holds, in words, with the worst of what was found."""

    holds: bool
    words: str
    details: list[str]


async def run_checks(database: Database, say: Callable[[str], Any]) -> bool:
    """Run every check and say what came of it; True when all hold."""
    good = True
    async for finding in _checks(database):
        say(f"{'ok    ' if finding.holds else 'FAILED'}  {finding.words}")
        for line in finding.details[:_SHOWN]:
            say(f"          {line}")
        if len(finding.details) > _SHOWN:
            say(f"          and {len(finding.details) - _SHOWN} more")
        good = good and finding.holds
    say("All is as it should be." if good else "Something is not as it should be; see above.")
    return good


async def _checks(database: Database) -> AsyncIterator[Finding]:
    async with database.writer.acquire() as one:
        row = await one.fetchrow(SQL.version)
        assert row is not None
        yield Finding(True, f"The database answers: PostgreSQL {row['version']}.", [])
        revision = await current(one)
        up_to_date = revision == head()
        words = f"Its tables are at {revision}, this version's are {head()}."
        if revision is None:
            words = "In it there are no tables yet; `graftlog migrate` makes them."
        yield Finding(up_to_date, words, [])
        if not up_to_date:
            return
    yield await _roles(database)
    async with (
        database.writer.acquire() as one,
        one.transaction(isolation="repeatable_read", readonly=True),
    ):
        for check in (_dense, _sums, _below_zero, _balances, _refold, _views):
            yield await check(one)


async def _roles(database: Database) -> Finding:
    names, too_much = [], []
    for part in ("owner", "writer", "reader"):
        connection = await database.connect(part)
        try:
            row = await connection.fetchrow(SQL.superuser)
        finally:
            await connection.close()
        assert row is not None
        names.append(row["rolname"])
        if row["rolsuper"]:
            too_much.append(row["rolname"])
    words = f"The service works as {', '.join(names)}; none of them is a superuser."
    if too_much:
        words = f"A role of the service is a superuser: {', '.join(too_much)}."
    return Finding(not too_much, words, [])


async def _dense(one: Connection) -> Finding:
    row = await one.fetchrow(SQL.dense)
    assert row is not None
    count = row["events"]
    dense = row["head"] == count == row["last"] and row["first"] == min(count, 1)
    words = f"The log holds {count} events at positions {row['first']} to {row['last']}"
    return Finding(dense, f"{words}, none missing." if dense else f"{words}: not dense.", [])


async def _sums(one: Connection) -> Finding:
    rows = await one.fetch(SQL.sums)
    orphans = await one.fetchval(SQL.orphans)
    wrong = [f"{r['commodity']} sum to {r['total']}" for r in rows if r["total"]]
    if orphans:
        wrong.append(f"{orphans} legs have no account")
    told = ", ".join(f"{r['commodity']} in {r['legs']} legs" for r in rows) or "no legs yet"
    return Finding(
        not wrong, f"Nothing is made or lost: each commodity sums to zero ({told}).", wrong
    )


async def _below_zero(one: Connection) -> Finding:
    rows = await one.fetch(SQL.below_zero)
    found = [
        f"{r['lot']} {r['kind']} {r['site']} {r['place']} {r['stage']} {r['ref']}: "
        f"{r['running']} at the end of {r['day']}"
        for r in rows
    ]
    words = "No account of the nursery is below zero at the end of any day of its history."
    return Finding(not found, words, found)


async def _balances(one: Connection) -> Finding:
    rows = await one.fetch(SQL.balances)
    found = [
        f"{r['lot']} {r['kind']} {r['site']} {r['place']}: {r['balance']}, legs {r['total']}"
        for r in rows
    ]
    return Finding(not found, "Every balance is the sum of its legs.", found)


async def _refold(one: Connection) -> Finding:
    try:
        books = await refold(one)
    except (asyncpg.PostgresError, asyncpg.InterfaceError, OSError):
        raise
    except Exception as error:
        # A log that can't be folded is the finding itself.
        words = "The log could not be taken in again from its beginning."
        return Finding(False, words, [f"{type(error).__name__}: {error}"])
    found = await differences(one, books)
    words = (
        f"The books equal those computed anew from all {books.position} events: "
        f"{len(books.lots)} lots, {len(books.bags)} bags, {len(books.account_by_id)} accounts."
    )
    if found:
        words = "The books differ from those computed anew from the log."
    return Finding(not found, words, found)


async def _views(one: Connection) -> Finding:
    rows = await one.fetch(SQL.views)
    aside = [f"{r['view']} has set aside {r['set_aside']}" for r in rows if r["set_aside"]]
    behind = [f"{r['view']} is {r['head'] - r['position']} behind" for r in rows]
    late = [words for words, r in zip(behind, rows, strict=True) if r["head"] > r["position"]]
    if not rows:
        return Finding(True, "No view has begun yet; `graftlog serve` or `work` keeps them.", [])
    words = f"{len(rows)} views follow the log; all reflect its newest event."
    if late:
        # Behind is no fault by itself: nobody may be running them now.
        words = f"{len(rows)} views follow the log; {len(late)} have events to catch up with."
    return Finding(not aside, words, late + aside)
