"""What a digest tells of: gathered once for all who see the same sites, behind their walls."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from zoneinfo import ZoneInfo

import msgspec

from service.log import rights
from service.log.rights import Principal
from service.reminders import raising
from service.reminders.alerts import AlertRow, AlertsQuery, alerts
from service.reminders.mail.choices import SQL, USUAL_AT_ONCE
from service.reminders.morning import morning
from service.reminders.morning_shapes import Morning
from service.storage.pool import Connection, Database, Pool
from service.storage.walls import seeing
from service.views.site_days import zone

_MOST_ALERTS = 2000
# Told only to those who can do something about it.
_CONCERNS: Mapping[str, str] = {
    raising.FAULT: rights.ADMIN,
    raising.WEBHOOK_STOPPED: rights.WEBHOOKS,
    raising.MAIL_FAILED: rights.CONTACTS_READ,
    raising.PUT_RIGHT: rights.CORRECTIONS,
    raising.SHORTFALL_RISK: rights.RESERVATIONS,
    "shortfall": rights.RESERVATIONS,
    "outside_reservation": rights.RESERVATIONS,
}


class SiteOf(msgspec.Struct, frozen=True, kw_only=True):
    """A site in use, and its own day."""

    code: str
    name: str
    zone: ZoneInfo
    today: date


class SiteMorning(msgspec.Struct, frozen=True, kw_only=True):
    """What a site has to tell in the morning; `site` None: what is of no single one."""

    site: SiteOf | None
    alerts: list[AlertRow]
    round: Morning | None = None

    @property
    def due(self) -> list[tuple[str, list[str], int]]:
        """Checks that are due and not overdue: of each its name, where, of how many trees."""
        found: dict[str, tuple[list[str], int]] = {}
        for table in self.round.tables if self.round else ():
            for check in table.checks:
                if check.state == "due":
                    places, trees = found.get(check.check, ([], 0))
                    more = [] if table.place in places else [table.place]
                    found[check.check] = places + more, trees + check.trees
        return [(name, sorted(places), trees) for name, (places, trees) in sorted(found.items())]

    @property
    def wants_somebody(self) -> bool:
        """Whether there is something to do or to mind today."""
        if self.round and (self.round.closed_houses or self.round.grafting.late):
            return True
        return bool(self.alerts or self.due)


async def sites_in_use(conn: Pool | Connection, now: datetime) -> dict[str, SiteOf]:
    """Every site that is not retired, by code."""
    found = {}
    for row in await conn.fetch(SQL.site_rows):
        there = zone(row["time_zone"])
        today = now.astimezone(there).date()
        found[row["code"]] = SiteOf(code=row["code"], name=row["name"], zone=there, today=today)
    return found


def concerns(kind: str, principal: Principal) -> bool:
    """Whether who may do what `principal` may can do something about such an alert."""
    asked = _CONCERNS.get(kind)
    return asked is None or principal.may(asked)


class Gatherer:
    """Gathers mornings, each set of sites once; for one round of writing mails."""

    def __init__(self, database: Database, sites: Mapping[str, SiteOf], now: datetime) -> None:
        self._database, self._sites, self._now = database, sites, now
        self._alerts: dict[tuple[str, ...] | None, list[AlertRow]] = {}
        self._days: dict[str, SiteMorning] = {}

    async def mornings(
        self, wanted: Sequence[str], seen: list[str] | None, *, also_of_none: bool
    ) -> list[SiteMorning]:
        """Of each wanted site, and what is of no single one, for who sees the sites `seen`."""
        by_site: dict[str | None, list[AlertRow]] = {}
        for alert in await self._open(seen):
            here = alert.site if alert.site in (self._sites if seen is None else seen) else None
            by_site.setdefault(here, []).append(alert)
        told = [await self._of_site(code, by_site.get(code, [])) for code in wanted]
        if also_of_none and None in by_site:
            told.append(SiteMorning(site=None, alerts=sorted(by_site[None], key=urgency)))
        return told

    async def _of_site(self, code: str, found: list[AlertRow]) -> SiteMorning:
        if code not in self._days:
            async with seeing(self._database.reader, [code]) as conn:
                told = await morning(conn, code, self._now)
            self._days[code] = SiteMorning(site=self._sites[code], alerts=[], round=told)
        return msgspec.structs.replace(self._days[code], alerts=sorted(found, key=urgency))

    async def _open(self, seen: list[str] | None) -> list[AlertRow]:
        key = None if seen is None else tuple(seen)
        if key not in self._alerts:
            self._alerts[key] = await open_alerts(
                self._database.reader, seen, AlertsQuery(state="open"), self._now
            )
        return self._alerts[key]


async def open_alerts(
    pool: Pool, seen: list[str] | None, query: AlertsQuery, now: datetime
) -> list[AlertRow]:
    """All alerts that the query asks for, up to two thousand, the newest first."""
    asked = msgspec.structs.replace(query, limit=_MOST_ALERTS)
    return (await alerts(pool, asked, seen, clock=lambda: now)).rows


def urgency(alert: AlertRow) -> tuple[int, int, str, str]:
    """What comes first: the kinds that are urgent, then what is late for longest."""
    try:
        rank = USUAL_AT_ONCE.index(alert.kind)
    except ValueError:
        rank = len(USUAL_AT_ONCE) + (alert.due_on is None)
    due = alert.due_on.toordinal() if alert.due_on else 0
    return rank, due, alert.place or alert.lot or "", alert.id


def only_concerning(
    mornings: Iterable[SiteMorning], principal: Principal, left_out: frozenset[str]
) -> list[SiteMorning]:
    """The same without the alerts that somebody does not want, or can do nothing about."""
    return [
        msgspec.structs.replace(
            one,
            alerts=[
                alert
                for alert in one.alerts
                if alert.kind not in left_out and concerns(alert.kind, principal)
            ],
        )
        for one in mornings
    ]
