"""The weather ahead: blocks of the site's own days, season and spells kept, few years said so."""

from typing import Any

import numpy as np
import pytest
from vega_datasets import local_data

from service.forecast.numerics.clocks import clock_of
from service.forecast.numerics.thermal import degree_days
from service.forecast.numerics.weather import BLOCK_DAYS, LEAST_WINDOW, Ahead, ahead, blocks
from service.forecast.requirements import Thresholds
from service.forecast.shapes import SiteWeather

CITRUS = Thresholds(13, 35)
APPLE = Thresholds(4, 25)
FIRST = 730_120  # 1 January 2000


def record(years: float, seed: int = 0, more: int = 0) -> tuple[Any, Any]:
    """Minima and maxima of invented years: a season's wave, spells that last, days that differ."""
    count = round(years * 365.25) + more
    rng = np.random.default_rng(seed)
    step, spell = rng.normal(0, 2.2 * np.sqrt(1 - 0.75**2), count), np.zeros(count)
    for day in range(1, count):
        spell[day] = 0.75 * spell[day - 1] + step[day]
    mean = 20 + 7 * np.cos(2 * np.pi * (np.arange(count) - 200) / 365.25) + spell
    half = 5 * np.exp(rng.normal(0, 0.3, count))
    return mean - half, mean + half


def site(low: Any, high: Any, **given: Any) -> SiteWeather:
    return SiteWeather(
        site="NORTH",
        today=FIRST + len(low),
        first=FIRST,
        low=list(map(float, low)),
        high=list(map(float, high)),
        **given,
    )


def drawn(weather: SiteWeather, days: int = 400, draws: int = 200, seed: int = 1) -> Ahead:
    clocks = {"citrus": clock_of(weather, "citrus", CITRUS)}
    return ahead(weather, clocks, draws, days, seed)


def sums(found: Ahead, days: int) -> Any:
    return np.sort(found.paths["citrus"][:, days])


def test_blocks_are_runs_of_days_of_the_season() -> None:
    count = round(8 * 365.25)
    source = blocks(np.ones(count, bool), 100, 500, np.random.default_rng(1))
    assert source.min() >= 0
    assert source.max() < count
    cuts = [np.flatnonzero(np.diff(row) != 1) for row in source]
    lengths = np.concatenate([np.diff(cut) for cut in cuts])
    # A block may be cut by the record's end, and two of one year may follow without a seam.
    assert np.mean((lengths >= BLOCK_DAYS[0]) & (lengths <= BLOCK_DAYS[1])) > 0.9
    ahead_of = (count + np.arange(500) - source + 182) % 365.25 - 182
    assert np.abs(ahead_of).max() <= 2 * LEAST_WINDOW + 2  # next to the record's ends
    assert np.mean(np.abs(ahead_of) <= LEAST_WINDOW + 2) > 0.95
    # Every year serves, none of them in all draws.
    years = (source[:, 100] / 365.25).astype(int)
    assert len(set(years)) >= 7


def test_blocks_are_of_days_that_were_read() -> None:
    read = np.ones(6 * 365, bool)
    read[365:730] = False
    read[900:910] = False
    source = blocks(read, 50, 400, np.random.default_rng(1))
    assert not ((source >= 400) & (source < 700)).any()


def test_the_same_seed_draws_the_same_and_sites_share_their_days() -> None:
    low, high = record(5)
    first, again, other = (drawn(site(low, high), seed=seed) for seed in (1, 1, 2))
    assert (first.paths["citrus"] == again.paths["citrus"]).all()
    assert (first.paths["citrus"] != other.paths["citrus"]).any()
    # A site that is two degrees warmer on each day has its warm years in the same draws.
    warmer = drawn(site(low + 2, high + 2))
    pair = np.corrcoef(first.paths["citrus"][:, 60], warmer.paths["citrus"][:, 60])
    assert pair[0, 1] > 0.95


def test_spells_last_as_they_do_at_the_site() -> None:
    low, high = record(10, seed=3)
    found = np.diff(drawn(site(low, high), days=3 * 365, draws=50).paths["citrus"], axis=1)
    own = degree_days(low, high, CITRUS)

    def next_day(values: Any, start: int) -> float:
        season = np.arange(values.shape[-1]) + start
        wave = np.stack([np.ones(len(season)), np.cos(season / 58.13), np.sin(season / 58.13)])
        rest = values - (values @ np.linalg.pinv(wave)) @ wave
        return float(np.mean(rest[..., 1:] * rest[..., :-1]) / np.mean(rest**2))

    assert next_day(found, len(low)) == pytest.approx(next_day(own[None], 0), abs=0.05)


