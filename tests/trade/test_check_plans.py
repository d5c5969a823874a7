"""Which checks are due when: pure, on plain lists of events."""

from datetime import date, timedelta
from typing import Any

import msgspec
import pytest

from service.trade.check_plans import (
    DEFAULT_PLANS,
    CheckedLot,
    DueCheck,
    chosen_plans,
    due_checks,
    look_due,
    plans_in_force,
    state_on,
)
from service.trade.events import EVENT_TYPES
from service.trade.events.catalogue import CheckPlan

GRAFTED = date(2026, 3, 2)
LOT = CheckedLot(lot="TR1", crop="citrus", method="inverted_t_bud", grafted_on=GRAFTED)
PLANS = plans_in_force([])


def _event(type_: str, day: int, **data: Any):
    """An event of `day` days after grafting."""
    occurred = (GRAFTED + timedelta(days=day)).isoformat()
    whole = {"type": type_, "site": "CORIN", "occurred": occurred, "data": data}
    return msgspec.convert(whole, EVENT_TYPES[type_])


def _graft(count: int = 10):
    return _event(
        "trees.grafted",
        0,
        lot="TR1",
        onto={"liner_lot": "LN1", "place": "T1", "size": "P9"},
        method="inverted_t_bud",
        count=count,
        place="T1",
        **{"from": [{"bag": "B1", "lot": "BW1", "buds": count, "place": "BOX"}]},
    )


def _moved(day: int, start: str, to: str, count: int):
    return _event(
        "trees.moved", day, lot="TR1", place=start, stage="grafted", size="P9", count=count, to=to
    )


def _due(history, live=None, plans=PLANS, lot=LOT) -> dict[tuple[str, str], DueCheck]:
    live = live or {"T1": {"grafted": 10}}
    return {(c.place, c.check): c for c in due_checks(lot, history, plans, live)}


def test_citrus_take_is_read_12_to_21_days_after_budding() -> None:
    """12 to 14 days: Sauls 2001; 2 to 3 weeks: UF/IFAS HS-86."""
    due = _due([_graft()])
    assert set(due) == {("T1", "read_take")}
    check = due["T1", "read_take"]
    assert check.due_on == GRAFTED + timedelta(days=12)
    assert check.overdue_on == GRAFTED + timedelta(days=22)
    assert (check.last_done, check.trees, check.plan) == (None, 10, "TAKE-CITRUS")
    assert "Sauls" in check.source
    assert "HS-86" in check.source


def test_force_once_the_take_is_read_then_weekly_walks() -> None:
    history = [_graft(), _event("grafts.unwrapped", 14, lot="TR1", place="T1", alive=10)]
    due = _due(history)
    assert set(due) == {("T1", "force"), ("T1", "push_walk")}
    assert due["T1", "force"].due_on == GRAFTED + timedelta(days=14)
    history.append(_event("tops.forced", 15, lot="TR1", place="T1"))
    history.append(_event("push.counted", 22, lot="TR1", place="T1", waiting=10))
    walk = _due(history)["T1", "push_walk"]
    assert (walk.last_done, walk.due_on) == (
        GRAFTED + timedelta(days=22),
        GRAFTED + timedelta(days=29),
    )
    assert walk.overdue_on == walk.due_on + timedelta(days=4)
    assert ("T1", "force") not in _due(history)


def test_tops_come_off_after_the_push() -> None:
    history = [_graft(), _event("push.counted", 20, lot="TR1", place="T1", pushed=10)]
    due = _due(history, {"T1": {"pushed": 10}})
    assert due["T1", "tops_off"].due_on == GRAFTED + timedelta(days=48)
    assert due["T1", "tops_off"].trees == 10
    # 24 weeks after budding (Olaniyan and coll.)
    assert due["T1", "grade"].due_on == GRAFTED + timedelta(weeks=24)
    history.append(_event("tops.removed", 50, lot="TR1"))
    assert ("T1", "tops_off") not in _due(history, {"T1": {"pushed": 10}})


def test_a_take_is_not_read_while_some_are_left_wrapped() -> None:
    partly = _event("grafts.unwrapped", 14, lot="TR1", place="T1", alive=7, left_wrapped=3)
    assert ("T1", "read_take") in _due([_graft(), partly])
    rest = _event("grafts.unwrapped", 20, lot="TR1", place="T1", alive=3)
    assert ("T1", "read_take") not in _due([_graft(), partly, rest])


def test_what_was_done_goes_along_with_moved_trees() -> None:
    unwrapped = _event("grafts.unwrapped", 14, lot="TR1", place="T1", alive=10)
    history = [_graft(), unwrapped, _moved(15, "T1", "T2", 10)]
    due = _due(history, {"T2": {"grafted": 10}})
    assert set(due) == {("T2", "force"), ("T2", "push_walk")}


def test_trees_that_join_others_count_as_done_only_when_both_were() -> None:
    history = [
        _graft(),
        _moved(1, "T1", "T2", 4),
        _event("grafts.unwrapped", 14, lot="TR1", place="T1", alive=6),
        _moved(16, "T1", "T2", 6),
    ]
    due = _due(history, {"T2": {"grafted": 10}})
    assert due["T2", "read_take"].due_on == GRAFTED + timedelta(days=12)


