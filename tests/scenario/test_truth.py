"""The hidden truth is no fiction: what the events tell agrees with it within chance's bounds.

Bounds are four standard errors of the estimate under the truth: with a fixed seed nothing here is
left to luck, and a generator that drew from other figures would fall outside.
"""

import math
from collections import Counter, defaultdict
from collections.abc import Iterator
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path
from statistics import NormalDist
from typing import Any, NamedTuple

import pytest
from click.testing import CliRunner

from seed_scenario import truth as truth_file
from seed_scenario.fate import begins
from seed_scenario.generator import Scenario, scenario
from seed_scenario.nature import Growth
from seed_scenario.truth import Truth
from service.forecast.backtest.outcomes import by_lot, from_csv
from service.forecast.degree_days import Method, daily

# In one process: what its tests share is made once.
pytestmark = pytest.mark.xdist_group("the whole story")

LAST = date(2026, 11, 24)
Z = 4.0


@pytest.fixture(scope="module")
def story() -> Scenario:
    return scenario(LAST)


@pytest.fixture(scope="module")
def truth(story: Scenario, tmp_path_factory: pytest.TempPathFactory) -> Truth:
    """As whoever scores a forecast has it: from the file."""
    assert story.truth is not None
    file = tmp_path_factory.mktemp("truth") / "truth.json"
    story.truth.write(file)
    return truth_file.read(file)


def test_the_file_tells_what_the_story_was_drawn_from(story: Scenario, truth: Truth) -> None:
    assert truth == story.truth


def test_the_command_writes_it(tmp_path: Path) -> None:
    file = tmp_path / "truth.json"
    words = [str(file), "--last", "2026-11-24", "--lots", "30", "--years", "1", "--random", "5"]
    done = CliRunner().invoke(truth_file.main, words)
    assert done.exit_code == 0, done.output
    written = truth_file.read(file)
    assert written == scenario(LAST, 5, lots=30, years=1).truth
    assert (written.seed, written.lots, written.last) == (5, 30, LAST)


# -- weather -----------------------------------------------------------------------------------


@pytest.mark.parametrize("site", ["CORIN", "TARNA", "ELDRA"])
def test_the_weather_has_the_seasons_and_the_spells_it_says(
    story: Scenario, truth: Truth, site: str
) -> None:
    """Mean, swing and warmest day by regression on one wave; lag-1 autocorrelation by moments."""
    climate, days = truth.nature.climates[site], story.temperatures[site]
    count, kept = len(days), climate.spell_kept
    assert [day for day, _, _ in days] == [
        days[0][0] + timedelta(days=number) for number in range(count)
    ]
    assert days[-1][0] == LAST
    means = [(low + high) / 2 for _, low, high in days]
    turns = [2 * math.pi * day.timetuple().tm_yday / 365.25 for day, _, _ in days]
    # The sums of an AR(1) vary by so much more than those of independent days.
    wider = math.sqrt((1 + kept) / (1 - kept))
    error = climate.spell_sd_c * wider / math.sqrt(count)
    level, cos, sin = _wave(turns, means)
    assert abs(level - climate.mean_c) < Z * error
    assert abs(math.hypot(cos, sin) - climate.swing_c) < Z * math.sqrt(2) * error
    warmest = 2 * math.pi * climate.warmest_day / 365.25
    assert math.cos(math.atan2(sin, cos) - warmest) > math.cos(
        Z * math.sqrt(2) * error / climate.swing_c
    )
    spells = [mean - climate.usual_c(day) for mean, (day, _, _) in zip(means, days, strict=True)]
    assert abs(_lag_1(spells) - kept) < Z * math.sqrt((1 - kept**2) / count)
    spread = math.sqrt(sum(one**2 for one in spells) / count)
    loose = math.sqrt((1 + kept**2) / (1 - kept**2) / (2 * count))
    assert abs(spread / climate.spell_sd_c - 1) < Z * loose
    wide = [math.log((high - low) / 2 / climate.half_range_c) for _, low, high in days]
    assert abs(_lag_1(wide) - climate.range_kept) < Z / math.sqrt(count)


def test_the_weather_goes_on_after_the_last_day_told(story: Scenario, truth: Truth) -> None:
    for site, ahead in truth.weather_ahead.items():
        assert ahead[0][0] == story.temperatures[site][-1][0] + timedelta(days=1)
        assert len(ahead) > 365


def _wave(turns: list[float], values: list[float]) -> tuple[float, float, float]:
    """Least squares of a level and one wave: level, cosine, sine."""
    rows = [(1.0, math.cos(turn), math.sin(turn)) for turn in turns]
    matrix = [
        [sum(row[i] * row[j] for row in rows) for j in range(3)]
        + [sum(row[i] * value for row, value in zip(rows, values, strict=True))]
        for i in range(3)
    ]
    for i in range(3):
        matrix[i] = [one / matrix[i][i] for one in matrix[i]]
        for j in range(3):
            if j != i:
                factor = matrix[j][i]
                matrix[j] = [b - factor * a for a, b in zip(matrix[i], matrix[j], strict=True)]
    return matrix[0][3], matrix[1][3], matrix[2][3]


