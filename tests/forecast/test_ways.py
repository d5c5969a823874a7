"""How a crop's degree-days are counted: the nursery's own rule, its mistakes, weak figures anew."""

from collections.abc import AsyncIterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from service.forecast.degree_days import Cutoff, Method
from service.forecast.records.crops import crop_rows
from service.forecast.records.ways import ways
from service.forecast.requirements import REQUIREMENTS, Thresholds, requirement_for
from service.log.append import Appender
from service.storage.pool import Database
from service.storage.walls import seeing
from tests.support.bench_side import BenchSide, entry

AT = datetime(2026, 6, 10, 4, tzinfo=UTC)
HOUR = timedelta(hours=1)
DEFAULTS = {one.crop: one.thresholds for one in REQUIREMENTS.values()}
NORMAL = {"source": "invented", "min_c": [5.0] * 12, "max_c": [15.0] * 12}


def rule(code: str = "HEAT", retired: bool = False, **told: Any) -> Any:
    """A rule that counts a crop's degree-days, citrus between 12.8 and 36 C by default."""
    counted = {"crop": "citrus", "lower_c": 12.8, "upper_c": 36, **told}
    return entry(
        "rule", code, title="Degree-days", value="12.8 to 36 C", source="own trial of 2025",
        as_of="2026-01-01", degree_days=counted, retired=retired,
    )  # fmt: skip


@pytest.fixture
async def clock() -> list[datetime]:
    return [AT]


@pytest.fixture
async def bench(database: Database, clock: list[datetime]) -> AsyncIterator[BenchSide]:
    appender = Appender(database, clock=lambda: clock[0])
    await appender.start()
    side = BenchSide(appender, database)
    await side.nursery()
    yield side
    await appender.stop()


async def counted(bench: BenchSide, known: datetime | None = None) -> dict[str, Thresholds]:
    async with bench.database.writer.acquire() as conn:
        return await ways(conn, known)


async def test_the_nursery_s_own_rule_counts_from_when_it_was_known(
    bench: BenchSide, clock: list[datetime]
) -> None:
    assert await counted(bench) == DEFAULTS
    clock[0] += HOUR
    await bench.given(rule())
    clock[0] += HOUR
    await bench.given(rule(method="double_sine", cutoff="vertical"))
    clock[0] += HOUR
    await bench.given(rule(retired=True))
    told = [(await counted(bench, AT + n * HOUR))["citrus"] for n in range(4)]
    assert told == [
        Thresholds(13, 35),
        Thresholds(12.8, 36),
        Thresholds(12.8, 36, Method.DOUBLE_SINE, Cutoff.VERTICAL),
        Thresholds(13, 35),
    ]
    assert await counted(bench) == DEFAULTS


@pytest.mark.parametrize(
    ("told", "kind", "pointer", "words"),
    [
        ({"lower_c": 36, "upper_c": 13}, "counts_disagree", "lower_c", "36 C is not below the"),
        ({"lower_c": 30, "upper_c": 30}, "counts_disagree", "lower_c", "not below"),
        ({"crop": "durian"}, "unknown_code", "crop", "No cultivar is of the crop durian."),
        (
            {"method": "modified_average", "cutoff": "vertical"},
            "bad_value",
            "cutoff",
            "horizontal cutoff only",
        ),
    ],
)
async def test_a_rule_that_cannot_be_is_refused(
    bench: BenchSide, told: dict[str, Any], kind: str, pointer: str, words: str
) -> None:
    verdict = await bench.when(rule(**told))
    (fault,) = verdict.errors
    assert (verdict.verdict, fault.kind) == ("refused", kind)
    assert fault.pointer == f"#/data/entry/degree_days/{pointer}"
    assert words in fault.detail


async def test_one_rule_counts_a_crop(bench: BenchSide) -> None:
    await bench.given(rule("HEAT-1"))
    verdict = await bench.when(rule("HEAT-2", upper_c=34))
    assert verdict.errors[0].kind == "code_in_use"
    assert "Rule HEAT-1 counts citrus already" in verdict.errors[0].detail
    # the same one may be changed, and another takes its place once it is retired
    await bench.given(rule("HEAT-1", upper_c=35), rule("HEAT-1", retired=True))
    await bench.given(rule("HEAT-2", upper_c=34))
    assert (await counted(bench))["citrus"] == Thresholds(12.8, 34)


async def test_a_normal_whose_minimum_is_above_its_maximum_is_refused(bench: BenchSide) -> None:
    normal = NORMAL | {"min_c": [5.0] * 6 + [16.0] + [5.0] * 5}
    site = entry("site", "CORIN", name="Corin", time_zone="Europe/Madrid", latitude=40,
                 longitude=1, climate_normal=normal)  # fmt: skip
    (fault,) = (await bench.when(site)).errors
    assert (fault.kind, fault.pointer) == (
        "counts_disagree",
        "#/data/entry/climate_normal/min_c/6",
    )
    assert fault.detail == "In month 7 the minimum 16 C is above the maximum 15 C."


async def test_crops_are_told_with_their_sources(bench: BenchSide) -> None:
    fig = entry("cultivar", "FIG", crop="fig", species="Ficus carica", epithet="Invented")
    await bench.given(fig, rule(lower_c=13, upper_c=20))
    async with seeing(bench.database.reader, ["CORIN"]) as conn:
        rows = {row.crop: row for row in await crop_rows(conn)}
    assert sorted(rows) == ["apple", "avocado", "citrus", "fig", "mango"]
    citrus = rows["citrus"]
    assert (citrus.grown, citrus.rule, citrus.source) == (True, "HEAT", "own trial of 2025")
    # 26.5 and 168 days at means above the upper threshold give seven a day
    assert [(one.stretch, one.degree_days) for one in citrus.weak_figures[:3]] == [
        ("grafted_to_push", 185.5),
        ("pushed_to_ready", 990.5),
        ("grafted_to_ready", 1176),
    ]
    assert "between the nursery's own thresholds of 13 and 20 C" in citrus.weak_figures[0].derived
    assert citrus.weak_figures[3].method == "micro_bud"
    assert (rows["fig"].lower_c, rows["fig"].weak_figures) == (None, [])
    mango = rows["mango"]
    assert (mango.grown, mango.rule, mango.lower_c) == (False, None, 15)
    assert mango.source.startswith("lower 15 C")


# --- Weak figures between other thresholds --------------------------------------------------------
@pytest.mark.parametrize("one", REQUIREMENTS.values(), ids=lambda one: f"{one.crop}")
def test_worked_out_anew_they_are_what_was_derived(one: Any) -> None:
    """Between thresholds a hair off, each figure is what its own words derive, but for rounding."""
    near = Thresholds(one.thresholds.lower_c, one.thresholds.upper_c + 0.001)
    again = requirement_for(one.crop, one.graft_method, near)
    assert again is not None
    for name in ("grafted_to_push", "grafted_to_ready", "pushed_to_ready"):
        before, now = getattr(one, name), getattr(again, name)
        if before is not None:
            assert now.degree_days == pytest.approx(before.degree_days, rel=0.01)


def test_where_nothing_grows_no_date_is_made_up() -> None:
    assert requirement_for("citrus", None, Thresholds(30, 40)) is None
    # at 28 C the push needs nothing above 27.5, but the whole way's 27 C would never do
    assert requirement_for("citrus", None, Thresholds(27.5, 40)) is None
    assert requirement_for("fig", None, Thresholds(10, 30)) is None
    same = requirement_for("citrus", None, Thresholds(13, 35))
    assert same is REQUIREMENTS["citrus", None]
