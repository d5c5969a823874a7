"""Which check is due when: the default plans, and what of them is due for a lot at its places.

A plan counts days from an anchor (grafting, wrapping, the take read, forcing, the first push, or
the last time the check was done). Plans of the catalogue stand before the defaults.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from typing import Literal, get_args, get_type_hints

import msgspec

from service.trade.check_history import PlaceFacts, facts_by_place
from service.trade.events.catalogue import CheckPlan
from service.trade.events.envelope import Envelope
from service.trade.events.facts import WorkDoneData
from service.trade.methods import MethodName

_SAULS_HS86 = (
    "Citrus, unwrapping and reading the take: 12 to 14 days after budding (Sauls 2001, T-Budding "
    "Citrus, Texas Cooperative Extension); 2 to 3 weeks (Williamson & Jackson 1994, HS-86, UF/IFAS)"
)
_HS86_FORCE = (
    "Citrus is forced once the take is read (Williamson & Jackson 1994, HS-86, UF/IFAS); the days "
    "allowed for it are common practice, without a source"
)
_HS86_TOPS = (
    "The top comes off when the scion has grown several inches (Williamson & Jackson 1994, HS-86, "
    "UF/IFAS); the days from push are common practice, without a source"
)
_OLANIYAN = (
    "Scions of 40 cm were reached 24 weeks after budding with bent tops (Olaniyan and coll., "
    "NIHORT); grading every four weeks from then is common practice, without a source"
)
_KHUSHI = (
    "Mango pushed 9 to 12 days after grafting (Khushi and coll. 2019); reading the take after "
    "three weeks is common practice, without a source"
)
_COMMON = "Common practice, without a source"
_DORMANT: tuple[tuple[str, MethodName], ...] = (
    ("TAKE-WHIP", "whip_and_tongue"),
    ("TAKE-SPLICE", "splice"),
    ("TAKE-CLEFT", "cleft"),
    ("TAKE-BARK", "bark"),
    ("TAKE-FLAP", "four_flap"),
)

DEFAULT_PLANS: tuple[CheckPlan, ...] = (
    CheckPlan(
        code="TAKE-CITRUS",
        check="read_take",
        crop="citrus",
        stage="grafted",
        after="grafted",
        due_days=12,
        overdue_days=21,
        done_by=["grafts.unwrapped"],
        source=_SAULS_HS86,
    ),
    CheckPlan(
        code="TAKE-MANGO",
        check="read_take",
        crop="mango",
        stage="grafted",
        after="grafted",
        due_days=21,
        overdue_days=35,
        done_by=["grafts.unwrapped"],
        source=_KHUSHI,
    ),
    CheckPlan(
        code="TAKE-AVOCADO",
        check="read_take",
        crop="avocado",
        stage="grafted",
        after="grafted",
        due_days=28,
        overdue_days=42,
        done_by=["grafts.unwrapped"],
        source=_COMMON,
    ),
    *(
        CheckPlan(
            code=code,
            check="read_take",
            method=method,
            stage="grafted",
            after="grafted",
            due_days=28,
            overdue_days=56,
            done_by=["grafts.unwrapped"],
            source=f"{_COMMON}: a dormant graft is left wrapped until it grows",
        )
        for code, method in _DORMANT
    ),
    CheckPlan(
        code="TAKE",
        check="read_take",
        stage="grafted",
        after="grafted",
        due_days=14,
        overdue_days=28,
        done_by=["grafts.unwrapped"],
        source=_COMMON,
    ),
    CheckPlan(
        code="FORCE-CITRUS",
        check="force",
        crop="citrus",
        stage="grafted",
        after="take_read",
        due_days=0,
        overdue_days=7,
        done_by=["tops.forced", "tops.removed"],
        source=_HS86_FORCE,
    ),
    CheckPlan(
        code="WALK",
        check="push_walk",
        stage="grafted",
        after="take_read",
        due_days=7,
        overdue_days=10,
        every_days=7,
        done_by=["push.counted"],
        source=f"{_COMMON}: a weekly walk from the take on",
    ),
    CheckPlan(
        code="TOPS-CITRUS",
        check="tops_off",
        crop="citrus",
        stage="pushed",
        after="pushed",
        due_days=28,
        overdue_days=56,
        done_by=["tops.removed"],
        source=_HS86_TOPS,
    ),
    CheckPlan(
        code="GRADE-CITRUS",
        check="grade",
        crop="citrus",
        stage="pushed",
        after="grafted",
        due_days=168,
        overdue_days=196,
        every_days=28,
        done_by=["trees.graded"],
        source=_OLANIYAN,
    ),
)
LOOK = "look"
LOOK_SOURCE = "The site's norm of how often a place with live trees wants a look"
# A person who did one of these at a place has seen what stands there.
LOOKS = ("place.checked", "push.counted", "grafts.unwrapped", "trees.graded", "stock.counted")
_WORKS: tuple[str, ...] = get_args(get_type_hints(WorkDoneData)["work"])


class CheckedLot(msgspec.Struct, frozen=True, kw_only=True):
    """What of a tree lot its checks hang on. `opened_on`: its books were opened, or it was bought
    in, on that day; what came before is unknown and every clock starts there."""

    lot: str
    crop: str | None
    method: str | None
    grafted_on: date | None
    opened_on: date | None = None


class DueCheck(msgspec.Struct, frozen=True, kw_only=True):
    """A check of a lot at a place: `due_on` the first day due, `overdue_on` the first overdue."""

    lot: str
    place: str
    check: str
    plan: str
    after: str
    counted_from: date
    due_on: date
    overdue_on: date
    last_done: date | None
    trees: int
    source: str


def due_checks(
    lot: CheckedLot,
    history: Sequence[Envelope],
    plans: Iterable[CheckPlan],
    live: Mapping[str, Mapping[str, int]],
    days: Mapping[int, date] | None = None,
) -> list[DueCheck]:
    """What is due for a lot, at each place where its trees live.

    `history`: its unvoided events in order of occurrence (with `place.checked` of its places and
    the forcing of its liner lot); `days` gives the calendar day of each by index, where
    `occurred` is a time. `live`: place → stage → trees. `plans`: see `plans_in_force`.
    """
    return due_by_facts(lot, facts_by_place(lot.lot, history, days), list(plans), live)


def due_by_facts(
    lot: CheckedLot,
    facts: Mapping[str, PlaceFacts],
    in_force: Sequence[CheckPlan],
    live: Mapping[str, Mapping[str, int]],
) -> list[DueCheck]:
    """The same by what was done at each place."""
    found: list[DueCheck] = []
    for place, stages in sorted(live.items()):
        here = facts.get(place, PlaceFacts())
        for plan in chosen_plans(in_force, lot.crop, lot.method, stages):
            trees = stages.get(plan.stage, 0) if plan.stage else sum(stages.values())
            check = _due(lot, place, plan, here, trees)
            if check is not None:
                found.append(check)
    return found


def plans_in_force(catalogue: Iterable[CheckPlan]) -> list[CheckPlan]:
    """The catalogue's plans before the defaults.

    A plan with a default's code takes its place, and switches it off when it is retired.
    """
    own = list(catalogue)
    codes = {plan.code for plan in own}
    return [plan for plan in own if not plan.retired] + [
        plan for plan in DEFAULT_PLANS if plan.code not in codes
    ]


def chosen_plans(
    plans: Sequence[CheckPlan],
    crop: str | None,
    method: str | None,
    stages: Mapping[str, int],
) -> list[CheckPlan]:
    """For each check the plan that fits best: the catalogue's own first, then the most specific.

    Between plans that are as specific, method counts before crop, crop before stage, and the
    first code wins.
    """
    defaults = {id(plan) for plan in DEFAULT_PLANS}
    best: dict[str, tuple[tuple[bool, bool, bool, bool], CheckPlan]] = {}
    for plan in sorted(plans, key=lambda plan: plan.code):
        if (
            plan.crop not in (None, crop)
            or plan.method not in (None, method)
            or (plan.stage is not None and not stages.get(plan.stage))
        ):
            continue
        rank = (
            id(plan) not in defaults,
            plan.method is not None,
            plan.crop is not None,
            plan.stage is not None,
        )
        held = best.get(plan.check)
        if held is None or rank > held[0]:
            best[plan.check] = (rank, plan)
    return [plan for _, plan in sorted(best.values(), key=lambda item: item[1].code)]


def _due(
    lot: CheckedLot, place: str, plan: CheckPlan, facts: PlaceFacts, trees: int
) -> DueCheck | None:
    done = _last_done(plan, facts)
    anchor = _anchor(lot, plan, facts, done)
    if anchor is None:
        return None
    first, slack = plan.due_days, plan.overdue_days - plan.due_days
    if plan.after != "last" and done is not None:
        if plan.every_days is None:
            return None
        if done >= anchor:
            anchor, first = done, plan.every_days
    due_on = anchor + timedelta(days=first)
    return DueCheck(
        lot=lot.lot,
        place=place,
        check=plan.check,
        plan=plan.code,
        after=plan.after,
        counted_from=anchor,
        due_on=due_on,
        overdue_on=due_on + timedelta(days=max(slack, 0) + 1),
        last_done=done,
        trees=trees,
        source=plan.source,
    )


def _last_done(plan: CheckPlan, facts: PlaceFacts) -> date | None:
    """The last day on which one of the plan's events was recorded.

    A plan whose check is the name of a work is done by that work alone.
    """
    names = [
        f"work.done/{plan.check}" if name == "work.done" and plan.check in _WORKS else name
        for name in plan.done_by
    ]
    days = [facts.last[name] for name in names if name in facts.last]
    return max(days, default=None)


def _anchor(lot: CheckedLot, plan: CheckPlan, facts: PlaceFacts, done: date | None) -> date | None:
    """The day from which the plan's days count; None when it has not come yet."""
    start = lot.grafted_on
    if lot.opened_on is not None:
        start = max(start, lot.opened_on) if start else lot.opened_on
    if plan.after == "grafted":
        return start
    if plan.after == "last":
        return done or start
    day = facts.first.get(plan.after)
    if day is None and lot.opened_on is not None and plan.stage in ("pushed", "ready"):
        # Trees further on when the books were opened: it was done at some time before.
        return lot.opened_on
    # Tops bent before grafting: the days count from the grafting.
    return max(day, start) if day and start else day


def look_due(
    last_look: date | None, standing_since: date, every_days: int
) -> tuple[date, date, date]:
    """A look at a place with live trees: the day counted from, the day due, the first overdue."""
    start = max(last_look, standing_since) if last_look else standing_since
    due_on = start + timedelta(days=every_days)
    return start, due_on, due_on + timedelta(days=1)


State = Literal["upcoming", "due", "overdue"]


def state_on(today: date, due_on: date, overdue_on: date) -> tuple[State, int]:
    """The state of a check on a site's day, and by how many days it is overdue."""
    if today >= overdue_on:
        return "overdue", (today - overdue_on).days + 1
    return ("due" if today >= due_on else "upcoming"), 0
