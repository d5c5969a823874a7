"""What became of pushed trees, by hand: intervals between gradings, and what took them."""

import random
from collections import Counter

import pytest

from service.trade.growth import growths
from service.trade.lot_walk import Told, Walk
from service.trade.push import observations
from tests.support.lot_story import HERE, counted, graded, grafted, lost, moved, told, unwrapped

FIRST = {"stage": "ready", "grade": "first"}
BEFORE_READY = ("growing", "dead", "culled", "gone")


def _seen(*history: Told) -> list[tuple]:
    """outcome, cause, after, by, grade, trees; days as text."""
    return [
        (
            one.outcome,
            one.cause,
            one.after and one.after.isoformat()[5:],
            one.by and one.by.isoformat()[5:],
            one.grade,
            one.trees,
        )
        for one in growths("T1", list(history))
    ]


def _pushed(count: int = 24) -> list[Told]:
    return [grafted("2026-03-05", count), counted("2026-04-02", count, 0)]


def _not_yet(count: int) -> dict:
    return {"count": count, "stage": "pushed"}


def _sold(day: str, count: int, stage: str = "ready", **more) -> Told:
    line = HERE | {"stage": stage, "count": count} | more
    return told("trees.sold", day, customer="cust-1", lines=[line])


def _stock_counted(day: str, stage: str, number: int, **more) -> Told:
    line = HERE | {"stage": stage, "counted": number} | more
    return told("stock.counted", day, lines=[line], reason="quarterly count")


def test_grading_by_grading() -> None:
    assert _seen(
        *_pushed(),
        graded("2026-09-01", "pushed", {"count": 5} | FIRST, _not_yet(19)),
        graded("2026-09-27", "pushed", {"count": 10} | FIRST, {"count": 2} | FIRST, _not_yet(7)),
    ) == [
        # nobody had looked before: some time since the push
        ("ready", None, None, "09-01", "first", 5),
        ("ready", None, "09-01", "09-27", "first", 12),
        ("growing", None, "09-27", None, "", 7),
    ]


def test_a_push_count_is_no_look_at_what_is_fit_for_sale() -> None:
    seen = _seen(
        *_pushed(),
        counted("2026-04-09", 24, 0),
        graded("2026-09-01", "pushed", {"count": 24} | FIRST),
    )
    assert seen == [("ready", None, None, "09-01", "first", 24)]
    assert _seen(*_pushed()) == [("growing", None, None, None, "", 24)]


def test_what_waits_has_no_row_until_it_has_pushed() -> None:
    history = [grafted("2026-03-05", 24), counted("2026-04-02", 10, 12, 2)]
    assert _seen(*history) == [("growing", None, None, None, "", 10)]
    # graded ready straight away: it pushed, unseen, on the way there
    ready = graded("2026-09-01", "grafted", {"count": 3} | FIRST, {"count": 9, "stage": "grafted"})
    assert ("ready", None, None, "09-01", "first", 3) in _seen(*history, ready)
    pushed = graded("2026-09-01", "grafted", _not_yet(5), {"count": 7, "stage": "grafted"})
    assert ("growing", None, "09-01", None, "", 5) in _seen(*history, pushed)


def test_dead_culled_and_sold_before_they_were_ready() -> None:
    seen = _seen(
        *_pushed(),
        lost("2026-08-01", 1, "heat", "pushed"),
        graded("2026-09-01", "pushed", _not_yet(23)),
        lost("2026-09-10", 2, "frost", "pushed"),
        lost("2026-09-20", 4, "culled", "pushed"),
        _sold("2026-09-22", 3, "pushed"),
        counted("2026-09-25", 12, 0, 1, removed=[{"count": 1, "cause": "pest"}]),
    )
    assert seen == [
        ("dead", "heat", None, "08-01", "", 1),
        ("dead", "frost", "09-01", "09-10", "", 2),
        ("culled", "culled", "09-01", "09-20", "", 4),
        ("gone", "sold", "09-01", "09-22", "", 3),
        # the scion is dead, the stock still stands
        ("dead", None, "09-01", "09-25", "", 1),
        ("dead", "pest", "09-01", "09-25", "", 1),
        ("growing", None, "09-01", None, "", 12),
    ]


