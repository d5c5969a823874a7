"""What ready trees are lost to, also those that are gone and stay in the books until a count."""

import numpy as np
import pytest

from service.forecast.numerics import priors
from service.forecast.numerics.losses import Losses, Tally, losses_of
from service.forecast.numerics.seen import seen_of
from service.forecast.numerics.worker import forecast
from tests.support.made_known import TODAY, Made, site

YEAR = 365.25
DRAWS = 4000


def _learned(made: Made) -> Losses:
    known = made.known()
    return losses_of(known, seen_of(known), TODAY)


def _lot(made: Made, *, pushed: int, graded: int, trees: int, counted: int = 0, **more: str) -> int:
    """Grafted 1000 days ago; pushed, all graded ready and counted so many days later."""
    start = TODAY - 1000
    lot = made.lot(1000, counted_on=start + counted if counted else 0, **more)
    made.pushed(lot, pushed - 7, pushed, trees)
    made.grown(lot, "ready", 0, graded, trees)
    return lot


def test_tree_years_are_of_trees_until_they_leave_or_are_counted() -> None:
    made = Made()
    lot = _lot(made, pushed=100, graded=300, trees=10, counted=500)
    made.grown(lot, "ready_gone", 300, 400, 4)
    made.grown(lot, "ready_missing", 300, 500, 1)
    made.grown(lot, "ready_dead", 300, 700, 2)
    # graded after the count, which did not look at them
    made.grown(lot, "ready", 300, 600, 3)
    # of these nobody saw when they pushed
    other = made.lot(1000, counted_on=TODAY - 500)
    made.grown(other, "ready", 0, 300, 50)
    told = _learned(made)
    assert told.missing.trees["citrus"] == 1
    assert told.missing.years["citrus"] * YEAR == pytest.approx(6 * 400 + 4 * 300)
    # from the count on five of them, two until they died; three from their push on; to yesterday
    assert told.unseen * YEAR == pytest.approx([3 * 499 + 2 * 200 + 3 * 899, 0])


@pytest.mark.parametrize("rate", [0.002, 0.03])
def test_a_known_rate_is_found_again(rate: float) -> None:
    """Sixty nurseries of 3000 tree-years with sales between: 80 of 100 lie in the 80 % interval."""
    rng = np.random.default_rng(5)
    inside, means = 0, []
    for seed in range(60):
        made = Made()
        for _ in range(100):
            lot = _lot(made, pushed=100, graded=300, trees=30, counted=465)
            ends = 100 + rng.exponential(YEAR / rate, 30)
            sold = np.where(rng.random(30) < 0.5, rng.integers(310, 460, 30), 10_000)
            made.grown(lot, "ready_missing", 300, 465, int(np.sum((ends < 465) & (ends < sold))))
            for day in sold[(sold < 465) & (ends >= sold)]:
                made.grown(lot, "ready_gone", 300, int(day), 1)
        drawn = _learned(made).unnoticed("citrus", seed, DRAWS)
        low, high = np.quantile(drawn, (0.1, 0.9))
        inside += int(low <= rate <= high)
        means.append(drawn.mean())
    assert 38 <= inside <= 58  # four standard errors
    assert np.mean(means) == pytest.approx(rate, rel=0.15)


def test_without_counts_it_is_what_is_believed_and_a_crop_goes_by_the_rest() -> None:
    nobody = Tally({}, {})
    nothing = Losses(nobody, nobody, np.zeros(0)).unnoticed("citrus", 1, DRAWS)
    assert nothing.mean() == pytest.approx(priors.UNNOTICED_A_YEAR, rel=0.1)
    assert nothing.std() > priors.UNNOTICED_A_YEAR
    told = Losses(nobody, Tally({"citrus": 90.0}, {"citrus": 3000.0}), np.zeros(0))
    of_rest, own = (told.unnoticed(crop, 1, DRAWS) for crop in ("mango", "citrus"))
    assert of_rest.mean() == pytest.approx(0.03, rel=0.1)
    assert of_rest.std() > 3 * own.std()


def test_deaths_of_ready_trees_are_about_those_of_growing_ones_until_they_are_counted() -> None:
    on_the_way = np.full(DRAWS, 0.1)
    made = Made()
    _lot(made, pushed=100, graded=999, trees=1)
    assert _learned(made).deaths("citrus", on_the_way, 1).mean() == pytest.approx(0.1, rel=0.05)
    # 400 trees of 700 days, sixteen of which died half way: 0.0213 a year
    lot = _lot(made, pushed=100, graded=299, trees=400)
    made.grown(lot, "ready_dead", 299, 649, 16)
    told = _learned(made)
    assert told.dead.years["citrus"] * YEAR == pytest.approx(400 * 700 - 16 * 350)
    drawn = told.deaths("citrus", on_the_way, 1)
    # 4 deaths in 40 tree-years are believed beforehand
    years = 40 + told.dead.years["citrus"]
    assert drawn.mean() == pytest.approx(20 / years, rel=0.03)
    assert drawn.std() == pytest.approx(20**0.5 / years, rel=0.05)


def _promised(counted: int) -> tuple[float, int]:
    """Mean, and how many are there with 90 %, of 400 booked ready that were counted then."""
    made = Made()
    rng = np.random.default_rng(2)
    for _ in range(12):
        made.course(rng, 600, trees=30, counted_on=TODAY - 300)
    lot = _lot(made, pushed=100, graded=300, trees=400, counted=counted, cultivar="OTHER")
    made.stands(lot, "ready", 400)
    told = forecast(made.known(), lead_days=(), compare=False)
    (one,) = (each for each in told.supply if each.cultivar == "OTHER" and each.site == "HOME")
    return one.mean[0], one.quantities[0][6]


def test_what_was_counted_long_ago_is_promised_with_care() -> None:
    yesterday, a_year_ago, never = (_promised(day) for day in (999, 635, 0))
    assert yesterday == (pytest.approx(400), 400)
    assert yesterday > a_year_ago > never
    assert 385 < never[1] < never[0] < 400


@pytest.mark.parametrize("unknown", ["crop", "weather"])
def test_ready_trees_of_which_nothing_is_learned_die_too(unknown: str) -> None:
    """0.92 live through a year, as is believed, and some of the dead nobody notices."""
    made = Made() if unknown == "crop" else Made(site(first=TODAY, low=[], high=[]))
    made.stands(made.lot(400, crop="" if unknown == "crop" else "citrus"), "ready", 400)
    (one, _) = forecast(made.known(), lead_days=(), compare=False).supply
    assert one.mean[0] == 400
    assert one.mean[52] == pytest.approx(400 * 0.92, rel=0.03)
