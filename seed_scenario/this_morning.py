"""The morning after the story: what loggers told through the night, the forecast, a treatment, and
how the grafts of three weeks ago took.

Told live, as of now, since a round goes by the last hours: the cooler of Corin Hill has been
getting warm, one of its houses was treated at dawn, the logger of Eldra Fields fell silent.
"""

import math
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from typing import Any

import httpx

from seed_scenario import nursery
from seed_scenario.generator import Scenario
from seed_scenario.telling import ZONES

HOURS = 60
DAYS_AHEAD = 10
_COLDEST_AT, _HALF_A_DAY = 5, 12
# Hours ago: when the cooler began to get warm, when the logger fell silent.
_WARMING, _SILENT = 7, 11
_GRAFTED = {"site": "CORIN", "lot": "C-AUTUMN", "place": "C-T14"}
_TREES, _FAILED = 12, 1
_TREATED = {"site": "CORIN", "house": "House 2"}


async def tell_this_morning(client: httpx.AsyncClient, year: Scenario, now: datetime) -> None:
    """Tell it through the service; the client carries the address and a key that may record.

    Raises httpx.HTTPStatusError when something of it is refused.
    """
    for site in nursery.SITES:
        days = _days(year, site)
        readings = [
            {"sensor": sensor, "time": at.isoformat(), "celsius": celsius}
            for sensor, at, celsius in _readings(site, days, now)
        ]
        answer = await client.post(f"/v1/sites/{site}/readings", json={"readings": readings})
        answer.raise_for_status()
        forecast = _forecast(days, now.astimezone(ZONES[site]).date())
        if forecast["days"]:
            answer = await client.put(f"/v1/sites/{site}/temperatures/ahead", json=forecast)
            answer.raise_for_status()
    for event in (_treatment(now), *_three_weeks_ago(now)):
        (await client.post("/v1/events", json=event)).raise_for_status()


def _days(year: Scenario, site: str) -> dict[date, tuple[float, float]]:
    ahead = year.truth.weather_ahead[site] if year.truth else []
    return {day: (low, high) for day, low, high in [*year.temperatures[site][-5:], *ahead]}


def _readings(
    site: str, days: dict[date, tuple[float, float]], now: datetime
) -> Iterator[tuple[str, datetime, float]]:
    """Every hour of the last days: the cooler, and the bench by the day's range."""
    last = now.astimezone(ZONES[site]).replace(minute=0, second=0, microsecond=0)
    for ago in range(HOURS, -1, -1):
        at = (last.astimezone(now.tzinfo) - timedelta(hours=ago)).astimezone(ZONES[site])
        warmer = max(_WARMING - ago, 0) * 1.7 if site == "CORIN" else 0
        yield nursery.LOGGERS[site][0], at, round(5 + 0.6 * math.sin(ago * 1.3) + warmer, 1)
        if at.date() in days and not (site == "ELDRA" and ago < _SILENT):
            low, high = days[at.date()]
            turn = math.pi * (at.hour - _COLDEST_AT) / _HALF_A_DAY
            warmth = (low + high) / 2 - (high - low) / 2 * math.cos(turn)
            yield nursery.LOGGERS[site][1], at, round(warmth + 0.1 * math.sin(ago), 1)


def _forecast(days: dict[date, tuple[float, float]], today: date) -> dict[str, Any]:
    """The days to come to the degree, as forecasts are."""
    coming = [today + timedelta(days=step) for step in range(DAYS_AHEAD)]
    return {
        "source": "invented weather service",
        "days": [
            {"day": str(day), "min_c": round(days[day][0]), "max_c": round(days[day][1])}
            for day in coming
            if day in days
        ],
    }


def _three_weeks_ago(now: datetime) -> Iterator[dict[str, Any]]:
    """A small lot of one pair of hands, on liners and with wood that came for it; unwrapped
    yesterday, so that whoever grafted it sees this morning how it took."""
    site, lot = _GRAFTED["site"], _GRAFTED["lot"]
    grafter, bed = nursery.PEOPLE[site][0], nursery.LINER_BED[site]
    liners, wood = f"{lot}L", f"{lot}W"
    today = now.astimezone(ZONES[site]).date()

    def told(kind: str, days: int, **data: Any) -> dict[str, Any]:
        day = today - timedelta(days=days)
        return {"type": kind, "site": site, "occurred": str(day), "actor": grafter, "data": data}

    stand = {"place": bed, "count": _TREES}
    yield told(
        "liners.received", 25, lot=liners, rootstock="CARRIZO", size="P1", supplier="sup-02",
        lines=[stand],
    )  # fmt: skip
    bag = {"bag": f"{wood}-1", "buds": _TREES, "place": nursery.BOX}
    yield told(
        "budwood.received", 23, lot=wood, cultivar="NAVEL", supplier="sup-05", bags=[bag]
    )  # fmt: skip
    yield told(
        "trees.grafted", 22, lot=lot, onto={"liner_lot": liners, "place": bed}, method="t_bud",
        place=_GRAFTED["place"], count=_TREES, grafters=[{"person": grafter, "count": _TREES}],
        **{"from": [{"bag": f"{wood}-1"}]},
    )  # fmt: skip
    yield told("grafts.unwrapped", 1, lot=lot, alive=_TREES - _FAILED, failed=_FAILED)


def _treatment(now: datetime) -> dict[str, Any]:
    site = _TREATED["site"]
    began, ended = ((now - timedelta(hours=h)).astimezone(ZONES[site]) for h in (3, 2))
    places = [
        one["code"]
        for one in nursery.places(site)
        if one["structure"] == _TREATED["house"] and one["place_kind"] == "table"
    ]
    return {
        "type": "treatment.applied",
        "site": site,
        "occurred": began.isoformat(timespec="seconds"),
        "actor": nursery.PEOPLE[site][0],
        "data": {
            "places": places,
            "product": "horticultural oil",
            "rate": "1 % by volume, by the label",
            "reason": "scale insects",
            "document": "spray-today",
            "re_entry_hours": 12,
            "ended": ended.isoformat(timespec="seconds"),
        },
    }
