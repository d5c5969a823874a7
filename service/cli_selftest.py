"""`graftlog selftest`: the promises of the books, checked one by one and told in words."""

from collections.abc import AsyncIterator, Callable
from typing import Any

from service import cli_selftest_books as books
from service import cli_selftest_running as running
from service.cli_selftest_finding import Asked, Finding, State
from service.clock import Clock, system_clock
from service.storage.migrate import current, head, revisions
from service.storage.pool import Connection, Database

_SHOWN = 10


async def run_checks(
    database: Database,
    say: Callable[[str], Any],
    *,
    quick: bool = False,
    clock: Clock = system_clock,
) -> bool:
    """Run every check (`quick`: the cheap ones) and say what came of it; True when none failed."""
    failed = 0
    async for finding in _checks(database, clock, quick=quick):
        say(f"{finding.state.value:6}  {finding.words}")
        for line in finding.details[:_SHOWN]:
            say(f"          {line}")
        if len(finding.details) > _SHOWN:
            say(f"          and {len(finding.details) - _SHOWN} more")
        if finding.remedy is not None and finding.state is not State.OK:
            say(f"          What to do: {finding.remedy}")
        failed += finding.state is State.FAILED
    if failed:
        say(f"{failed} of the checks failed; see above.")
    elif quick:
        say("All that was looked at is as it should be; without --quick the books are checked too.")
    else:
        say("All is as it should be.")
    return not failed


async def _checks(database: Database, clock: Clock, *, quick: bool) -> AsyncIterator[Finding]:
    async with database.writer.acquire() as one:
        yield await running.server(one, clock)
        tables = await _tables(one)
        yield tables
        if tables.state is State.FAILED:
            return
    yield await running.roles(database)
    async with (
        database.writer.acquire() as one,
        one.transaction(isolation="repeatable_read", readonly=True),
    ):
        asked = Asked(one, database, clock)
        for check in running.CHECKS:
            yield await check(asked)
        for check in () if quick else books.CHECKS:
            yield await check(asked)
    if not quick:
        yield await books.views(database, clock)


async def _tables(one: Connection) -> Finding:
    revision = await current(one)
    if revision is None:
        return Finding(
            State.FAILED, "In it there are no tables yet.", (), "`graftlog migrate` makes them."
        )
    words = f"Its tables are at {revision}, this version's are {head()}."
    if revision == head():
        return Finding(State.OK, words)
    older = revision in revisions()
    remedy = (
        "run `graftlog migrate` (after a `graftlog backup`)."
        if older
        else ("a newer version of graftlog made them: run that one.")
    )
    return Finding(State.FAILED, words, (), remedy)
