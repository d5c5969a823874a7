"""What a check of `graftlog selftest` finds, and what it asks."""

from collections.abc import Sequence
from enum import Enum
from typing import NamedTuple

import asyncpg

from service.clock import Clock
from service.storage.pool import Connection, Database
from service.storage.sql import load

SQL = load(__package__, "cli_selftest.sql")


class State(Enum):
    """How a check came out. A note is worth knowing and no fault."""

    OK = "ok"
    NOTE = "note"
    FAILED = "FAILED"


class Finding(NamedTuple):
    """One check: how it came out, in words; the worst of what was found; what to do about it."""

    state: State
    words: str
    details: Sequence[str] = ()
    remedy: str | None = None


class Asked(NamedTuple):
    """What the checks are asked of: a connection that sees one moment, and the rest."""

    connection: Connection
    database: Database
    clock: Clock


def found(details: list[str], right: str, wrong: str, remedy: str) -> Finding:
    """A check that holds when nothing was found."""
    if not details:
        return Finding(State.OK, right)
    return Finding(State.FAILED, wrong, details, remedy)


def describe_error(error: Exception) -> str:
    """What a check could not get past."""
    return f"{type(error).__name__}: {error}"


# A database that goes away is no finding about the books.
AWAY = (asyncpg.PostgresError, asyncpg.InterfaceError, OSError)
