"""The thorough checks of `graftlog selftest`: the whole log read, and all that was made of it."""

from typing import Any

from service.cli_selftest_finding import AWAY, SQL, Asked, Finding, State, describe_error, found
from service.clock import Clock
from service.jobs.every_view import differences as view_differences
from service.log.refold import differences, refold
from service.storage.pool import Database

_BOOKS = (
    "stop the service and keep a copy (`graftlog backup`); then restore the last good copy, or "
    "export the log (`graftlog export`) and import it into an empty database, which makes the "
    "books anew. If nobody changed the tables by hand, please report it."
)


async def sums(asked: Asked) -> Finding:
    """Nothing is made or lost: what an event takes from accounts it puts into others."""
    told = ", ".join(
        f"{r['commodity']} in {r['legs']:,} legs" for r in await asked.connection.fetch(SQL.legs)
    )
    wrong = [
        f"event {r['position']} ({r['type']}) on {', '.join(r['lots'])}: {r['commodity']} sum to "
        f"{r['total']}"
        for r in await asked.connection.fetch(SQL.sums)
    ]
    return found(
        wrong,
        "Nothing is made or lost: each commodity sums to zero, event by event "
        f"({told or 'no legs yet'}).",
        "Plants or buds were made or lost in the books.",
        _BOOKS,
    )


async def orphans(asked: Asked) -> Finding:
    """Each leg has its event, its lot and its account."""
    wrong = [
        f"a leg at position {r['position']} of lot number {r['lot_id']}, account number "
        f"{r['account_id']}: {r['lacks']}"
        for r in await asked.connection.fetch(SQL.orphans)
    ]
    right = "Each leg has its event, its lot and its account."
    return found(wrong, right, "There are legs that belong to nothing.", _BOOKS)


def _account(row: Any) -> str:
    """An account by its lot and the parts that apply."""
    parts = ("lot", "kind", "site", "place", "stage", "size", "grade", "ref")
    return " ".join(row[part] for part in parts if row[part])


async def below_zero(asked: Asked) -> Finding:
    """No account inside the nursery is below zero at the end of any day."""
    wrong = [
        f"{_account(r)}: {r['running']} at the end of {r['day']}"
        for r in await asked.connection.fetch(SQL.below_zero)
    ]
    return found(
        wrong,
        "No account of the nursery is below zero at the end of any day of its history.",
        "An account is below zero at the end of a day.",
        _BOOKS,
    )


async def balances(asked: Asked) -> Finding:
    """Each balance is the sum of its legs."""
    wrong = [
        f"{_account(r)}: the balance is {r['balance']}, its legs sum to {r['total']}"
        for r in await asked.connection.fetch(SQL.balances)
    ]
    right = "Every balance is the sum of its legs."
    return found(wrong, right, "A balance is not the sum of its legs.", _BOOKS)


async def books(asked: Asked) -> Finding:
    """The books equal those computed anew from all events."""
    filed: list[str] = []
    try:
        anew = await refold(asked.connection, filed)
    except AWAY:
        raise
    except Exception as error:
        # A log that can't be folded is the finding itself.
        words = "The log could not be taken in again from its beginning."
        return Finding(State.FAILED, words, [describe_error(error)], _BOOKS)
    return found(
        filed + await differences(asked.connection, anew),
        f"The books equal those computed anew from all {anew.position} events: {len(anew.lots)} "
        f"lots, {len(anew.bags)} bags, {len(anew.account_by_id)} accounts.",
        "The books differ from those computed anew from the log.",
        _BOOKS,
    )


async def views(database: Database, clock: Clock) -> Finding:
    """Each view equals itself built anew."""
    try:
        anew = await view_differences(database)
    except AWAY:
        raise
    except Exception as error:
        words = "The views could not be built anew to compare them."
        return Finding(State.FAILED, words, [describe_error(error)], "see the service's log.")
    # Not wrong, but of before: an upgrade marked them, and the runner has not come to them yet.
    waiting = {row["view"] for row in await database.writer.fetch(SQL.outdated)}
    wrong = {name: lines for name, lines in anew.items() if lines and name not in waiting}
    if waiting and not wrong:
        names = ", ".join(sorted(waiting))
        words = f"Views wait to be built anew, as this version computes them otherwise: {names}."
        remedy = "`graftlog serve` and `graftlog work` do it by themselves."
        return Finding(State.NOTE, words, (), remedy)
    return found(
        [f"{name}: {line}" for name, lines in wrong.items() for line in lines],
        f"{len(anew)} views equal themselves built anew.",
        f"Views differ from what the log says: {', '.join(wrong)}.",
        f"`graftlog rebuild {' '.join(wrong)}` puts them right without stopping anybody.",
    )


CHECKS = (sums, orphans, below_zero, balances, books)
