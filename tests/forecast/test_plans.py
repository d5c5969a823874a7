"""Plans: the last day to graft and how much, against drawing the lots themselves."""

import random
from datetime import date
from math import ceil

from hypothesis import given
from hypothesis import strategies as st

from service.forecast.answers.plans import (
    RIPE,
    LeadTime,
    graft_by,
    made_of,
    need,
    split,
)
from service.trade.promising import LEVELS

TODAY = date(2026, 3, 2).toordinal()


def leads(*days: int | None, every: int = 7) -> list[LeadTime]:
    return [LeadTime(TODAY + every * n, each, 0.8, 0.03) for n, each in enumerate(days)]


def test_a_plan_is_as_sure_as_its_two_parts_together() -> None:
    for confidence in (0.5, 0.8, 0.9, 0.95):
        parts = split(confidence)
        assert abs(parts.together - confidence) < 1e-9
        assert LEVELS[parts.time] ** 2 >= confidence
    assert 0.985 < split(0.99).together < 0.99


def test_the_last_day_to_graft_lies_between_two_that_are_told() -> None:
    # Grafted today ready in 200 days, a week later in 203, two weeks later in 220 days.
    told = leads(200, 203, 220)
    found = graft_by(told, TODAY, TODAY + 222)
    # 210 is ready of the second, 234 of the third: half way
    assert (found.by, found.lead) == (TODAY + 10, told[1])
    assert graft_by(told, TODAY, TODAY + 210).by == TODAY + 7
    assert graft_by(told, TODAY, TODAY + 233).by == TODAY + 13


def test_too_late_says_when_they_would_be_ready() -> None:
    found = graft_by(leads(200, 203), TODAY, TODAY + 199)
    assert (found.by, found.first_ready) == (None, TODAY + 200)
    # what was told yesterday of yesterday's grafts is over
    assert graft_by(leads(200, 210), TODAY + 1, TODAY + 200).by is None


def test_later_may_do_as_well_where_nothing_is_told_of_it() -> None:
    found = graft_by(leads(200, 203), TODAY, TODAY + 900)
    assert (found.by, found.looked_to) == (TODAY + 7, True)
    beyond = graft_by(leads(200, None), TODAY, TODAY + 900)
    assert (beyond.by, beyond.looked_to) == (TODAY, True)
    assert graft_by(leads(None, None), TODAY, TODAY + 900).first_ready is None
    assert graft_by([], TODAY, TODAY + 900).by is None


@given(st.lists(st.integers(100, 400), min_size=1, max_size=10), st.integers(90, 500))
def test_no_day_is_named_that_is_ready_too_late(days: list[int], ahead: int) -> None:
    told = leads(*days)
    found = graft_by(told, TODAY, TODAY + ahead)
    in_time = [one for one in told if (one.ready_on or 0) <= TODAY + ahead]
    assert (found.by is None) == (not in_time)
    if found.by is not None:
        assert found.lead == in_time[-1]
        assert 0 <= found.by - in_time[-1].grafted_on < 7


def test_grafts_are_enough_in_as_many_lots_as_asked() -> None:
    """Lots drawn one by one, each with its own share, by another road than the exact sums."""
    draw = random.Random(4)
    lead, sure = LeadTime(TODAY, 200, 0.75, 0.05), split(0.8)
    takes = need(300, "chip_bud", lead, sure, 0.15, 0.05)
    assert takes is not None
    mean = lead.mean * RIPE
    both = 1 / lead.correlation - 1
    lots, enough = 4000, 0
    for _ in range(lots):
        share = draw.betavariate(mean * both, (1 - mean) * both)
        enough += sum(draw.random() < share for _ in range(takes.grafts)) >= 300
    # Three standard errors of 4000 draws.
    assert abs(enough / lots - sure.number) < 3 * (sure.number * (1 - sure.number) / lots) ** 0.5


def test_buds_and_liners_with_what_is_lost_of_them() -> None:
    lead = LeadTime(TODAY, 200, 0.75, 0.05)
    one_bud = need(300, "chip_bud", lead, split(0.8), 0.2, 0.0)
    three = need(300, "cleft", lead, split(0.8), 0.2, 0.1)
    assert one_bud is not None
    assert three is not None
    assert one_bud.grafts == three.grafts
    assert (one_bud.buds, one_bud.liners) == (ceil(one_bud.grafts / 0.8), one_bud.grafts)
    assert (three.buds, three.liners) == (
        ceil(3 * three.grafts / 0.8),
        ceil(three.grafts / 0.9),
    )
    assert need(300, "cleft", lead._replace(mean=0.02), split(0.8), 0.2, 0.1) is None


def test_what_the_buds_of_a_bag_make() -> None:
    lead = LeadTime(TODAY, 200, 0.9, 0.05)
    made = made_of(125, 1, lead, 0.9, 0.2)
    # Of a hundred grafts, see the figures for a hundred in test_shares.
    assert (made.grafts, made.sure, made.expected) == (100, 80, 90)
    assert made_of(125, 3, lead, 0.9, 0.2).grafts == 33
    assert made_of(2, 3, lead, 0.9, 0.2) == (0, 0, 0)
