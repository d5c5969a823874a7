"""The whole forecast on nurseries whose laws are known: what is learned, and what is foretold."""

from datetime import date

import msgspec
import numpy as np
import pytest

from service.forecast.degree_days import Method
from service.forecast.numerics.clocks import clock_of
from service.forecast.numerics.groups import grouped, rest_end, rests
from service.forecast.numerics.learn import Learned, learned
from service.forecast.numerics.worker import forecast
from service.forecast.requirements import requirement_for
from service.forecast.shapes import LEVELS, Foretold, Known, LotTold
from tests.support.made_known import RECORD_DAYS, TODAY, Made, site

CITRUS = requirement_for("citrus", None).thresholds  # type: ignore[union-attr]
SOON = (0,)


def learn(known: Known, crop: str = "citrus") -> Learned:
    wanted = requirement_for(crop, None)
    assert wanted is not None
    clocks = {(w.site, crop): clock_of(w, crop, wanted.thresholds) for w in known.sites}
    (group,) = grouped(known, clocks)
    return learned(known, group)


def told(foretold: Foretold, lot: int) -> LotTold:
    return next(one for one in foretold.lots if one.lot == lot)


def nursery(seed: int, lots: int = 40, **laws: float) -> tuple[Made, np.random.Generator]:
    rng = np.random.default_rng(seed)
    made = Made()
    for days_ago in np.linspace(300, 190, lots).astype(int):
        made.course(rng, int(days_ago), **laws)  # type: ignore[arg-type]
    return made, rng


def test_what_lots_want_is_learned_from_looks_and_gradings() -> None:
    made, _ = nursery(1, push_cd=330.0, ready_cd=1450.0)
    found = learn(made.known())
    push, _, _ = found.push.typical({})
    ready, _, _ = found.ready.typical({})
    # 40 lots with sds of 5 and 2.5 % know their middle to a per cent or so.
    assert np.exp(push) == pytest.approx(330, rel=0.03)
    assert np.exp(ready) == pytest.approx(1450, rel=0.03)
    assert found.push.spread == pytest.approx(0.15, abs=0.03)


def test_a_lot_is_ready_when_half_of_it_is() -> None:
    """80 days after grafting, of 330 + 1450 Cd at 10 a day: 98 days are left."""
    made, rng = nursery(2, push_cd=330.0, ready_cd=1450.0)
    lot = made.course(rng, 80, push_cd=330.0, ready_cd=1450.0, lot_sd=0.0)
    one = told(forecast(made.known(), lead_days=(), compare=False), lot)
    assert one.phase == "pushed"
    assert one.p50 - TODAY == pytest.approx(98, abs=6)
    assert one.p20 < one.p50 < one.p80
    # 2.5 % between lots and what 40 lots do not know: some days, not weeks.
    assert one.p80 - one.p20 < 20
    assert one.counted == pytest.approx(80 * 10 - 10 - 330, abs=40)
    assert one.needed == pytest.approx(1450, rel=0.04)
    assert one.based_on_lots == 40
    assert one.fallback == ""


def test_nothing_counted_yet_leans_on_the_weak_prior_and_says_so() -> None:
    made = Made()
    lot = made.lot(20)
    made.waiting(lot, 14, 24)
    made.stands(lot, "grafted", 24, unread=24)
    one = told(forecast(made.known(), lead_days=(), compare=False), lot)
    assert one.phase == "grafted"
    assert "weak prior" in one.fallback
    # 2350 Cd of the published figures less 190 so far, within a factor of e^0.4 or so.
    assert 120 < one.p50 - TODAY < 320
    assert one.p80 - one.p20 > 60


def test_the_same_is_foretold_again() -> None:
    made, rng = nursery(3, lots=12)
    made.course(rng, 80)
    known = made.known()
    assert forecast(known, lead_days=SOON) == forecast(known, lead_days=SOON)


def test_the_surer_the_fewer_and_the_later_the_more() -> None:
    made, rng = nursery(4, lots=20)
    for days_ago in (60, 90, 120):
        made.course(rng, days_ago)
    foretold = forecast(made.known(), lead_days=SOON)
    (supply,) = [one for one in foretold.supply if one.site == "HOME" and not one.grade]
    for quantities in supply.quantities:
        assert quantities == sorted(quantities, reverse=True)
        assert len(quantities) == len(LEVELS)
    assert supply.mean[20] > supply.mean[0]
    lead = foretold.lead_times[0]
    assert lead.days == sorted(lead.days)
    assert all(half < nearly for half, nearly in zip(lead.days, lead.nearly, strict=True))


