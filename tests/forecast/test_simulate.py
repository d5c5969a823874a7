"""The simulation against exact values where there are any, and against brute force by the tree."""

from bisect import bisect_left
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy import stats

from service.forecast.numerics import betabinomial
from service.forecast.numerics.fates import fates
from service.forecast.numerics.lookup import NEVER, Lookup
from service.forecast.numerics.simulate import simulate
from service.forecast.numerics.stands import BEYOND, NONE, Path, Task, Told
from service.forecast.shapes import LEVELS, STEP_DAYS, STEPS
from tests.support.exact_shares import after, at_least
from tests.support.stands import (
    TODAY,
    chances,
    even_path,
    lots,
    middles,
    own,
    rates,
    shares,
    stands,
    stock,
    task,
)

MANY = 6_000


def quantities(told: Told, *, site: int = 0, size: int = 0, grade: int = NONE) -> Any:
    """[STEPS, levels] of one set of stock of kin 0."""
    of = told.stock
    found = (of.kin == 0) & (of.site == site) & (of.size == size) & (of.grade == grade)
    return of.quantities[np.flatnonzero(found)[0]]


def many(**given: Any) -> Task:
    """Draws enough to compare quantiles with exact ones."""
    values = {
        "draws": MANY,
        "paths": [even_path(draws=MANY, days=600)],
        "push": middles(np.log(50.0), draws=MANY),
        "ready": middles(np.log(100.0), draws=MANY),
        "rates": rates(draws=MANY),
        "stock": stock(draws=MANY),
    }
    return task(**(values | given))


SHARES = [(0.9, 0.05, 100), (0.7, 0.15, 40), (0.95, 0.0, 300)]


@pytest.mark.parametrize(("mean", "rho", "trees"), SHARES)
def test_all_ready_at_once_is_exactly_beta_binomial(mean: float, rho: float, trees: int) -> None:
    # No spread between trees, the whole way still to go: how many survive is beta-binomial.
    told = simulate(
        many(
            rates=rates((mean, rho), draws=MANY),
            lots=lots(1, survival=chances(1, 0)),
            stands=stands([trees]),
        )
    )
    exact = [at_least(level, trees, mean, rho) for level in LEVELS]
    assert np.abs(quantities(told)[2] - exact).max() <= 1
    assert (quantities(told)[1] == 0).all()  # ready on the tenth day, told each seventh
    assert told.groups.ready[0] == pytest.approx(trees * mean, rel=0.01)
    assert told.groups.ready_low[0] == pytest.approx(exact[4], abs=1)


def test_what_was_seen_of_a_lot_is_reckoned_with_exactly() -> None:
    # 40 of its trees came, 20 did not: the share of the rest is beta about 2 in 3, not the usual.
    told = simulate(
        many(
            rates=rates((0.9, 0.05), draws=MANY),
            lots=lots(1, survival=chances(1, 0, good=40, bad=20)),
            stands=stands([50]),
        )
    )
    posterior = after(40, 20, 0.9, 0.05)
    exact = [at_least(level, 50, *posterior) for level in LEVELS]
    assert np.abs(quantities(told)[2] - exact).max() <= 1


def test_two_lots_differ_and_the_chances_of_a_graft_multiply() -> None:
    rows = [(0.9, 0.04), (0.95, 0.03), (0.85, 0.06), (0.97, 0.02)]
    told = simulate(
        many(
            rates=rates(*rows, draws=MANY),
            lots=lots(
                2,
                take=chances(2, 0),
                push=chances(2, 1),
                survival=chances(2, 2),
                fit=chances(2, 3),
            ),
            stands=stands(
                [60, 60], unread=[60, 60], waiting=[True, True], from_push=[False, False]
            ),
        )
    )
    # The sum of two such lots by convolution of the exact chances of each product.
    rng = np.random.default_rng(0)
    share = np.prod([rng.beta(*betabinomial.shape(*row), (2, 400_000)) for row in rows], axis=0)
    brute = np.sort(rng.binomial(60, share).sum(axis=0))
    exact = [brute[int((1 - level) * len(brute))] for level in LEVELS]
    assert np.abs(quantities(told)[-1] - exact).max() <= 2


