"""given / when / then for the log: a small nursery, events in a line, and what became of them."""

from datetime import UTC, datetime
from typing import Any

import msgspec

from service.log.append import Appender
from service.log.rights import SCOPES, Principal
from service.log.submission import Answer, Element, Submission, Verdict
from service.storage.pool import Database
from service.trade.events import Event

EVERYTHING = Principal("tester", frozenset(SCOPES), frozenset({"*"}))
NOW = datetime(2026, 6, 30, 12, tzinfo=UTC)
_decoder = msgspec.json.Decoder(Event)


def event(kind: str, day: str, site: str = "CORIN", /, **rest: Any) -> dict[str, Any]:
    """An event as a client writes it. `id_`, `happened`, `replaces` go to the envelope."""
    envelope: dict[str, Any] = {"type": kind, "site": site, "occurred": day}
    for name in ("id", "happened", "replaces", "actor"):
        if name in rest:
            envelope[name] = rest.pop(name)
    envelope["data"] = {name.removesuffix("_"): value for name, value in rest.items()}
    return envelope


def entry(kind: str, code: str, acting: str = "CORIN", /, **body: Any) -> Any:
    """An entry of the catalogue, as of New Year 2025."""
    return event(
        "catalogue.changed", "2025-01-01", acting, entry={"kind": kind, "code": code, **body}
    )


class BenchSide:
    """Somebody at the bench, who records and reads the verdicts."""

    def __init__(self, appender: Appender, database: Database) -> None:
        self.appender = appender
        self.database = database

    async def send(self, *events: Any, **options: Any) -> Answer:
        """One request."""
        elements = []
        for one in events:
            raw = msgspec.json.encode(one)
            elements.append(Element(raw, _decoder.decode(raw)))
        principal = options.pop("principal", EVERYTHING)
        return await self.appender.append(
            Submission(principal=principal, elements=elements, **options)
        )

    async def given(self, *events: Any) -> list[Verdict]:
        """Events that are recorded without a word of refusal."""
        answer = await self.send(*events)
        assert answer.status in (200, 201), answer.verdicts
        return answer.verdicts

    async def when(self, one: Any, **options: Any) -> Verdict:
        """One event and its verdict."""
        return (await self.send(one, **options)).verdicts[0]

    async def balance(self, lot: str, kind: str, **where: str) -> int:
        """The balance now of the accounts of a lot that fit."""
        sql = "SELECT coalesce(sum(balance), 0)::int FROM balances JOIN lots USING (lot_id)"
        sql += " WHERE code = $1 AND balances.kind = $2"
        for number, name in enumerate(where, 3):
            sql += f" AND balances.{name} = ${number}"
        value: int = await self.database.writer.fetchval(sql, lot, kind, *where.values())
        return value

    async def nursery(self) -> None:
        """Two sites, a few places, citrus on two stocks."""
        zones = {"CORIN": "Europe/Madrid", "TARNA": "Pacific/Auckland"}
        await self.given(
            *(
                entry("site", code, code, name=code.title(), time_zone=z, latitude=40, longitude=1)
                for code, z in zones.items()
            )
        )
        places = {"C-BOX": "CORIN", "C-T1": "CORIN", "C-T2": "CORIN", "T-T1": "TARNA"}
        await self.given(
            *(entry("place", p, s, site=s, structure="House 1") for p, s in places.items()),
            entry("place", "C-RET", site="CORIN", structure="Yard", for_returns=True),
            entry("place", "T-BOX", "TARNA", site="TARNA", structure="Store"),
            entry(
                "cultivar", "NAVEL", crop="citrus", species="Citrus sinensis", epithet="Navelina"
            ),
            entry("cultivar", "LIMA", crop="citrus", species="Citrus limon", epithet="Eureka"),
            entry("rootstock", "CARRIZO", crop="citrus", name="Carrizo"),
            entry("size", "P9", label="9 cm pot"),
            entry("size", "L2", label="2 litre", rank=2),
            entry("source_tree", "ST-1", cultivar="NAVEL", expires_on="2027-01-01"),
            entry("source_tree", "ST-2", cultivar="NAVEL", expires_on="2027-01-01"),
        )

    async def stocked(self) -> None:
        """Budwood BW1 (bag B1, 40 counted) and liners L1 (100 at C-T1)."""
        await self.nursery()
        await self.given(
            event(
                "budwood.cut",
                "2026-03-01",
                lot="BW1",
                cultivar="NAVEL",
                source_tree="ST-1",
                bags=[{"bag": "B1", "buds": 40, "sticks": 3, "place": "C-BOX"}],
            ),
            event(
                "liners.received",
                "2026-03-01",
                lot="L1",
                rootstock="CARRIZO",
                size="P9",
                supplier="sup-1",
                lines=[{"place": "C-T1", "count": 100}],
            ),
        )

    async def grafted(self, count: int = 24) -> None:
        """Tree lot T1: so many from B1 onto L1 at C-T1 on 5 March."""
        await self.stocked()
        await self.given(self.graft(count))

    def graft(
        self, count: int, day: str = "2026-03-05", lot: str | None = "T1", **more: Any
    ) -> Any:
        parts = {
            "from_": [{"bag": "B1"}],
            "onto": {"liner_lot": "L1"},
            "method": "t_bud",
            "place": "C-T1",
            "count": count,
        }
        if lot is not None:
            parts["lot"] = lot
        return event("trees.grafted", day, **(parts | more))
