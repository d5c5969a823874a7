"""What people recorded and the log refused: kept as it came, until it is recorded or discarded.

An item is seen to by who sent it and by who corrects at its sites (scope `corrections:write`).
Nothing is deleted: what was sent before stays beside what was sent last.
"""

import contextlib
from base64 import b64encode
from collections.abc import Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

import msgspec

from service.log.incoming import Part
from service.log.rights import CORRECTIONS, Principal
from service.log.stored import EarlierSending, PutRight, PutRightWhole, RefusalReason
from service.log.submission import AlreadyPutRight, Submission, Verdict
from service.storage.pool import Connection
from service.storage.sql import load
from service.trade.settling import settled_by
from service.trade.verdicts import Fault

SQL = load(__package__, "put_right.sql")


def corrects_at(principal: Principal) -> list[str] | None:
    """The sites where the holder of a key sees to what others sent; None: all of them."""
    return principal.site_list if principal.may(CORRECTIONS) else []


# -- the writer's part: inside a group, the lock held ------------------------------------------


class PutRightOfGroup:
    """What one group of requests refuses, and what it puts right."""

    def __init__(self) -> None:
        # ids of events that wait to be put right
        self.waiting: set[str] = set()
        self._items: dict[int, dict[str, Any]] = {}
        self._refused: list[tuple[Any, ...]] = []
        self._refused_again: list[tuple[Any, ...]] = []
        self._recorded: list[tuple[Any, ...]] = []

    async def load(self, connection: Connection, wanted: Sequence[int]) -> None:
        """The items that requests of the group correct."""
        if wanted:
            rows = await connection.fetch(SQL.items, list(wanted))
            self._items = {row["id"]: dict(row) for row in rows}

    def closed(self, item_id: int, known: dict[str, tuple[int, bytes]]) -> AlreadyPutRight | None:
        """Why an item can't be corrected any more; `known`: events in the log, by id."""
        item = self._items[item_id]
        if item["state"] == "open" and item["event_id"] in known:
            return AlreadyPutRight("recorded", known[item["event_id"]][0])
        if item["state"] != "open":
            return AlreadyPutRight(item["state"], item["resolved_position"])
        return None

    def refused(self, submission: Submission, part: Part, verdict: Verdict, at: datetime) -> None:
        """Keep what was refused, or note one more attempt at putting it right."""
        principal, raw, faults = submission.principal, part.element.raw, verdict.errors
        if submission.corrects is not None:
            self._refused_again.append((submission.corrects, principal.name, raw, faults, at))
            return
        event_id = verdict.id
        if any(fault.kind == "id_reused" for fault in faults):
            # The id is another, recorded event's: it can't be what this item is known by.
            event_id = None
        elif event_id is not None:
            self.waiting.add(event_id)
        site = part.event.site if part.event else _site_in(raw)
        named = site is not None and principal.sees(site)
        self._refused.append(
            (
                UUID(event_id) if event_id else None,
                principal.name,
                corrects_at(principal),
                site,
                [site] if named else principal.site_list or [],
                raw,
                faults,
                at,
            )
        )

    def recorded(
        self, item_id: int | None, event_id: str, position: int, by: str, at: datetime
    ) -> None:
        """An event is in the log now: as the correction of an item, or by its id alone."""
        if item_id is not None:
            self._items[item_id] |= {"state": "recorded", "resolved_position": position}
        if item_id is not None or event_id in self.waiting:
            self._recorded.append((UUID(event_id), item_id, position, by, at))

    async def write(self, connection: Connection) -> None:
        """Everything that was noted; what a group both refused and recorded ends recorded."""
        if self._refused:
            await connection.executemany(SQL.keep, self._refused)
        if self._refused_again:
            await connection.executemany(SQL.keep_correction, self._refused_again)
        if self._recorded:
            columns = [list(column) for column in zip(*self._recorded, strict=True)]
            await connection.execute(SQL.recorded, *columns)


class _Loose(msgspec.Struct):
    id: Any = None
    site: Any = None


def id_in(raw: bytes) -> str | None:
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


# -- asking, and letting go ----------------------------------------------------------------------


async def items(
    connection: Connection,
    asker: Principal,
    *,
    after: int,
    limit: int,
    state: str | None = "open",
    site: str | None = None,
) -> list[PutRight]:
    """At most `limit` items after an id that the asker sent or corrects, in the order they came."""
    rows = await connection.fetch(
        SQL.page, after, asker.name, corrects_at(asker), state, site, limit
    )
    return [PutRight(**_fields(row)) for row in rows]


async def item(connection: Connection, asker: Principal, item_id: int) -> PutRightWhole | None:
    """One item with all that was sent for it, if the asker sent it or corrects there."""
    row = await connection.fetchrow(SQL.item, item_id, asker.name, corrects_at(asker))
    if row is None:
        return None
    fields = _fields(row)
    fields["reasons"] = _reasons(row["reasons"])
    earlier = [
        EarlierSending(
            attempt=sent["attempt"],
            principal=sent["principal"],
            at=sent["at"],
            raw=_text(sent["raw"]),
            reasons=_reasons(sent["reasons"]),
        )
        for sent in await connection.fetch(SQL.earlier, item_id)
    ]
    return PutRightWhole(**fields, raw_base64=_not_text(row["raw"]), earlier=earlier)


async def discard(
    connection: Connection, item_id: int, *, by: str, reason: str, at: datetime
) -> bool:
    """Let an open item go, with the reason. False when it is not open any more."""
    return await connection.fetchval(SQL.discard, item_id, by, reason, at) is not None


def _fields(row: Any) -> dict[str, Any]:
    return {**dict(row), "raw": _text(row["raw"])}


def _text(raw: bytes) -> str:
    return raw.decode("utf-8", "replace")


def _not_text(raw: bytes) -> str | None:
    try:
        raw.decode("utf-8")
    except UnicodeDecodeError:
        return b64encode(raw).decode()
    return None


def _reasons(stored: list[dict[str, Any]]) -> list[RefusalReason]:
    faults = msgspec.convert(stored, list[Fault])
    return [
        RefusalReason(
            kind=fault.kind,
            detail=fault.detail,
            pointer=fault.pointer,
            numbers=fault.numbers,
            settled_by=settled_by(fault.kind),
        )
        for fault in faults
    ]