def test_what_became_of_ready_trees_is_told_beside_their_being_ready() -> None:
    seen = _seen(
        *_pushed(),
        graded("2026-09-01", "pushed", {"count": 10} | FIRST, _not_yet(14)),
        graded("2026-09-27", "pushed", {"count": 8} | FIRST, _not_yet(6)),
        _sold("2026-10-01", 12, grade="first"),
        told(
            "trees.lost",
            "2026-10-05",
            **HERE,
            stage="ready",
            grade="first",
            count=1,
            cause="culled",
        ),
    )
    assert [row for row in seen if row[0] in ("ready", "growing")] == [
        ("ready", None, None, "09-01", "first", 10),
        ("ready", None, "09-01", "09-27", "first", 8),
        ("growing", None, "09-27", None, "", 6),
    ]
    # what was ready first goes first
    assert [row for row in seen if row[0].startswith("ready_")] == [
        ("ready_gone", "sold", "09-01", "10-01", "first", 10),
        ("ready_gone", "sold", "09-27", "10-01", "first", 2),
        ("ready_dead", "culled", "09-27", "10-05", "first", 1),
    ]


def test_graded_too_high_is_taken_back() -> None:
    down = told(
        "trees.graded",
        "2026-09-10",
        **HERE,
        stage="ready",
        grade="first",
        outcomes=[
            {"count": 4, "stage": "pushed"},
            {"count": 3, "stage": "ready", "grade": "second"},
        ],
    )
    seen = _seen(
        *_pushed(), graded("2026-09-01", "pushed", {"count": 10} | FIRST, _not_yet(14)), down
    )
    assert seen == [
        # a lower grade is still ready; the row says the grade they were first given
        ("ready", None, None, "09-01", "first", 6),
        ("growing", None, "09-01", None, "", 14),
        ("growing", None, "09-10", None, "", 4),
    ]


def test_back_from_the_customer_and_found_again() -> None:
    line = HERE | {"stage": "ready", "grade": "first", "count": 2}
    seen = _seen(
        *_pushed(),
        graded("2026-09-01", "pushed", {"count": 10} | FIRST, _not_yet(14)),
        _sold("2026-09-05", 6, grade="first"),
        told("trees.returned", "2026-09-08", customer="cust-1", reason="too many", lines=[line]),
        _stock_counted("2026-09-12", "pushed", 11),
        _stock_counted("2026-09-19", "pushed", 13),
    )
    assert ("ready_gone", "sold", "09-01", "09-05", "first", 4) in seen
    assert ("gone", "not_found", "09-01", "09-12", "", 1) in seen
    assert ("growing", None, "09-01", None, "", 13) in seen


def test_a_count_that_finds_ready_what_stood_as_pushed_is_like_a_grading() -> None:
    both = [HERE | {"stage": "pushed", "counted": 20}, HERE | {"stage": "ready", "counted": 4}]
    seen = _seen(*_pushed(), told("stock.counted", "2026-09-12", lines=both, reason="count"))
    assert ("ready", None, None, "09-12", "", 4) in seen
    assert sum(row[-1] for row in seen) == 24


def test_dead_of_scion_and_alive_after_all() -> None:
    seen = _seen(*_pushed(), counted("2026-05-01", 20, 0, 4), counted("2026-05-08", 23, 0, 1))
    assert seen == [
        ("dead", None, None, "05-01", "", 1),
        ("growing", None, None, None, "", 23),
    ]


def test_not_pushed_after_all_is_in_no_row() -> None:
    seen = _seen(*_pushed(), counted("2026-04-09", 15, 9))
    assert seen == [("growing", None, None, None, "", 15)]


def test_ready_when_it_came_is_left_out() -> None:
    line = {"kind": "trees", "lot": "T1", "size": "P9", "place": "TB1"}
    opened = told(
        "stock.opened",
        "2026-04-01",
        lines=[line | {"stage": "pushed", "count": 7}, line | {"stage": "ready", "count": 3}],
    )
    seen = _seen(opened, _sold("2026-05-01", 2), _stock_counted("2026-06-01", "ready", 4))
    assert seen == [("growing", None, None, None, "", 7)]


def test_what_a_grading_does_not_speak_of_was_not_seen() -> None:
    """Of twenty looked at, six are ready; which of the others leave later nobody can say."""
    seen = _seen(
        *_pushed(30),
        graded("2026-09-01", "pushed", {"count": 6} | FIRST, _not_yet(12)),
        graded("2026-09-27", "pushed", {"count": 8} | FIRST, _not_yet(16)),
    )
    assert seen == [
        ("ready", None, None, "09-01", "first", 6),
        # of 24 trees 12 had been seen: half of the eight
        ("ready", None, None, "09-27", "first", 4),
        ("ready", None, "09-01", "09-27", "first", 4),
        ("growing", None, "09-27", None, "", 16),
    ]