def test_ready_trees_die_as_such_deaths_go() -> None:
    # Deaths of single trees, a tenth a year: within one tree of the binomial at each level and day.
    for trees in (8, 60):
        told = simulate(
            many(
                stands=stands([]),
                lots=lots(0),
                stock=stock([(0, 0, 0, 0, trees)], MANY, kin_losses=np.full((1, MANY), 0.1)),
            )
        )
        for step in (0, 26, 78):
            kept = np.exp(-0.1 * step * STEP_DAYS / 365.25)
            exact = [stats.binom.ppf(1 - level, trees, kept) for level in LEVELS]
            assert np.abs(quantities(told, grade=0)[step] - exact).max() <= 1
        assert (quantities(told)[0] == trees).all()


@pytest.mark.parametrize(
    ("given", "day"),
    [
        ({}, 9),  # 100 Cd at 10 a day: today is the first of ten
        ({"counted": [40.0]}, 5),
        ({"counted": [101.0]}, -1),  # yesterday
        ({"counted": [120.0]}, -3),
        ({"wait": [5]}, 14),
        ({"from_push": [False]}, 14),  # 50 more until the push
        ({"from_push": [False], "counted": [30.0], "wait": [0]}, 11),
        ({"ready_seen": [300.0], "counted": [301.0]}, -1),  # later than was believed
    ],
)
def test_the_day_is_the_one_at_whose_end_the_degree_days_are_there(
    given: dict[str, Any], day: int
) -> None:
    told = simulate(task(stands=stands([100], **given)))
    assert told.groups.day[0].tolist() == [TODAY + day] * 3
    step = max(-(-day // STEP_DAYS), 0)
    assert (quantities(told)[step] == 100).all()
    assert step == 0 or (quantities(told)[step - 1] == 0).all()


def test_days_are_those_of_a_plain_search() -> None:
    rng = np.random.default_rng(6)
    # Winters in which nothing comes together, and draws that end early.
    daily = rng.gamma(0.3, 8.0, (50, 700)) * (np.arange(700) % 365 < 200)
    ahead = np.concatenate([np.zeros((50, 1)), np.cumsum(daily, axis=1)], axis=1).astype(np.float32)
    behind = np.cumsum(rng.gamma(1.0, 8.0, 100))
    lookup = Lookup(Path(today=TODAY, behind=behind, ahead=ahead))
    total = rng.uniform(-100, 1400, (40, 50, 3))
    expected = np.zeros(total.shape, int)
    for at in np.ndindex(total.shape):
        wanted = float(np.float32(total[at]))
        if wanted > 0:
            found = bisect_left(ahead[at[1]].tolist(), wanted)
            expected[at] = TODAY - 1 + found if found <= 700 else NEVER
        else:
            expected[at] = TODAY - 100 + bisect_left(behind.tolist(), behind[-1] + total[at])
    assert (lookup.days(total) == expected).all()


def brute_force(trees: int, seen: float, draws: int, seed: int) -> tuple[Any, Any]:
    """Tree by tree: how many are ready by each step, and the day of the middle tree."""
    rng = np.random.default_rng(seed)
    counts, middle = np.zeros((draws, STEPS)), np.zeros(draws)
    for draw in range(draws):
        log_middle = rng.normal(np.log(1500), 0.1)
        daily = rng.uniform(8, 12)
        need: list[float] = []
        while len(need) < trees:
            more = np.exp(rng.normal(log_middle, 0.2, 4 * trees))
            need += more[more > seen].tolist()
        day = np.ceil((np.array(need[:trees]) - seen) / daily) - 1
        share = rng.beta(*betabinomial.shape(0.8, 0.08))
        lives = rng.random(trees) < share
        middle[draw] = np.median(day)
        counts[draw] = [(lives & (day <= step * STEP_DAYS)).sum() for step in range(STEPS)]
    return counts, middle


@pytest.mark.parametrize(("trees", "seen"), [(1, 0.0), (6, 0.0), (60, 0.0), (60, 1500.0)])
def test_a_lot_of_scattered_trees_is_as_tree_by_tree(trees: int, seen: float) -> None:
    draws = 4_000
    rng = np.random.default_rng(1)
    daily = rng.uniform(8, 12, draws)
    ahead = (daily[:, None] * np.arange(601)).astype(np.float32)
    told = simulate(
        task(
            draws=draws,
            paths=[Path(today=TODAY, behind=np.zeros(1), ahead=ahead)],
            push=middles(np.log(50.0), draws=draws),
            ready=middles(np.log(1500.0), 0.2, 0.1, draws=draws),
            rates=rates((0.8, 0.08), draws=draws),
            # Lost by a chance that has nothing to do with how late they are.
            lots=lots(1, take=chances(1, 0)),
            stands=stands([trees], unread=[trees], ready_seen=[seen], counted=[seen]),
            stock=stock(draws=draws),
        )
    )
    counts, middle = brute_force(trees, seen, draws, 2)
    days = told.groups.day[0] - TODAY
    assert np.abs(days - np.quantile(middle, (0.2, 0.5, 0.8))).max() <= 3
    ordered = np.sort(counts, axis=0)
    exact = np.stack([ordered[int((1 - level) * draws)] for level in LEVELS], axis=1)
    apart = np.abs(quantities(told) - exact)
    assert apart.max() <= max(2, 0.08 * trees)
    assert apart.mean() <= 0.4


@pytest.mark.parametrize(
    ("came", "wait", "seen"), [(0, 50, 40.0), (40, 60, 60.0), (90, 10, 60.0), (10, 90, 80.0)]
)
def test_many_that_wait_late_are_bad_ones(came: int, wait: int, seen: float) -> None:
    # The lot's share p that ever pushes is beta; of those to push, S would wait yet. Exactly, by a
    # grid over p: P(p) ~ beta(p) * p^came * (1 - p + p S)^wait, and each waiting one is one to
    # come with p S / (1 - p + p S).
    mean, rho, spread = 0.9, 0.1, 0.2
    given = task(
        draws=4_000,
        push=middles(np.log(50.0), spread, draws=4_000),
        ready=middles(np.log(100.0), draws=4_000),
        rates=rates((mean, rho), draws=4_000),
        lots=lots(1, push=chances(1, 0, good=came)),
        stands=stands([wait], waiting=[True], from_push=[False], push_seen=[seen], counted=[seen]),
        stock=stock(draws=4_000),
    )
    left = 1 - stats.norm.cdf((np.log(seen) - np.log(50)) / spread)
    grid = np.linspace(0.0005, 0.9995, 1000)
    a, b = betabinomial.shape(mean, rho)
    weight = stats.beta.logpdf(grid, a, b) + came * np.log(grid)
    weight = np.exp(weight + wait * np.log(1 - grid + grid * left) + came * 3)
    to_come = grid * left / (1 - grid + grid * left)
    exact = wait * np.sum(weight * to_come) / np.sum(weight)
    path = [Lookup(even_path(draws=4_000))]
    drawn = fates(given, np.zeros(1, int), path, np.random.default_rng(3))
    assert drawn.ready.mean() == pytest.approx(exact, rel=0.15, abs=0.6)


def test_stands_of_a_lot_at_a_site_are_told_together() -> None:
    # 30 trees ready on day 9, 50 on day 29 and 20 on day 49: the middle of all comes on day 29.
    told = simulate(
        task(
            lots=lots(1),
            stands=stands([30, 50, 20], lot=[0, 0, 0], told=[0, 0, 0], wait=[0, 20, 40]),
        )
    )
    assert told.groups.day.tolist() == [[TODAY + 29] * 3]
    assert told.groups.ready.tolist() == [100]
    # And 60, 30 and 10: on day 9.
    told = simulate(
        task(
            lots=lots(1),
            stands=stands([60, 30, 10], lot=[0, 0, 0], told=[0, 0, 0], wait=[0, 20, 40]),
        )
    )
    assert told.groups.day.tolist() == [[TODAY + 9] * 3]


def test_the_later_part_of_a_lot_is_later() -> None:
    early, late = (
        simulate(
            task(ready=middles(np.log(1000.0), 0.2), stands=stands([100], beyond=[beyond]))
        ).groups.day[0, 1]
        for beyond in (0.0, 0.5)
    )
    # The middle of the later half is the upper quartile: 1000 * exp(0.2 * 0.674) = 1144 Cd.
    assert early - TODAY == pytest.approx(99, abs=2)
    assert late - TODAY == pytest.approx(113, abs=2)


def test_a_lots_own_observations_move_its_middle_tree() -> None:
    # Between what lots are (1000 Cd, sd 0.2) and what it says (1300, sd 0.2): half way, in logs.
    given = task(
        ready=middles(np.log(1000.0), 0.0, 0.2),
        lots=lots(1, to_ready=own(1, float(np.log(1300.0)), 0.04)),
        stands=stands([100]),
    )
    needed = simulate(given).groups.needed[0]
    assert needed[1] == pytest.approx(np.sqrt(1000 * 1300), rel=0.03)
    assert np.log(needed[2] / needed[0]) / 2 == pytest.approx(0.8416 * 0.2 / np.sqrt(2), rel=0.2)


def test_weather_makes_neighbours_late_together() -> None:
    # In half of the years it is warm: 200 lots at one site are as unsure as one, at two sites whose
    # years have nothing to do with each other one makes up for the other.
    rng = np.random.default_rng(8)
    paths = [
        Path(
            today=TODAY,
            behind=np.zeros(1),
            ahead=np.outer(warmth, np.arange(601)).astype(np.float32),
        )
        for warmth in rng.permuted(np.tile(np.repeat([5, 20], 100), (2, 1)), axis=1)
    ]
    site, one = np.arange(200) % 2, np.zeros(200, int)
    given = task(paths=paths, lots=lots(200), stands=stands([10] * 200, site=site, path=site))
    apart = simulate(given)
    together = simulate(replace(given, stands=stands([10] * 200, site=site, path=one)))
    step, median = 1, LEVELS.index(0.5)
    for told in (apart, together):
        assert set(quantities(told)[step].tolist()) <= {0, 1000}
        assert quantities(told)[step, LEVELS.index(0.6)] == 0
    assert quantities(apart, site=NONE)[step, LEVELS.index(0.6)] == 1000
    assert set(quantities(together, site=NONE)[step].tolist()) <= {0, 2000}
    assert quantities(apart, site=NONE)[step, median] == 1000


def test_held_and_customers_trees_are_told_but_not_in_the_supply() -> None:
    told = simulate(task(lots=lots(2), stands=stands([30, 50], free=[True, False])))
    assert told.groups.ready.tolist() == [30, 50]
    assert (quantities(told)[-1] == 30).all()
    assert told.stock.trees.tolist() == [30] * len(told.stock.trees)


def test_sizes_and_grades_part_the_trees_and_any_grade_has_them_all() -> None:
    given = many(
        lots=lots(30),
        stands=stands([40] * 30),
        stock=stock(
            [(0, 0, 0, NONE, 7)],
            MANY,
            sizes=["P2", "P4"],
            grades=["1", "2"],
            size_shares=shares([0.25, 0.75], correlation=0.5),
            grade_shares=shares([0.8, 0.2], correlation=0.1),
        ),
    )
    of = simulate(given).stock
    mean = {
        (int(size), int(grade)): of.mean[at, -1]
        for at, (size, grade, site) in enumerate(zip(of.size, of.grade, of.site, strict=True))
        if site == NONE
    }
    # Ungraded ready trees are of any grade and of none.
    assert mean[0, NONE] == pytest.approx(307, rel=0.02)
    assert mean[1, NONE] == pytest.approx(900, rel=0.02)
    assert mean[0, 0] == pytest.approx(240, rel=0.02)
    assert mean[1, 1] == pytest.approx(180, rel=0.02)
    # One lot's trees of the first size: as many as the Dirichlet-multinomial varies.
    one = simulate(replace(given, lots=lots(1), stands=stands([40]), stock=given.stock))
    exact = [at_least(level, 40, 0.75, 0.5) for level in LEVELS]
    assert np.abs(quantities(one, size=1)[-1] - exact).max() <= 2


def test_the_same_again_is_the_same_and_news_of_one_kin_leaves_the_others() -> None:
    def told(second: int, threads: int) -> Told:
        return simulate(
            task(
                ready=middles(np.log(800.0), 0.2, 0.1),
                rates=rates((0.8, 0.1)),
                lots=lots(2, kin=np.array([0, 1]), survival=chances(2, 0)),
                stands=stands([80, second]),
                stock=stock(kin=["Alba/Firm", "Bruna/Firm"], kin_losses=np.zeros((2, 200))),
            ),
            threads,
        )

    first, again, news = told(50, 1), told(50, 2), told(90, 2)
    assert (first.stock.quantities == again.stock.quantities).all()
    assert (first.groups.day == again.groups.day).all()
    assert (quantities(first) == quantities(news)).all()
    assert first.groups.day[0].tolist() == news.groups.day[0].tolist()
    assert first.groups.ready[1] != news.groups.ready[1]


def test_what_cannot_be_told_is_not() -> None:
    # No weather ahead; a horizon that ends before; nothing stands at all.
    blind = simulate(task(stands=stands([100], path=[NONE])))
    assert blind.groups.day.tolist() == [[BEYOND] * 3]
    assert np.isnan(blind.groups.needed).all()
    assert blind.groups.ready.tolist() == [100]
    assert (quantities(blind) == 0).all()
    far = simulate(task(ready=middles(np.log(50_000.0))))
    assert far.groups.day.tolist() == [[BEYOND] * 3]
    assert far.groups.needed[0, 1] == pytest.approx(50_000, rel=1e-5)
    frozen = simulate(task(paths=[even_path(daily=0.0)]))
    assert frozen.groups.day.tolist() == [[BEYOND] * 3]
    nothing = simulate(task(lots=lots(0), stands=stands([])))
    assert len(nothing.stock.kin) == len(nothing.groups.day) == 0


@pytest.mark.parametrize("years", [0.0, 0.5, 2.0])
def test_of_what_is_booked_ready_what_nobody_counted_may_be_gone(years: float) -> None:
    # binomial: each tree by itself is there still with exp(-rate * years)
    rate = 0.1
    told = simulate(
        many(
            stock=stock(
                [(0, 0, 0, NONE, 300), (0, 0, 0, NONE, 100)],
                draws=MANY,
                kin_unnoticed=np.full((1, MANY), rate),
                ready_unseen=np.full(2, years),
            ),
            lots=lots(0),
            stands=stands([]),
        )
    )
    exact = stats.binom(400, np.exp(-rate * years))
    assert told.stock.mean[0, 0] == pytest.approx(exact.mean(), rel=1e-4)
    assert quantities(told)[0] == pytest.approx(exact.ppf([1 - x for x in LEVELS]), abs=1)
    # it is drawn once: without deaths the same trees are there on all days
    assert (quantities(told) == quantities(told)[0]).all()


def test_of_growing_trees_some_go_unnoticed_until_they_are_ready() -> None:
    # 100 Cd at 10 Cd a day: ready in ten days, told with the second week
    told = simulate(
        many(
            stands=stands([400], unseen=[0.5]),
            stock=stock(draws=MANY, kin_unnoticed=np.full((1, MANY), 0.2)),
        )
    )
    there = np.exp(-0.2 * (0.5 + 2 * STEP_DAYS / 365.25))
    assert told.stock.mean[0, :3] == pytest.approx([0, 0, 400 * there], rel=1e-4)
    # what the lot itself is told to be goes by the books
    assert told.groups.ready[0] == 400


def test_where_nothing_goes_unnoticed_it_does_not_matter_when_it_was_counted() -> None:
    def told(years: float) -> Told:
        return simulate(
            many(
                stands=stands([100], unseen=[years]),
                stock=stock([(0, 0, 0, NONE, 30)], draws=MANY, ready_unseen=np.full(1, years)),
            )
        )

    assert (quantities(told(3.0)) == quantities(told(0.0))).all()