def _lag_1(values: list[float]) -> float:
    mean = sum(values) / len(values)
    off = [value - mean for value in values]
    both = sum(a * b for a, b in pairwise(off))
    return both / sum(value**2 for value in off)


# -- take --------------------------------------------------------------------------------------


class Reading(NamedTuple):
    """A lot's take as it was read, with who grafted how many."""

    growth: Growth
    site: str
    grafters: dict[str, int]
    alive: int


@pytest.fixture(scope="module")
def readings(story: Scenario, truth: Truth) -> list[Reading]:
    """The take of every lot at its first unwrapping, from the events alone."""
    crops = {fate.lot: fate for fate in truth.fates}
    grafters: dict[str, dict[str, int]] = {}
    found: dict[str, Reading] = {}
    for event in _events(story):
        data = event["data"]
        if event["type"] in ("trees.grafted", "trees.regrafted"):
            parts = data["grafters"]
            grafters[data["lot"]] = {part["person"]: part["count"] for part in parts}
        elif event["type"] == "grafts.unwrapped":
            fate, by = crops[data["lot"]], grafters[data["lot"]]
            # Nothing is lost before the take is read.
            assert data["alive"] + data["failed"] == sum(by.values())
            growth = truth.nature.of(fate.crop, fate.method)
            found[data["lot"]] = Reading(growth, fate.site, by, data["alive"])
    return list(found.values())


def _events(story: Scenario) -> Iterator[dict[str, Any]]:
    for request in story.requests:
        if request.mode == "all" and request.refused:
            continue
        yield from (one for n, one in enumerate(request.events) if n not in request.refused)


def _expected(truth: Truth, readings: list[Reading]) -> tuple[float, float]:
    """Mean and standard deviation of the takes' sum: beta-binomial in each grafter's part."""
    mean = variance = 0.0
    for reading in readings:
        for person, count in reading.grafters.items():
            take = truth.nature.take(reading.growth, person)
            mean += count * take
            wider = 1 + (count - 1) * truth.nature.take_spread
            variance += count * take * (1 - take) * wider
    return mean, math.sqrt(variance)


def test_the_take_counted_by_method_is_the_hidden_one(
    truth: Truth, readings: list[Reading]
) -> None:
    by_method: dict[tuple[str, str], list[Reading]] = defaultdict(list)
    for reading in readings:
        by_method[reading.growth.crop, reading.growth.method].append(reading)
    assert set(by_method) == {(one.crop, one.method) for one in truth.nature.growth}
    for method, some in by_method.items():
        mean, error = _expected(truth, some)
        assert abs(sum(reading.alive for reading in some) - mean) < Z * error, method
    mean, error = _expected(truth, by_method["citrus", "inverted_t_bud"])
    grafted = sum(sum(r.grafters.values()) for r in by_method["citrus", "inverted_t_bud"])
    assert Z * error / grafted < 0.03


def test_the_take_counted_by_grafter_is_the_hidden_one(
    truth: Truth, readings: list[Reading]
) -> None:
    alone: dict[str, list[Reading]] = defaultdict(list)
    for reading in readings:
        if len(reading.grafters) == 1:
            alone[next(iter(reading.grafters))].append(reading)
    assert set(alone) == set(truth.nature.grafter_log_odds)
    for person, some in alone.items():
        mean, error = _expected(truth, some)
        assert abs(sum(reading.alive for reading in some) - mean) < Z * error, person


def test_a_lots_fate_is_what_was_read_of_it(
    story: Scenario, truth: Truth, readings: list[Reading]
) -> None:
    took = {fate.lot: sum(took for _, took in fate.by.values()) for fate in truth.fates}
    read = [e["data"] for e in _events(story) if e["type"] == "grafts.unwrapped"]
    assert len(read) == len(readings) > 250
    assert all(data["alive"] == took[data["lot"]] for data in read)


# -- push --------------------------------------------------------------------------------------


