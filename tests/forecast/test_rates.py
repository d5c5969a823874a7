"""What works: plain shares mislead, adjusted ones tell who did better with what they were given."""

from collections.abc import Iterable

import numpy as np
import pytest
from scipy.special import expit

from service.forecast.numerics.rates import RANKED_FROM, rates
from service.forecast.shapes import Known, Rate
from service.trade.take import wilson
from tests.support.made_known import Made, site

EASY, HARD = "CARRIZO", "POMEROY"
ROOTSTOCKS = {EASY: 2.2, HARD: 0.2}  # logits of what takes


def told(
    found: Iterable[Rate], factor: str, *, crop: str, site: str = "", measure: str = "take"
) -> dict[str, Rate]:
    """The rows of one comparison, by level."""
    return {
        one.level: one
        for one in found
        if (one.factor, one.crop, one.site, one.measure) == (factor, crop, site, measure)
    }


def lots(
    made: Made, share: float, count: int, rng: np.random.Generator, *, trees: int = 30, **what: str
) -> None:
    """So many lots of which about that share took, read soon after."""
    for alive in rng.binomial(trees, rng.beta(25 * share, 25 * (1 - share), count)):
        made.take(made.lot(100, **what), int(alive), trees - int(alive))


def plain_lots(made: Made, alive: int, failed: int, **what: str) -> None:
    made.take(made.lot(100, **what), alive, failed)


def two_grafters(seed: int) -> Known:
    """Ada is truly better (0.8 on the logit), and gets the hard rootstock alone; Ben gets both."""
    rng, made = np.random.default_rng(seed), Made()
    lots(made, expit(ROOTSTOCKS[HARD] + 0.8), 40, rng, rootstock=HARD, grafter="p-ada")
    lots(made, expit(ROOTSTOCKS[HARD]), 15, rng, rootstock=HARD, grafter="p-ben")
    lots(made, expit(ROOTSTOCKS[EASY]), 60, rng, rootstock=EASY, grafter="p-ben")
    return made.known()


def test_who_gets_the_hard_rootstock_is_not_blamed_for_it() -> None:
    by = told(rates(two_grafters(1)), "grafter", crop="")
    ada, ben = by["p-ada"], by["p-ben"]
    assert ada.hits / ada.n < ben.hits / ben.n - 0.05
    assert ada.adjusted > ben.adjusted + 0.03
    assert (ada.rank, ben.rank) == (1, 2)
    assert (ada.n, ada.lots, ben.n, ben.lots) == (1200, 40, 2250, 75)


def test_the_adjusted_share_is_of_the_mix_of_all_lots() -> None:
    """By the invented truth: 55 of 115 lots on the hard rootstock, 60 on the easy one, all by Ada,
    all by Ben. In 20 nurseries the intervals of 80 % hold it about so often."""
    mix = np.repeat([ROOTSTOCKS[HARD], ROOTSTOCKS[EASY]], [55, 60])
    inside = []
    for seed in range(20):
        by = told(rates(two_grafters(seed)), "grafter", crop="")
        for name, better in (("p-ada", 0.8), ("p-ben", 0.0)):
            truth = float(expit(mix + better).mean())
            inside.append(by[name].adjusted_low <= truth <= by[name].adjusted_high)
    # Two of a nursery err together: about 20 apart ones, whose standard error is 0.09.
    assert 0.62 <= np.mean(inside) <= 0.97


def test_plain_figures_are_the_counts_with_wilsons_interval() -> None:
    """Newcombe 1998, Statistics in Medicine 17: 857-872, table I: 81 of 263, 15 of 148."""
    made = Made()
    plain_lots(made, 80, 100, method="t_bud")
    plain_lots(made, 1, 82, method="t_bud")
    plain_lots(made, 15, 133, method="chip_bud")
    by = told(rates(made.known()), "method", crop="citrus")
    assert (by["t_bud"].hits, by["t_bud"].n, by["t_bud"].lots) == (81, 263, 2)
    assert (by["t_bud"].low, by["t_bud"].high) == pytest.approx((0.2553, 0.3662), abs=5e-5)
    assert (by["chip_bud"].low, by["chip_bud"].high) == pytest.approx((0.0624, 0.1605), abs=5e-5)


def test_the_few_are_drawn_toward_the_many_and_told_wide() -> None:
    made, rng = Made(), np.random.default_rng(2)
    lots(made, 0.9, 40, rng, method="t_bud")
    lots(made, 0.85, 40, rng, method="chip_bud")
    plain_lots(made, 0, 5, method="cleft")
    plain_lots(made, 6, 0, method="splice")
    by = told(rates(made.known()), "method", crop="citrus")
    failed, whole, usual = by["cleft"], by["splice"], by["t_bud"]
    assert failed.hits == 0
    assert 0.3 < failed.adjusted < usual.adjusted
    assert whole.hits == whole.n
    assert whole.adjusted < 0.97
    assert failed.adjusted_high - failed.adjusted_low > 3 * (
        usual.adjusted_high - usual.adjusted_low
    )
    assert (failed.rank, whole.rank) == (0, 0)
    assert (usual.rank, by["chip_bud"].rank) == (1, 2)