@pytest.mark.parametrize(("years", "normal"), [(0.75, True), (1.25, False), (3, False), (8, False)])
def test_the_range_holds_the_truth_as_often_as_it_says(years: float, normal: bool) -> None:
    # 100 invented sites: the degree-days of the next 30 and 90 days lie from P20 to P80 in 60 of
    # 100; two standard errors are 0.08. Few years make a wider range, not a wrong one.
    inside: list[bool] = []
    for seed in range(100):
        low, high = record(years, seed, more=90)
        count = len(low) - 90
        months = 20 + 7 * np.cos(2 * np.pi * (np.arange(12) * 30.4 + 15 - 200) / 365.25)
        given = {"normal_low": list(months - 6), "normal_high": list(months + 6)} if normal else {}
        found = drawn(site(low[:count], high[:count], **given), days=90)
        truth = np.cumsum(degree_days(low[count:], high[count:], CITRUS))
        for days in (30, 90):
            told = sums(found, days)
            inside.append(bool(told[40] <= truth[days - 1] <= told[159]))
    assert 0.52 <= np.mean(inside) <= 0.72


def test_another_year_of_a_real_place_is_as_was_drawn_from_three() -> None:
    # Seattle's daily minima and maxima of 2012 to 2014 (vega-datasets, from NOAA): the thermal time
    # of 2015, the warmest year on record there, is outside the middle but not beyond belief.
    daily = local_data.seattle_weather()
    low, high = daily.temp_min.to_numpy(), daily.temp_max.to_numpy()
    weather = SiteWeather(
        site="SEATTLE",
        today=734_503 + 1096,
        first=734_503,  # 1 January 2012
        low=low[:1096].tolist(),
        high=high[:1096].tolist(),
    )
    clocks = {"apple": clock_of(weather, "apple", APPLE)}
    told = ahead(weather, clocks, 400, 365, 1).paths["apple"][:, -1]
    own = [degree_days(low, high, APPLE)[year * 365 : year * 365 + 365].sum() for year in range(3)]
    assert np.median(told) == pytest.approx(np.mean(own), rel=0.04)
    warm = degree_days(low, high, APPLE)[1096:1461].sum()
    assert np.quantile(told, 0.8) < warm < told.max() * 1.1


def test_a_given_forecast_goes_before_all() -> None:
    low, high = record(4)
    given = [*np.full(10, 30.0), float("nan"), 30.0]
    weather = site(low, high, ahead_low=given, ahead_high=given)
    days = np.diff(drawn(weather).paths["citrus"], axis=1)
    assert days[:, :10] == pytest.approx(17.0, abs=0.01)  # 30 less 13
    assert days[:, 11] == pytest.approx(17.0, abs=0.01)
    assert np.ptp(days[:, 10]) > 1  # nothing is given of that day
    assert np.ptp(days[:, 12]) > 1


def test_hours_count_where_the_clock_counts_by_hours() -> None:
    # The sum of hours is a fifth below the curve here, on each day: so it is ahead, given days too.
    low, high = record(3)
    hours = {"citrus": (0.8 * degree_days(low, high, CITRUS)).tolist()}
    given = {"ahead_low": [20.0], "ahead_high": [30.0]}
    by_hour, by_curve = (
        drawn(site(low, high, hourly=of, **given)).paths["citrus"] for of in (hours, {})
    )
    assert by_hour[:, 1] == pytest.approx(0.8 * 12.0, rel=0.01)
    assert by_hour[:, 365].mean() == pytest.approx(0.8 * by_curve[:, 365].mean(), rel=0.03)


def test_few_years_lean_on_the_normal_and_say_so() -> None:
    # Half a year of winter and spring alone knows nothing of the summer; the normal does.
    low, high = record(0.5)
    months = 20 + 7 * np.cos(2 * np.pi * (np.arange(12) * 30.4 + 15 - 200) / 365.25)
    normal = {
        "normal_low": list(months - 6),
        "normal_high": list(months + 6),
        "normal_source": "the town, 1991-2020",
    }
    with_normal, alone = drawn(site(low, high, **normal)), drawn(site(low, high))
    truth = degree_days(*record(20, seed=9), CITRUS)[:7300].reshape(20, 365)[:, 183:283].sum(axis=1)
    told = sums(with_normal, 100)
    assert told[20] < truth.mean() < told[180]
    assert told[180] - told[20] < 0.6 * truth.mean()
    assert np.ptp(sums(alone, 100)) > 1.5 * np.ptp(sums(with_normal, 100))
    assert with_normal.words == (
        "0.5 years of the site's own days, with the climate normal of the town, 1991-2020"
    )
    assert "no climate normal" in alone.words
    assert drawn(site(*record(3), **normal)).words == ""


def test_a_normal_alone_is_enough_and_nothing_is_nothing() -> None:
    normal = {"normal_low": [15.0] * 12, "normal_high": [25.0] * 12}
    found = drawn(site([], [], **normal))
    assert np.median(sums(found, 100)) == pytest.approx(710, rel=0.08)  # 7.1 Cd a day by sine
    assert sums(found, 100)[160] > 1.2 * sums(found, 100)[40]
    nothing = drawn(site([], []))
    assert nothing.paths == {}
    assert "no temperatures" in nothing.words


def test_gaps_and_days_alone_do_no_harm() -> None:
    low, high = record(2.5)
    low[100:400] = high[100:400] = np.nan
    low[500] = np.nan
    for weather in (site(low, high), site(low[:3], high[:3]), site(low[90:130], high[90:130])):
        found = drawn(weather, days=1000).paths["citrus"]
        assert np.isfinite(found).all()
        assert (np.diff(found, axis=1) >= 0).all()