def test_a_consignment_carries_what_was_done() -> None:
    sent = _event(
        "consignment.sent",
        16,
        consignment="C1",
        to_site="TARNA",
        lines=[{"lot": "TR1", "place": "T1", "stage": "grafted", "size": "P9", "count": 10}],
    )
    received = msgspec.structs.replace(
        _event(
            "consignment.received",
            18,
            consignment="C1",
            lines=[
                {
                    "lot": "TR1",
                    "place": "X1",
                    "stage": "grafted",
                    "size": "P9",
                    "count": 10,
                    "sent": 10,
                }
            ],
        ),
        site="TARNA",
    )
    unwrapped = _event("grafts.unwrapped", 14, lot="TR1", place="T1", alive=10)
    due = _due([_graft(), unwrapped, sent, received], {"X1": {"grafted": 10}})
    assert ("X1", "read_take") not in due
    assert ("X1", "force") in due


def test_an_event_without_a_place_holds_for_all_places() -> None:
    history = [
        _graft(),
        _moved(1, "T1", "T2", 4),
        _event("grafts.unwrapped", 14, lot="TR1", alive=10),
    ]
    due = _due(history, {"T1": {"grafted": 6}, "T2": {"grafted": 4}})
    assert {check for _, check in due} == {"force", "push_walk"}


def test_tops_bent_on_the_liners_before_grafting_count_as_forcing() -> None:
    bent = _event("tops.forced", -3, lot="LN1", place="T1")
    later = _event("tops.forced", 30, lot="LN1", place="T1")
    unwrapped = _event("grafts.unwrapped", 14, lot="TR1", place="T1", alive=10)
    assert ("T1", "force") not in _due([bent, _graft(), unwrapped])
    assert ("T1", "force") in _due([_graft(), unwrapped, later])


def test_clocks_start_at_the_opening() -> None:
    opened = date(2026, 9, 1)
    lot = msgspec.structs.replace(LOT, opened_on=opened)
    due = _due([], {"T1": {"grafted": 5, "pushed": 5}}, lot=lot)
    assert due["T1", "read_take"].due_on == opened + timedelta(days=12)
    assert due["T1", "tops_off"].counted_from == opened
    assert all(check.due_on >= opened for check in due.values())


def _plan(**parts: Any) -> CheckPlan:
    base: dict[str, Any] = {
        "code": "OWN",
        "check": "read_take",
        "after": "grafted",
        "due_days": 10,
        "overdue_days": 15,
        "done_by": ["grafts.unwrapped"],
        "source": "ours",
    }
    return CheckPlan(**{**base, **parts})


@pytest.mark.parametrize(
    ("own", "wins"),
    [
        ([], "TAKE-CITRUS"),
        ([_plan()], "OWN"),
        ([_plan(), _plan(code="OWN-C", crop="citrus")], "OWN-C"),
        ([_plan(code="A", crop="citrus"), _plan(code="B", method="inverted_t_bud")], "B"),
        ([_plan(crop="apple")], "TAKE-CITRUS"),
        ([_plan(retired=True)], "TAKE-CITRUS"),
        ([_plan(code="TAKE-CITRUS", retired=True)], "TAKE"),
    ],
)
def test_the_catalogue_and_the_more_specific_plan_win(own: list[CheckPlan], wins: str) -> None:
    chosen = chosen_plans(plans_in_force(own), "citrus", "inverted_t_bud", {"grafted": 3})
    assert [plan.code for plan in chosen if plan.check == "read_take"] == [wins]


def test_a_look_counts_only_where_the_plan_says_so_and_only_while_the_lot_stood_there() -> None:
    early = _event("place.checked", -1, place="T1")
    look = _event("place.checked", 10, place="T1")
    plan = _plan(check="look_over", after="last", due_days=7, done_by=["place.checked"])
    history = [early, _graft(), look]
    check = _due(history, plans=[plan])["T1", "look_over"]
    assert (check.last_done, check.due_on) == (
        GRAFTED + timedelta(days=10),
        GRAFTED + timedelta(days=17),
    )
    never = _due([early, _graft()], plans=[plan])["T1", "look_over"]
    assert (never.last_done, never.counted_from) == (None, GRAFTED)


def test_a_check_named_after_a_work_is_done_by_that_work_alone() -> None:
    plan = _plan(check="staked", done_by=["work.done"])
    other = _event("work.done", 5, work="weeded", lot="TR1", place="T1")
    staked = _event("work.done", 6, work="staked", lot="TR1", place="T1")
    assert ("T1", "staked") in _due([_graft(), other], plans=[plan])
    assert _due([_graft(), other, staked], plans=[plan]) == {}


def test_states_by_the_sites_day() -> None:
    due_on, overdue_on = date(2026, 3, 14), date(2026, 3, 24)
    assert state_on(date(2026, 3, 13), due_on, overdue_on) == ("upcoming", 0)
    assert state_on(date(2026, 3, 14), due_on, overdue_on) == ("due", 0)
    assert state_on(date(2026, 3, 23), due_on, overdue_on) == ("due", 0)
    assert state_on(date(2026, 3, 24), due_on, overdue_on) == ("overdue", 1)
    assert state_on(date(2026, 4, 1), due_on, overdue_on) == ("overdue", 9)


def test_a_look_counts_from_the_last_look_or_since_trees_stand_there() -> None:
    since = date(2026, 3, 1)
    assert look_due(None, since, 14) == (since, date(2026, 3, 15), date(2026, 3, 16))
    assert look_due(date(2026, 2, 1), since, 14)[0] == since
    assert look_due(date(2026, 3, 9), since, 14)[1] == date(2026, 3, 23)


def test_every_default_says_where_its_days_are_from() -> None:
    for plan in DEFAULT_PLANS:
        assert "without a source" in plan.source or any(
            year in plan.source for year in ("2001", "1994", "2019")
        ), plan.code
        assert plan.due_days <= plan.overdue_days
    assert len({plan.code for plan in DEFAULT_PLANS}) == len(DEFAULT_PLANS)