def test_trees_on_hold_or_grown_for_a_customer_are_told_of_and_not_for_sale() -> None:
    made, rng = nursery(5, lots=10)
    free = forecast(made.known(), lead_days=(), compare=False)
    held = made.course(rng, 120)
    made.standing.held = [
        held_now or lot == held
        for lot, held_now in zip(made.standing.lot, made.standing.held, strict=True)
    ]
    grown_for = made.course(rng, 120, grown_for=True)
    more = forecast(made.known(), lead_days=(), compare=False)
    assert told(more, held).p50
    assert "Grown for a customer" in " ".join(told(more, grown_for).remarks)
    of = [one.trees for one in free.supply], [one.trees for one in more.supply]
    assert of[0] == of[1]


def test_what_was_culled_is_never_ready() -> None:
    made, rng = Made(), np.random.default_rng(6)
    for days_ago in range(300, 340):
        made.course(rng, days_ago, unfit=0.1)
    # All that is left a hundred days after the first were ready is thrown away.
    for row, outcome in enumerate(made.growths.outcome):
        if outcome == "growing":
            made.growths.outcome[row] = "culled"
            made.growths.by[row] = TODAY - 1
    found = learn(made.known())
    assert found.ready.never == pytest.approx(0.1, abs=0.04)


def test_lots_that_came_pushed_teach_nothing_of_being_ready() -> None:
    made, _ = nursery(7, lots=25)
    before = learn(made.known())
    old = made.lot(700)
    made.pushes.after.append(0)
    for column, value in (
        ("lot", old),
        ("site", "HOME"),
        ("outcome", "pushed"),
        ("by", TODAY - 300),
        ("trees", 30),
    ):
        getattr(made.pushes, column).append(value)
    made.grown(old, "ready", 0, 690, 30)
    after = learn(made.known())
    assert not after.timed[after.group.at[old]]
    assert after.ready.tau == pytest.approx(before.ready.tau, rel=0.05)


def test_one_lot_unlike_all_others_is_set_aside_and_named() -> None:
    made, rng = nursery(8, lots=30)
    made.course(rng, 420, ready_cd=3000.0, lot_sd=0.0, code="ODD")
    foretold = forecast(made.known(), lead_days=(), compare=False)
    assert any("ODD" in words for words in foretold.remarks)
    found = learn(made.known())
    assert found.ready.tau < 0.06


def test_buds_set_in_summer_rest_until_the_day_that_their_pushes_tell() -> None:
    """Apple budded in August that counts from 1 February: 4 to 25 C, 11 Cd a day at 15 C."""
    made = Made(site(celsius=15.0))
    rng = np.random.default_rng(9)
    wakes = date(2026, 2, 1).toordinal()
    for day in range(40):
        grafted = date(2025, 8, 1).toordinal() + day
        since = wakes - grafted
        made.course(
            rng,
            TODAY - grafted,
            push_cd=180.0,
            a_day=11.0,
            since=since,
            crop="apple",
            method="chip_bud",
            gradings=400,
        )
    found = learn(made.known(), "apple")
    assert found.rest_ends == 2
    assert set(found.begins) == {wakes}
    middle, _, _ = found.push.typical({})
    assert np.exp(middle) == pytest.approx(180, rel=0.05)


@pytest.mark.parametrize(
    ("crop", "day", "south", "resting"),
    [
        ("apple", date(2025, 8, 10), False, True),
        ("apple", date(2025, 3, 10), False, False),
        ("apple", date(2025, 2, 10), True, True),
        ("apple", date(2025, 9, 10), True, False),
        ("citrus", date(2025, 8, 10), False, False),
    ],
)
def test_which_buds_rest(crop: str, day: date, south: bool, resting: bool) -> None:
    assert rests(crop, day.toordinal(), south) is resting


def test_a_rest_ends_half_a_year_later_in_the_south() -> None:
    assert rest_end(date(2025, 8, 10).toordinal(), 2, False) == date(2026, 2, 1).toordinal()
    assert rest_end(date(2025, 2, 10).toordinal(), 2, True) == date(2025, 8, 1).toordinal()


def test_pushes_that_follow_the_forcing_are_counted_from_it() -> None:
    made = Made()
    rng = np.random.default_rng(10)
    for number in range(30):
        # Forced 20 to 60 days after grafting; the buds push 200 Cd after that.
        forced = int(rng.integers(20, 60))
        day = 280 - number
        lot = made.course(rng, day, push_cd=200.0, since=forced)
        made.lots.forced_on[lot] = TODAY - day + forced
    found = learn(made.known())
    assert found.from_forcing is not None
    assert np.exp(found.from_forcing.typical({})[0]) == pytest.approx(200, rel=0.06)
    assert found.forced.all()
    # Lots not forced yet go by the clock from grafting.
    lot = made.lot(10)
    made.stands(lot, "grafted", 20)
    assert not learn(made.known()).forced[-1]


