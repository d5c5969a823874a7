"""Many requests recorded as one: all of them, or nothing, through the writer's own rules.

Each request is decided as the appender decides a group, under the writer's lock and in one
transaction, which ends with a commit only when nothing was refused. While it lasts nobody else
records.
"""

import asyncio
from collections.abc import Callable, Sequence

from service.clock import Clock, system_clock
from service.log.deciding import Group, Kept, Pending
from service.log.incoming import parts_of
from service.log.loading import SQL
from service.log.submission import Answer, Submission
from service.storage.pool import Connection, Database
from service.trade.promising import PROMISED_AT


async def record_together(
    database: Database,
    submissions: Sequence[Submission],
    *,
    check: bool = False,
    confidence: float = PROMISED_AT,
    clock: Clock = system_clock,
    progress: Callable[[int], object] = lambda _: None,
) -> list[Answer]:
    """The answers to the requests, in their order; with `check` nothing is stored.

    Without `check` the first request that is refused ends it: its answer is the last, and nothing
    of all of them is stored. `progress` is told the number of events decided since the last time.
    `confidence`: see `Appender`.
    """
    connection = await database.connect("writer")
    answers: list[Answer] = []
    kept, good, newest = Kept(), True, 0
    try:
        await connection.execute(SQL.begin)
        for submission in submissions:
            answer, entered = await _decide(connection, submission, kept, clock, confidence)
            answers.append(answer)
            progress(len(submission.elements))
            newest = answer.position if entered else newest
            if answer.status >= 400:
                good = False
                if not check:
                    break
        if check or not good:
            await connection.execute(SQL.roll_back)
        else:
            if newest:
                await connection.execute(SQL.notify, str(newest))
            await connection.execute(SQL.commit)
    finally:
        # Closed on an error too, and then what was begun is rolled back.
        await connection.close(timeout=10)
    return answers


async def _decide(
    connection: Connection, submission: Submission, kept: Kept, clock: Clock, confidence: float
) -> tuple[Answer, int]:
    answered: asyncio.Future[Answer] = asyncio.get_running_loop().create_future()
    group = Group(connection, kept, clock, confidence)
    try:
        (answer,) = await group.decide([Pending(submission, parts_of(submission), answered)])
    finally:
        group.books.let_go()
    if isinstance(answer, Exception):
        raise answer
    return answer, len(group.entered)
