"""A year of hourly temperatures through the endpoint: daily degree-days against the hourly truth.

Hourly temperatures of Seattle and San Francisco, 2010, of the package vega-datasets 0.9.0 (MIT
licence). Told only each day's minimum and maximum, as a nursery's
thermometer would tell them, the service imagines the day between them; the truth is the sum of the
hours, each cut off at the thresholds. The single sine overstates mild coasts: that bias is known,
and a requirement learned from minima and maxima must not be spent on hourly sums. Told the hours,
as a logger would tell them, it gives the truth.
"""

import csv
from collections import defaultdict
from datetime import date
from importlib.util import find_spec
from pathlib import Path
from typing import NamedTuple

import httpx
import numpy as np
import pytest

from service.forecast.degree_days import Cutoff, Method
from service.forecast.numerics.thermal import degree_days, hourly_sum
from service.forecast.records.site_weather import site_weather
from service.forecast.requirements import Thresholds
from service.storage.pool import Database


class Place(NamedTuple):
    file: str
    time_zone: str
    latitude: float
    longitude: float


SEATTLE = Place("seattle-temps.csv", "America/Los_Angeles", 47.4, -122.3)
SAN_FRANCISCO = Place("sf-temps.csv", "America/Los_Angeles", 37.6, -122.4)


def rows_of(place: Place) -> list[dict[str, str]]:
    """The file's rows."""
    # Found without importing: the package would ask for pandas, and its file is all we want.
    spec = find_spec("vega_datasets")
    assert spec is not None
    assert spec.submodule_search_locations is not None
    path = Path(spec.submodule_search_locations[0]) / "_data" / place.file
    with path.open(newline="") as file:
        return list(csv.DictReader(file))


def hours_of(place: Place) -> dict[date, list[float]]:
    """Celsius by day."""
    days: dict[date, list[float]] = defaultdict(list)
    for time, celsius in readings(place):
        days[date.fromisoformat(time[:10])].append(celsius)
    return days


def summed_hours(days: dict[date, list[float]], lower: float, upper: float) -> float:
    """Degree-days (Cd): each day the mean of its hours, held between the thresholds."""
    return sum(
        sum(min(max(hour, lower), upper) - lower for hour in hours) / len(hours)
        for hours in days.values()
    )


# Base and cutoff in Celsius; hourly and sine sums (Cd) and the sine's excess. 10/30 is the usual
# 50/86 F (hourly 1860.0, sine 1960.6 Fd in Seattle; 2611.4, 2954.1 in San Francisco); 12.8/36 is
# what citrus is counted with. The figures were computed outside the service from the same hours.
BIAS = [
    (SEATTLE, 10.0, 30.0, 1033.36, 1089.25, 0.054),
    (SEATTLE, 12.8, 36.0, 578.74, 620.14, 0.072),
    (SAN_FRANCISCO, 10.0, 30.0, 1450.79, 1641.19, 0.131),
    (SAN_FRANCISCO, 12.8, 36.0, 700.99, 859.36, 0.226),
]


@pytest.mark.parametrize(("place", "lower", "upper", "hourly", "sine", "excess"), BIAS)
async def test_a_year_through_the_endpoint_and_its_known_bias(
    client: httpx.AsyncClient,
    place: Place,
    lower: float,
    upper: float,
    hourly: float,
    sine: float,
    excess: float,
) -> None:
    days = hours_of(place)
    assert len(days) == 365
    assert sum(map(len, days.values())) == 365 * 24 - 1, "one hour is missing in each file"
    site = {
        "name": "Test",
        "time_zone": place.time_zone,
        "latitude": place.latitude,
        "longitude": place.longitude,
    }
    assert (await client.put("/v1/sites/HOME", json=site)).status_code == 201

    told = [
        {"day": str(day), "min_c": round(min(hours), 4), "max_c": round(max(hours), 4)}
        for day, hours in days.items()
    ]
    put = await client.put(
        "/v1/sites/HOME/temperatures", json={"source": "normals of 2010", "days": told}
    )
    assert put.status_code == 200, put.text
    kept = (await client.get("/v1/sites/HOME/temperatures")).json()

    assert kept["gaps"] == []
    lows, highs = ([day[name] for day in kept["days"]] for name in ("min_c", "max_c"))
    thresholds = Thresholds(
        lower_c=lower, upper_c=upper, method=Method.SINGLE_SINE, cutoff=Cutoff.HORIZONTAL
    )
    by_sine = degree_days(lows, highs, thresholds).sum()
    by_hours = summed_hours(days, lower, upper)
    assert by_hours == pytest.approx(hourly, abs=0.01)
    # Kept to a hundredth of a degree, a year of roundings.
    assert by_sine == pytest.approx(sine, abs=0.1)
    assert by_sine / by_hours - 1 == pytest.approx(excess, abs=0.0006)


@pytest.mark.parametrize("place", [SEATTLE, SAN_FRANCISCO], ids=["seattle", "san francisco"])
async def test_a_year_of_readings_through_the_endpoint_gives_the_truth(
    client: httpx.AsyncClient, database: Database, place: Place
) -> None:
    # The file knows no summer time: its hours are those of a clock that never changes.
    site = {
        "name": "Test",
        "time_zone": "Etc/GMT+8",
        "latitude": place.latitude,
        "longitude": place.longitude,
    }
    assert (await client.put("/v1/sites/HOME", json=site)).status_code == 201
    lines = [f"logger,{time}-08:00,{round(value, 4)}" for time, value in readings(place)]
    posted = await client.post(
        "/v1/sites/HOME/readings",
        content="\n".join(["sensor,time,celsius", *lines]),
        headers={"Content-Type": "text/csv"},
    )
    assert posted.status_code == 200, posted.text
    report = posted.json()
    assert report["readings_written"] == 365 * 24 - 1
    # the hour that each file lacks, and nothing that a bench logger would be doubted for
    assert [(gap["after"], gap["hours"]) for gap in report["gaps"]] == [
        ("2010-03-14T02:00:00-08:00", 2)
    ]
    assert report["doubts"] == []

    ways = {f"{low}-{up}": Thresholds(low, up) for at, low, up, *_ in BIAS if at is place}
    async with database.writer.acquire() as connection:
        weather = await site_weather(connection, "HOME", date(2011, 1, 1), None, ways)
    assert len(weather.low) == 365
    for at, lower, upper, hourly, *_ in BIAS:
        if at is place:
            days = np.array(weather.hourly[f"{lower}-{upper}"])
            # Kept to a hundredth of a degree, a year of roundings.
            assert days.sum() == pytest.approx(hourly, abs=0.1)
            assert days == pytest.approx(
                hourly_sum(as_table(hours_of(place)), Thresholds(lower, upper)), abs=0.005
            )


def readings(place: Place) -> list[tuple[str, float]]:
    """Each reading's time as the file writes it, in the form of RFC 3339, and Celsius."""
    return [
        (f"{date.fromisoformat(row['date'][:10].replace('/', '-'))}T{row['date'][11:16]}:00",
         (float(row["temp"]) - 32) / 1.8)
        for row in rows_of(place)
    ]  # fmt: skip


def as_table(days: dict[date, list[float]]) -> np.ndarray:
    """Days by hours; the hour that one day lacks is NaN."""
    return np.array([[*hours, *[np.nan] * (24 - len(hours))] for hours in days.values()])