def test_the_push_counted_follows_the_thermal_time_of_the_site(
    story: Scenario, truth: Truth
) -> None:
    """At each lot's first count past the median, the share that has pushed is the one that the
    degree-days of the site's told temperatures make it (lognormal, with its never-pushing part)."""
    heat = _Heat(story)
    fates = {fate.lot: fate for fate in truth.fates}
    normal = NormalDist()
    seen: set[str] = set()
    sums: dict[str, list[float]] = defaultdict(lambda: [0.0, 0.0, 0.0, 0.0])
    for event in _events(story):
        data = event["data"]
        fate = fates.get(data.get("lot", ""))
        if event["type"] != "push.counted" or fate is None or fate.lot in seen:
            continue
        growth = truth.nature.of(fate.crop, fate.method)
        day = date.fromisoformat(event["occurred"][:10])
        degree_days = heat.sum(growth, fate.site, begins(growth, fate.grafted_on), day)
        median = growth.push_cd * math.exp(truth.nature.site_log[fate.site])
        if degree_days < median:
            continue
        seen.add(fate.lot)
        spread = math.hypot(growth.push_sd, growth.lot_sd)
        z = math.log(degree_days / median) / spread
        share = (1 - growth.never) * normal.cdf(z)
        trees = sum(took for _, took in fate.by.values())
        pushed = sum(n for when, n in fate.push_on.items() if when <= day)
        stands = data["pushed"] + data["waiting"] + data["unclear"]
        # Lots differ as wholes: the slope of the share over the lot's own deviation.
        lots_sd = normal.pdf(z) / spread * growth.lot_sd
        variance = stands * share * (1 - share) + (stands * lots_sd) ** 2
        row = sums[fate.crop]
        row[0] += data["pushed"]
        row[1] += stands * share
        row[2] += variance
        row[3] += stands
        # The count sees what is truly there, but for what has died meanwhile.
        assert data["pushed"] <= pushed <= trees
    for crop, (pushed, expected, variance, stands) in sums.items():
        assert abs(pushed - expected) < Z * math.sqrt(variance), crop
        assert stands > 100, crop
    assert set(sums) == {"citrus", "avocado", "mango", "apple"}


class _Heat:
    """Degree-days from the temperatures that were told, each way of counting summed once."""

    def __init__(self, story: Scenario) -> None:
        self._days = story.temperatures
        self._sums: dict[tuple[str, float, float], dict[date, float]] = {}

    def sum(self, growth: Growth, site: str, after: date, through: date) -> float:
        key = (site, growth.heat.lower_c, growth.heat.upper_c)
        if key not in self._sums:
            total, sums = 0.0, {}
            for day, low, high in self._days[site]:
                total += daily(
                    Method.SINGLE_SINE, minimum=low, maximum=high, lower=key[1], upper=key[2]
                )
                sums[day] = total
            self._sums[key] = sums
        return self._sums[key][through] - self._sums[key][after]


# -- outcomes ----------------------------------------------------------------------------------


def test_the_outcomes_are_those_of_the_fates(truth: Truth, tmp_path: Path) -> None:
    """Every tree grafted is in one, ready on the day its lot's fate says; in the CSV too."""
    fates = {fate.lot: fate for fate in truth.fates}
    ready: dict[str, Counter[date]] = defaultdict(Counter)
    trees: Counter[str] = Counter()
    for one in truth.outcomes:
        trees[one.lot] += one.trees
        if one.ready:
            ready[one.lot][date.fromordinal(one.ready)] += one.trees
    for lot, fate in fates.items():
        assert trees[lot] == sum(grafted for grafted, _ in fate.by.values())
        assert ready[lot] == Counter(fate.ready_on)
    # Beside them those that stood unready when the books were opened.
    assert set(trees) - set(fates) == {"O-C3", "O-C4", "O-T2", "O-E3"}
    truth.write(tmp_path / "truth.json")
    read = from_csv((tmp_path / "truth.csv").read_text())
    assert read == by_lot(truth.outcomes)


def test_what_was_graded_and_sold_is_in_the_outcomes(story: Scenario, truth: Truth) -> None:
    told: Counter[tuple[str, str, str]] = Counter()
    followed = {one.lot for one in truth.outcomes}
    voided = {e["data"]["event"] for e in _events(story) if e["type"] == "event.voided"}
    for event in _events(story):
        data = event["data"]
        if event["type"] == "trees.graded" and event["id"] not in voided:
            for out in data["outcomes"]:
                told["graded", data["lot"], out.get("grade", "")] += out["count"]
        elif event["type"] == "trees.sold":
            for line in data["lines"]:
                told["sold", line["lot"], line.get("grade", "")] += line["count"]
    kept: Counter[tuple[str, str, str]] = Counter()
    for one in truth.outcomes:
        kept["graded", one.lot, one.grade] += one.trees * bool(one.graded)
        if one.graded and one.left:
            kept["sold", one.lot, one.grade] += one.trees
    graded = {key: n for key, n in told.items() if key[0] == "graded" and key[2]}
    assert graded == {key: n for key, n in kept.items() if key[0] == "graded" and n}
    # What left once graded was sold, or never arrived at another site.
    sold = {key: n for key, n in told.items() if key[0] == "sold" and key[1] in followed}
    assert all(kept[key] >= n for key, n in sold.items())
    assert 0 <= sum(n for key, n in kept.items() if key[0] == "sold") - sum(sold.values()) < 40