def test_sizes_sites_and_a_table_elsewhere() -> None:
    where = HERE | {"stage": "pushed"}
    sent = {"lot": "T1", "place": "TB2", "stage": "pushed", "size": "P4", "count": 10}
    here = {"lot": "T1", "place": "NT1", "stage": "pushed", "size": "P4"}
    rows = growths(
        "T1",
        [
            *_pushed(),
            told("trees.potted", "2026-06-01", **where, count=24, to_size="P4", to="TB2"),
            told("consignment.sent", "2026-06-10", consignment="K1", to_site="TARNA", lines=[sent]),
            told(
                "consignment.received",
                "2026-06-12",
                "TARNA",
                consignment="K1",
                lines=[here | {"count": 8, "dead": 2, "sent": 10}],
            ),
            told("trees.graded", "2026-09-01", "TARNA", **here, outcomes=[{"count": 8} | FIRST]),
        ],
    )
    assert [(r.site, r.outcome, r.cause, r.started, r.size, r.trees) for r in rows] == [
        ("TARNA", "dead", "dead_on_arrival", "P9", "P4", 2),
        ("TARNA", "ready", None, "P9", "P4", 8),
        ("CORIN", "growing", None, "P9", "P4", 14),
    ]


def test_two_gradings_on_one_day_and_the_longest_day_of_the_clock() -> None:
    """The site's days count: 25 October has 25 hours at Madrid, and is a day like others."""
    seen = _seen(
        *_pushed(),
        graded("2026-10-24", "pushed", _not_yet(24)),
        graded("2026-10-25", "pushed", {"count": 4} | FIRST, _not_yet(20)),
        graded("2026-10-25", "pushed", {"count": 5} | FIRST, _not_yet(15)),
        graded("2026-10-26", "pushed", {"count": 15} | FIRST),
    )
    assert seen == [
        ("ready", None, "10-24", "10-25", "first", 9),
        ("ready", None, "10-25", "10-26", "first", 15),
    ]


@pytest.mark.parametrize("seed", range(20))
def test_every_pushed_tree_is_in_one_row_whatever_happened(seed: int) -> None:
    """Against the push observations and a walk: two other ways to the same numbers of trees."""
    chance = random.Random(seed)
    history = [grafted("2026-03-05", 40), unwrapped("2026-03-30", 37, 3)]
    walk = Walk("T1")
    for number in range(14):
        day = f"2026-{4 + number // 2:02}-{5 + 14 * (number % 2):02}"
        _tell(history, chance, day)
    for one in history:
        for flow in walk.flows(one.event):
            walk.move(flow)
    rows = growths("T1", history)
    by = Counter[str]()
    for row in rows:
        by[row.outcome] += row.trees
        assert row.trees > 0
        assert row.after is None or row.by is None or row.after <= row.by
    pushed = sum(o.trees for o in observations("T1", history, None) if o.outcome == "pushed")
    assert by["ready"] + sum(by[outcome] for outcome in BEFORE_READY) == pushed
    standing = Counter[str]()
    for key, count in walk.standing.items():
        standing[key.stage] += count
    assert by["growing"] == standing["pushed"]
    assert by["ready"] - by["ready_dead"] - by["ready_gone"] == standing["ready"]


def _tell(history: list[Told], chance: random.Random, day: str) -> None:
    """Something that may happen to the lot's trees at TB1, by what stands there."""
    walk = Walk("T1")
    for one in history:
        for flow in walk.flows(one.event):
            walk.move(flow)
    there = Counter[str]()
    for key, count in walk.standing.items():
        if key.place == "TB1" and count > 0:
            there[key.stage] += count
    n, g, r = there["pushed"], there["grafted"], there["ready"]
    some = chance.randint(0, n)
    choices = [
        counted(day, n + g - min(1, g), min(1, g), there["failed"]),
        counted(day, max(n - 1, 0), g, there["failed"] + min(1, n)),
    ]
    if some:
        ready = chance.randint(0, some)
        parts = [{"count": ready, "stage": "ready"}] if ready else []
        rest = [_not_yet(some - ready)] if some > ready else []
        choices += 3 * [graded(day, "pushed", *parts, *rest)]
        choices += [lost(day, some // 4 + 1, chance.choice(["frost", "culled"]), "pushed")]
        choices += [moved(day, 1, "TB1", "TB2", "pushed")]
    if r:
        choices += [
            _sold(day, r // 2 + 1),
            lost(day, 1, "pest", "ready"),
            graded(day, "ready", {"count": 1, "stage": "pushed"}),
            _stock_counted(day, "ready", r - 1),
        ]
    history.append(chance.choice(choices))
