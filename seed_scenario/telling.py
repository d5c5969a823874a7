"""How the year is told: who records what, when, and what the log is expected to say to it."""

import random
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from typing import Any, Literal
from uuid import UUID
from zoneinfo import ZoneInfo

import msgspec

from seed_scenario.nursery import PEOPLE

ZONES = {"CORIN": "Europe/Madrid", "TARNA": "Australia/Brisbane", "ELDRA": "Europe/Copenhagen"}
EVENING = time(18, 30)
# What is said at the bench itself, before the evening's records.
MIDDAY = time(12, 15)


class Request(msgspec.Struct, kw_only=True):
    """One request as a client sends it, with what is expected of each of its events.

    `refused`: index of an event → kind of the fault expected there. `remarked`: index → kinds of
    remarks that must be among those answered. Everything else must be accepted.
    """

    site: str
    recorded_at: datetime
    recorded_by: str
    events: list[dict[str, Any]]
    mode: Literal["all", "each"] = "all"
    refused: dict[int, str] = {}
    remarked: dict[int, list[str]] = {}


class Teller:
    """Collects what is said and puts it into requests in the order it was recorded."""

    def __init__(self, seed: int, last: date) -> None:
        # A stream of its own, so that ids don't hang on what else is drawn.
        self._chance = random.Random(f"ids {seed}")
        self._evenings: dict[tuple[datetime, str], Request] = {}
        self._own: list[tuple[int, Request]] = []
        self._last = last

    def instant(self, site: str, day: date, at: time) -> datetime:
        """A time of a site's day as an instant."""
        return datetime.combine(day, at, ZoneInfo(ZONES[site])).astimezone(UTC)

    def new_id(self, site: str, day: date) -> str:
        """A UUID of version 7 (RFC 9562) of the site's noon."""
        stamp = int(self.instant(site, day, time(12)).timestamp() * 1000)
        value = stamp << 80 | self._chance.getrandbits(80)
        value = value & ~(0xF << 76) | 0x7 << 76
        value = value & ~(0x3 << 62) | 0x2 << 62
        return str(UUID(int=value))

    def event(
        self, kind: str, site: str, day: date, data: dict[str, Any], actor: str, **more: Any
    ) -> dict[str, Any]:
        """An event as a client writes it."""
        occurred = more.pop("occurred", str(day))
        return {
            "id": self.new_id(site, day),
            "type": kind,
            "site": site,
            "occurred": occurred,
            "actor": actor,
            "data": data,
            **more,
        }

    def evening(
        self,
        event: dict[str, Any],
        day: date,
        remarks: tuple[str, ...] = (),
    ) -> None:
        """Among what a site writes down at the end of a day: one array a site and day."""
        day, site = min(day, self._last), event["site"]
        at = self.instant(site, day, EVENING)
        # Two people take turns, week by week.
        by = PEOPLE[site][day.isocalendar().week % 2]
        key = (at, site)
        request = self._evenings.get(key)
        if request is None:
            request = Request(site=site, recorded_at=at, recorded_by=by, events=[])
            self._evenings[key] = request
        if remarks:
            request.remarked[len(request.events)] = list(remarks)
        request.events.append(event)

    def at_once(
        self,
        events: list[dict[str, Any]],
        day: date,
        by: str,
        at: time = MIDDAY,
        **expected: Any,
    ) -> None:
        """A request of its own, at a time of the day."""
        site = events[0]["site"]
        request = Request(
            site=site,
            recorded_at=self.instant(site, min(day, self._last), at),
            recorded_by=by,
            events=events,
            **expected,
        )
        self._own.append((len(self._own), request))

    def requests(self) -> list[Request]:
        """Everything, in the order it was recorded."""
        told = [(r.recorded_at, 1, 0, r) for r in self._evenings.values()]
        told += [(r.recorded_at, 0, number, r) for number, r in self._own]
        told.sort(key=lambda item: item[:3])
        ordered = [item[3] for item in told]
        # Two requests never share an instant, so that the log's order is told by its times.
        for before, after in pairwise(ordered):
            if after.recorded_at <= before.recorded_at:
                after.recorded_at = before.recorded_at + timedelta(seconds=20)
        return ordered