@pytest.mark.parametrize(
    ("counts", "ranks"),
    [
        ({"t_bud": 100, "chip_bud": 100}, [1, 2]),
        ({"t_bud": 100, "chip_bud": 99}, [0, 0]),
        ({"t_bud": 99, "chip_bud": 99}, [0, 0]),
        ({"t_bud": 300, "chip_bud": 200, "cleft": 99}, [1, 2, 0]),
        ({"t_bud": 300}, [0]),
    ],
)
def test_nothing_below_a_hundred_grafts_is_ranked_nor_alone(counts, ranks) -> None:
    """`t_bud` takes best here, `chip_bud` less, whatever is rare best of all."""
    assert RANKED_FROM == 100
    failing = {"t_bud": 0.05, "chip_bud": 0.2, "cleft": 0.0}
    made = Made()
    for method, n in counts.items():
        failed = round(failing[method] * n)
        plain_lots(made, n - failed, failed, method=method)
    by = told(rates(made.known()), "method", crop="citrus")
    assert [by[method].rank for method in counts] == ranks


def test_a_lot_of_several_people_counts_for_no_grafter() -> None:
    made, rng = Made(), np.random.default_rng(3)
    lots(made, 0.9, 10, rng, grafter="p-ada")
    lots(made, 0.7, 10, rng, grafter="")
    found = rates(made.known())
    by = told(found, "grafter", crop="")
    assert {name: one.n for name, one in by.items()} == {"p-ada": 300}
    assert told(found, "method", crop="citrus")["t_bud"].n == 600


def test_each_site_is_told_apart_and_sites_are_compared_over_all() -> None:
    made, rng = Made(site("HOME"), site("HILL")), np.random.default_rng(4)
    lots(made, 0.9, 10, rng, method="t_bud", site="HOME")
    lots(made, 0.6, 10, rng, method="t_bud", site="HILL")
    lots(made, 0.6, 10, rng, method="chip_bud", site="HILL")
    found = rates(made.known())
    methods = {
        where: told(found, "method", crop="citrus", site=where) for where in ("HOME", "HILL", "")
    }
    assert {where: {m: one.n for m, one in by.items()} for where, by in methods.items()} == {
        "HOME": {"t_bud": 300},
        "HILL": {"t_bud": 300, "chip_bud": 300},
        "": {"t_bud": 600, "chip_bud": 300},
    }
    # At one site they took alike; over both the budding at the better site makes the plain gap.
    t_bud, chip = methods[""]["t_bud"], methods[""]["chip_bud"]
    assert t_bud.hits / t_bud.n - chip.hits / chip.n > 0.1
    assert abs(t_bud.adjusted - chip.adjusted) < 0.06
    assert {name: one.rank for name, one in told(found, "site", crop="").items()} == {
        "HOME": 1,
        "HILL": 2,
    }
    assert told(found, "site", crop="", site="HOME") == {}


def test_months_are_those_of_the_grafting_and_crops_are_not_mixed() -> None:
    made = Made()
    # TODAY is 1 June: these were grafted on 21 February and 2 April.
    for crop in ("citrus", "apple"):
        for days_ago in (100, 60):
            made.take(made.lot(days_ago, crop=crop), 18, 2)
    found = rates(made.known())
    for crop in ("citrus", "apple"):
        by = told(found, "month", crop=crop)
        assert {month: one.n for month, one in by.items()} == {"02": 20, "04": 20}
    assert told(found, "month", crop="") == {}


def test_survival_waits_until_most_fates_of_a_lot_are_known() -> None:
    """Deaths are known early: a lot half of which still grows would look too bad."""
    made = Made()
    done, early = made.lot(400), made.lot(100)
    made.grown(done, "ready", 200, 230, 80)
    made.grown(done, "dead", 0, 150, 12)
    made.grown(done, "culled", 0, 240, 8)
    made.grown(done, "gone", 0, 240, 50)
    made.grown(early, "dead", 0, 60, 10)
    made.grown(early, "growing", 90, 0, 90)
    by = told(rates(made.known()), "method", crop="citrus", measure="survival")
    assert (by["t_bud"].hits, by["t_bud"].n, by["t_bud"].lots) == (80, 100, 1)
    assert (by["t_bud"].low, by["t_bud"].high) == wilson(80, 100)


def test_nothing_read_nothing_compared() -> None:
    made = Made()
    made.lot(20)
    assert rates(made.known()) == []


def test_they_come_out_again() -> None:
    assert rates(two_grafters(5)) == rates(two_grafters(5))
