"""Puts completed events and what they do to the books straight into the tables, for view tests.

No judging and no completing: tests give complete events. Legs come from the trade's own function.
"""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID, uuid4
from zoneinfo import ZoneInfo

import msgspec

from service.trade.accounts import Key
from service.trade.events import EVENT_TYPES
from service.trade.legs import legs_of
from service.trade.words import understand_occurred

NO_KEY = Key("", "", "", "", "", "", "", "")
LOT_COLUMNS = (
    "lot_id, code, kind, site, cultivar, rootstock, source, method, day, attempt, parents, "
    "ancestry, position, changed_position"
)


class Ledger:
    """Writes as the log's writer does: dense positions, absolute balances, one NOTIFY at commit."""

    def __init__(self, pool: Any, zones: dict[str, str]) -> None:
        self.pool = pool
        self.zones = {site: ZoneInfo(zone) for site, zone in zones.items()}
        self.position = 0
        self.now = datetime(2026, 1, 1, tzinfo=UTC)
        self.lots: dict[str, int] = {}
        self.balances: dict[tuple[str, Key], list[Any]] = {}
        self.postings: dict[int, list[tuple[Any, ...]]] = {}
        self.events: dict[int, Any] = {}

    async def entry(self, kind: str, code: str, **body: Any) -> int:
        """Put a catalogue entry, with its event."""
        whole = {"kind": kind, "code": code, **body}
        site = next(iter(self.zones))
        position = await self.event(
            "catalogue.changed", site, "2026-01-01", {"entry": whole}, subjects=[]
        )
        await self.pool.execute(
            "INSERT INTO catalogue (kind, code, site, position, body) "
            "VALUES ($1, $2, $3, $4, $5::text::jsonb) ON CONFLICT (kind, code) "
            "DO UPDATE SET position = excluded.position, body = excluded.body",
            kind,
            code,
            body.get("site"),
            position,
            msgspec.json.encode(whole).decode(),
        )
        return position

    async def lot(
        self,
        code: str,
        kind: str,
        site: str,
        day: str | None,
        *,
        parents: Sequence[str] = (),
        ancestry: Sequence[str] = (),
        **parts: Any,
    ) -> None:
        """Make a lot; its first event follows."""
        self.lots[code] = len(self.lots) + 1
        when = None if day is None else understand_occurred(day, ZoneInfo("UTC")).day
        await self.pool.execute(
            f"INSERT INTO lots ({LOT_COLUMNS}) "
            "VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, 1, $10, $11, $12, $12)",
            self.lots[code],
            code,
            kind,
            site,
            parts.get("cultivar"),
            parts.get("rootstock"),
            parts.get("source"),
            parts.get("method"),
            when,
            list(parents),
            list(ancestry) or [f"lot:{code}", *parents],
            self.position + 1,
        )

    async def bag(self, code: str, lot: str, buds: int, *, parent: str | None = None) -> None:
        """Label a bag of a budwood lot."""
        await self.pool.execute(
            "INSERT INTO bags (code, lot_id, buds, sticks, basis, parent, position) "
            "VALUES ($1, $2, $3, 3, 'counted', $4, $5)",
            code,
            self.lots[lot],
            buds,
            parent,
            self.position + 1,
        )

    async def event(
        self,
        type_: str,
        site: str,
        occurred: str,
        data: dict[str, Any],
        *,
        subjects: Sequence[str] | None = None,
        remarks: Sequence[dict[str, Any]] = (),
        event_id: str | None = None,
        actor: str | None = "p-01",
    ) -> int:
        """Record one completed event; `subjects` as kind:code, found from `data` when left out."""
        event = msgspec.convert(
            {"type": type_, "site": site, "occurred": occurred, "data": data}, EVENT_TYPES[type_]
        )
        moment = understand_occurred(occurred, self.zones[site])
        position = self.position + 1
        named = _named(data) if subjects is None else list(subjects)
        postings = []
        async with self.pool.acquire() as conn, conn.transaction():
            for leg in legs_of(event):
                lot_id, account_id = await self._post(conn, leg.lot, leg.key, leg.delta, moment.day)
                postings.append(
                    (lot_id, account_id, moment.day, moment.at, leg.key.site, leg.delta)
                )
                if f"lot:{leg.lot}" not in named:
                    named.append(f"lot:{leg.lot}")
            await self._write(
                conn,
                (type_, site, occurred, moment),
                data,
                postings,
                named,
                remarks,
                event_id,
                actor,
            )
        self.postings[position] = postings
        self.events[position] = (site, occurred, moment, named)
        return position

    async def void(self, voided: int, site: str, occurred: str) -> int:
        """Void the event at a position: its legs reversed at its own date."""
        _, _, _moment, named = self.events[voided]
        data = {"event": str(uuid4()), "reason": "not so", "position": voided}
        reversed_legs = []
        async with self.pool.acquire() as conn, conn.transaction():
            for lot_id, account_id, day, at, leg_site, delta in self.postings[voided]:
                lot, key = next(
                    k for k, v in self.balances.items() if v[:2] == [lot_id, account_id]
                )
                await self._post(conn, lot, key, -delta, day)
                reversed_legs.append((lot_id, account_id, day, at, leg_site, -delta))
            void_moment = understand_occurred(occurred, self.zones[site])
            await self._write(
                conn,
                ("event.voided", site, occurred, void_moment),
                data,
                reversed_legs,
                named,
                (),
                None,
                "p-01",
            )
            await conn.execute("INSERT INTO voids VALUES ($1, $2)", voided, self.position)
        return self.position

    async def _post(self, conn: Any, lot: str, key: Key, delta: int, day: Any) -> tuple[int, int]:
        row = self.balances.get((lot, key))
        if row is None:
            row = [self.lots[lot], len(self.balances) + 1, 0, day]
            self.balances[(lot, key)] = row
        row[2] += delta
        row[3] = max(row[3], day)
        await conn.execute(
            "INSERT INTO balances (lot_id, account_id, kind, site, place, stage, size, grade, ref, "
            "commodity, balance, last_day) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, "
            "$12) ON CONFLICT (lot_id, account_id) "
            "DO UPDATE SET balance = excluded.balance, last_day = excluded.last_day",
            row[0],
            row[1],
            *key,
            row[2],
            row[3],
        )
        return row[0], row[1]

    async def _write(
        self,
        conn: Any,
        head: tuple[str, str, str, Any],
        data: dict[str, Any],
        postings: list[tuple[Any, ...]],
        subjects: list[str],
        remarks: Sequence[dict[str, Any]],
        event_id: str | None,
        actor: str | None,
    ) -> None:
        type_, site, occurred, moment = head
        self.position += 1
        self.now += timedelta(minutes=1)
        sites = sorted({site, *(p[4] for p in postings)})
        await conn.execute(
            "INSERT INTO events (position, id, type, version, site, sites, occurred, occurred_at, "
            "occurred_day, recorded_at, recorded_by, actor, happened, replaces, unit, digest, "
            "remarks, data) VALUES ($1, $2, $3, 1, $4, $5, $6, $7, $8, $9, 'test', $10, false, "
            "NULL, $11, '\\x00', $12::text::jsonb, $13::text::jsonb)",
            self.position,
            UUID(event_id) if event_id else uuid4(),
            type_,
            site,
            sites,
            occurred,
            moment.at,
            moment.day,
            self.now,
            actor,
            uuid4(),
            msgspec.json.encode(list(remarks)).decode(),
            msgspec.json.encode(data).decode(),
        )
        for lot_id, account_id, day, at, leg_site, delta in postings:
            await conn.execute(
                "INSERT INTO legs VALUES ($1, $2, $3, $4, $5, $6, $7, NULL)",
                lot_id,
                account_id,
                day,
                at,
                self.position,
                leg_site,
                delta,
            )
        for token in subjects:
            kind, code = token.split(":", 1)
            await conn.execute(
                "INSERT INTO subjects VALUES ($1, $2, $3, $4) ON CONFLICT DO NOTHING",
                kind,
                code,
                moment.at,
                self.position,
            )
        await conn.execute(
            "UPDATE log_head SET position = $1, recorded_at = $2", self.position, self.now
        )
        await conn.execute("SELECT pg_notify('graftlog_log', $1)", str(self.position))


def _named(data: Any) -> list[str]:
    """The subjects an event speaks of, found by the names of its fields."""
    kinds = {"lot": "lot", "of": "lot", "place": "place", "to": "place", "bag": "bag"}
    found: list[str] = []
    if isinstance(data, dict):
        for name, value in data.items():
            if name in kinds and isinstance(value, str):
                found.append(f"{kinds[name]}:{value}")
            else:
                found += _named(value)
    elif isinstance(data, list):
        for part in data:
            found += _named(part)
    return list(dict.fromkeys(found))