def test_what_was_learned_by_the_hour_is_not_spent_on_the_sine() -> None:
    hours = [9.0] * RECORD_DAYS
    logged = site("LOGGED", hourly={"citrus": hours})
    made = Made(site(), logged)
    rng = np.random.default_rng(11)
    for place in ("HOME", "LOGGED"):
        for day in (260, 240, 220):
            made.course(rng, day, site=place)
    wanted = {(w.site, "citrus"): clock_of(w, "citrus", CITRUS) for w in made.sites}
    groups = grouped(made.known(), wanted)
    assert [group.counting.method for group in groups] == [Method.HOURLY_SUM, Method.SINGLE_SINE]
    assert [len(group.lots) for group in groups] == [3, 3]
    moved = made.lot(60, site="LOGGED")
    made.stands(moved, "pushed", 10, site="HOME")
    one = told(forecast(made.known(), lead_days=(), compare=False), moved)
    assert not one.p50
    assert "count degree-days differently" in one.why


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        ({"crop": ""}, "crop is not known"),
        ({"crop": "fig"}, "No way of counting degree-days is known for crop fig"),
        ({"grafted_on": 0}, "day of grafting is not known"),
        ({"grafted_on": TODAY - 3000}, "do not reach back"),
    ],
)
def test_why_no_day_can_be_told(changed: dict[str, object], why: str) -> None:
    made = Made()
    lot = made.lot(30, **changed)
    made.stands(lot, "pushed", 12)
    one = told(forecast(made.known(), lead_days=(), compare=False), lot)
    assert (one.p20, one.p50, one.p80, one.trees) == (0, 0, 0, 12)
    assert why in one.why


def test_a_site_without_temperatures_says_so() -> None:
    made = Made(site(first=TODAY, low=[], high=[]))
    lot = made.lot(30)
    made.stands(lot, "grafted", 12)
    one = told(forecast(made.known(), lead_days=(), compare=False), lot)
    assert "no temperatures on record" in one.why


@pytest.mark.parametrize("lacking", [range(150, 170), range(280, 300)])
def test_weeks_without_a_record_do_not_silence_a_young_site(lacking: range) -> None:
    """300 days of 23 C but for 20 days, which no other year can tell of."""
    days = [float("nan") if n in lacking else 23.0 for n in range(300)]
    made = Made(site(first=TODAY - 300, low=days, high=days))
    lot = made.lot(200)
    made.stands(lot, "grafted", 12)
    one = told(forecast(made.known(), lead_days=(), compare=False), lot)
    assert one.p50
    assert (one.counted, one.gap_days) == (pytest.approx(1990), 20)


def test_a_young_site_whose_record_ended_long_ago_says_so() -> None:
    days = [23.0] * 200 + [float("nan")] * 100
    made = Made(site(first=TODAY - 300, low=days, high=days))
    lot = made.lot(200)
    made.stands(lot, "grafted", 12)
    one = told(forecast(made.known(), lead_days=(), compare=False), lot)
    assert (one.p50, one.why) == (
        0,
        "The temperatures of site HOME lack too many of the newest days.",
    )


def test_nothing_at_all_foretells_nothing() -> None:
    foretold = forecast(Made().known())
    assert foretold.lots == foretold.supply == foretold.lead_times == foretold.learned == []
    assert msgspec.msgpack.decode(msgspec.msgpack.encode(foretold), type=Foretold) == foretold


def test_potted_on_or_not_is_learned_for_a_lot_as_a_whole() -> None:
    made, rng = nursery(12, lots=20)
    before = forecast(made.known(), lead_days=(), compare=False).supply
    there = next(one for one in before if (one.size, one.site) == ("P4", "HOME"))
    lot = made.course(rng, 60)
    # It stands in the size that the others pushed in; they were sold in P4.
    made.standing.size = [
        "P1" if row == lot else size
        for row, size in zip(made.standing.lot, made.standing.size, strict=True)
    ]
    supply = forecast(made.known(), lead_days=(), compare=False).supply
    p4 = next(one for one in supply if (one.size, one.site) == ("P4", "HOME"))
    p1 = next(one for one in supply if (one.size, one.site) == ("P1", "HOME"))
    assert p1.mean[-1] < 2
    assert p4.mean[30] - there.mean[30] == pytest.approx(28, abs=2)
