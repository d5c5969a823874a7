"""A year of hourly temperatures through the endpoint: daily degree-days against the hourly truth.

Hourly temperatures of Seattle and San Francisco, 2010, of the package vega-datasets 0.9.0 (MIT
licence). The service learns only each day's minimum and maximum, as
a nursery's thermometer would tell them, and imagines the day between them; the truth is the sum of
the hours, each cut off at the thresholds. The single sine overstates mild coasts: that bias is
known, and a requirement learned from minima and maxima must not be spent on hourly sums.
"""

import csv
from collections import defaultdict
from datetime import date
from importlib.util import find_spec
from pathlib import Path
from typing import NamedTuple

import httpx
import pytest

from service.forecast.backtest.first_weather import degree_days_of
from service.forecast.degree_days import Cutoff, Method
from service.forecast.requirements import Thresholds


class Place(NamedTuple):
    file: str
    time_zone: str
    latitude: float
    longitude: float


SEATTLE = Place("seattle-temps.csv", "America/Los_Angeles", 47.4, -122.3)
SAN_FRANCISCO = Place("sf-temps.csv", "America/Los_Angeles", 37.6, -122.4)


def hours_of(place: Place) -> dict[date, list[float]]:
    """Celsius by day."""
    # Found without importing: the package would ask for pandas, and its file is all we want.
    spec = find_spec("vega_datasets")
    assert spec is not None
    assert spec.submodule_search_locations is not None
    path = Path(spec.submodule_search_locations[0]) / "_data" / place.file
    days: dict[date, list[float]] = defaultdict(list)
    with path.open(newline="") as file:
        for row in csv.DictReader(file):
            day = date.fromisoformat(row["date"][:10].replace("/", "-"))
            days[day].append((float(row["temp"]) - 32) / 1.8)
    return days


def hourly_sum(days: dict[date, list[float]], lower: float, upper: float) -> float:
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
    history = {date.fromisoformat(day["day"]): (day["min_c"], day["max_c"]) for day in kept["days"]}
    thresholds = Thresholds(
        lower_c=lower, upper_c=upper, method=Method.SINGLE_SINE, cutoff=Cutoff.HORIZONTAL
    )
    by_sine = sum(degree_days_of(history, thresholds).values())
    by_hours = hourly_sum(days, lower, upper)
    assert by_hours == pytest.approx(hourly, abs=0.01)
    # Kept to a hundredth of a degree, a year of roundings.
    assert by_sine == pytest.approx(sine, abs=0.1)
    assert by_sine / by_hours - 1 == pytest.approx(excess, abs=0.0006)
