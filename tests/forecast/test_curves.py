"""The picture of the push: what the counts alone say, on data whose curve is known beforehand."""

import numpy as np
import pytest

from service.forecast.numerics.clocks import clock_of
from service.forecast.numerics.curves import curves
from service.forecast.numerics.groups import grouped
from service.forecast.numerics.learn import learned
from service.forecast.requirements import requirement_for
from service.forecast.shapes import Curve, Known
from tests.support.made_known import Made


def curves_of(made: Made) -> list[Curve]:
    """Of citrus, at 10 Cd a day."""
    wanted = requirement_for("citrus", None)
    assert wanted is not None
    known: Known = made.known()
    clocks = {
        (one.site, "citrus"): clock_of(one, "citrus", wanted.thresholds) for one in known.sites
    }
    return curves(known, [learned(known, group) for group in grouped(known, clocks)])


def ten_lots() -> Made:
    """Alike: 40 grafts; 10 push by day 20, 20 by day 30, 6 by day 50, and 4 wait at day 90."""
    made = Made()
    for _ in range(10):
        lot = made.lot(100)
        made.pushed(lot, 0, 20, 10)
        made.pushed(lot, 20, 30, 20)
        made.pushed(lot, 30, 50, 6)
        made.waiting(lot, 90, 4)
    return made


def test_looks_on_the_same_days_give_the_counts_themselves() -> None:
    """Where no look overlaps another the estimate is the plain share at each look (by hand)."""
    (curve,) = curves_of(ten_lots())
    assert (curve.crop, curve.method, curve.since) == ("citrus", "t_bud", "grafting")
    assert curve.counting == "single_sine"
    assert curve.degree_days == [200.0, 300.0, 500.0]
    assert curve.share == pytest.approx([0.25, 0.75, 0.9], abs=1e-3)
    assert (curve.trees, curve.lots, curve.pushed, curve.failed, curve.lost) == (400, 10, 360, 0, 0)


def test_grafts_that_died_count_as_not_pushed_while_they_were_seen() -> None:
    """As Kaplan and Meier reckon: 20 of 100 push by the first look, 20 die after it, and of the 60
    that are left 30 push by the next: 0.2 + 0.8 * 30 / 60 = 0.6."""
    made = Made()
    lot = made.lot(100)
    made.pushed(lot, 0, 20, 20)
    made._push(lot, "failed", made.lots.grafted_on[lot] + 20, made.lots.grafted_on[lot] + 25, 12)
    made._push(lot, "lost", made.lots.grafted_on[lot] + 20, made.lots.grafted_on[lot] + 25, 8)
    made.pushed(lot, 20, 30, 30)
    made.waiting(lot, 30, 30)
    (curve,) = curves_of(made)
    assert curve.degree_days == [200.0, 300.0]
    assert curve.share == pytest.approx([0.2, 0.6], abs=1e-3)
    assert (curve.trees, curve.pushed, curve.failed, curve.lost) == (100, 50, 12, 8)
    # One that was gone before anybody looked tells nothing, and is told of.
    made._push(lot, "failed", 0, made.lots.grafted_on[lot] + 5, 7)
    (again,) = curves_of(made)
    assert (again.share, again.trees, again.failed) == (curve.share, 100, 19)


def test_a_curve_ends_where_hardly_any_are_watched() -> None:
    """One straggler in a lot nobody looked at for long, after the last of those that wait was seen,
    would say that all push in the end."""
    made = ten_lots()
    made.pushed(made.lot(100), 60, 95, 1)
    (curve,) = curves_of(made)
    assert curve.degree_days == [200.0, 300.0, 500.0]
    assert curve.share[-1] == pytest.approx(0.9, abs=0.01)
    assert curve.trees == 401


def test_the_fit_stands_beside_what_was_counted() -> None:
    """Of pushes that follow its own law it should lie close, over a thousand trees."""
    made, rng = Made(), np.random.default_rng(1)
    for days_ago in np.linspace(300, 100, 40).astype(int):
        made.course(rng, int(days_ago), push_cd=330.0)
    (curve,) = curves_of(made)
    share, fitted = np.array(curve.share), np.array(curve.fitted)
    assert len(share) == len(fitted) == len(curve.degree_days) >= 5
    assert (np.diff(share) >= -1e-12).all()
    assert (np.diff(fitted) >= 0).all()
    # A share of 1,200 trees in 40 lots is known to about 0.03.
    assert np.abs(share - fitted).max() < 0.08
    half = float(np.interp(0.5, fitted, curve.degree_days))
    assert half == pytest.approx(330, rel=0.04)


def test_methods_are_apart_and_one_that_never_pushed_has_no_curve() -> None:
    made = ten_lots()
    chip = made.lot(80, method="chip_bud")
    made.pushed(chip, 10, 40, 12)
    made.waiting(made.lot(20, method="cleft"), 10, 12)
    assert [(one.method, one.trees) for one in curves_of(made)] == [
        ("chip_bud", 12),
        ("t_bud", 400),
    ]


def test_forced_lots_have_a_curve_from_the_forcing_too() -> None:
    made = ten_lots()
    for lot in range(5):
        made.lots.forced_on[lot] = made.lots.grafted_on[lot] + 15
    (by_graft, by_forcing) = curves_of(made)
    assert (by_graft.since, by_graft.lots) == ("grafting", 10)
    assert (by_forcing.since, by_forcing.lots) == ("forcing", 5)
    assert by_forcing.degree_days == [50.0, 150.0, 350.0]
    assert by_forcing.share == pytest.approx([0.25, 0.75, 0.9], abs=1e-3)


def test_no_pushes_no_picture() -> None:
    made = Made()
    made.waiting(made.lot(30), 20, 24)
    assert curves_of(made) == []
