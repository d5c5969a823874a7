"""Push observations by hand: intervals between walks, and what is never known."""

from datetime import date

from service.trade.push import observations
from tests.support.lot_story import counted, graded, grafted, lost, moved, told, unwrapped


def _seen(*history, grafted_on: str | None = "2026-03-05") -> list[tuple]:
    """place, outcome, after, by, looked before, trees; days as text."""
    day = None if grafted_on is None else date.fromisoformat(grafted_on)
    return [
        (one.place, one.outcome, _text(one.after), _text(one.by), one.seen_before, one.trees)
        for one in observations("T1", list(history), day)
    ]


def _text(day: date | None) -> str | None:
    return None if day is None else day.isoformat()[5:]


def test_walk_by_walk() -> None:
    seen = _seen(
        grafted("2026-03-05", 24),
        counted("2026-03-19", 0, 24),
        counted("2026-03-26", 10, 14),
        counted("2026-04-02", 18, 4, 2),
    )
    assert seen == [
        ("TB1", "pushed", "03-19", "03-26", True, 10),
        ("TB1", "failed", "03-26", "04-02", True, 2),
        ("TB1", "pushed", "03-26", "04-02", True, 8),
        ("TB1", "waiting", "04-02", None, True, 4),
    ]


def test_the_first_walk_knows_only_the_day_of_grafting() -> None:
    assert _seen(grafted("2026-03-05", 24), counted("2026-03-26", 10, 14)) == [
        ("TB1", "pushed", "03-05", "03-26", False, 10),
        ("TB1", "waiting", "03-26", None, True, 14),
    ]


def test_never_walked_is_known_from_the_day_of_grafting_alone() -> None:
    assert _seen(grafted("2026-03-05", 24)) == [("TB1", "waiting", "03-05", None, False, 24)]


def test_taken_over_pushed_is_left_censored() -> None:
    line = {"kind": "trees", "lot": "T1", "size": "P9", "place": "TB1"}
    opened = told(
        "stock.opened",
        "2026-04-01",
        lines=[
            line | {"stage": "pushed", "count": 7},
            line | {"stage": "grafted", "count": 5},
            line | {"stage": "ready", "count": 3},
        ],
    )
    assert _seen(opened, counted("2026-04-08", 9, 3), grafted_on=None) == [
        ("TB1", "pushed", None, "04-01", False, 7),
        ("TB1", "pushed", "04-01", "04-08", True, 2),
        ("TB1", "waiting", "04-08", None, True, 3),
    ]


def test_a_walk_told_late_parts_the_interval() -> None:
    early, late = counted("2026-03-19", 4, 20), counted("2026-03-26", 10, 14)
    assert _seen(grafted("2026-03-05", 24), early, late) == [
        ("TB1", "pushed", "03-05", "03-19", False, 4),
        ("TB1", "pushed", "03-19", "03-26", True, 6),
        ("TB1", "waiting", "03-26", None, True, 14),
    ]


def test_what_could_not_be_told_was_not_seen_waiting() -> None:
    seen = _seen(
        grafted("2026-03-05", 24),
        counted("2026-03-19", 0, 20, unclear=4),
        counted("2026-03-26", 10, 14),
    )
    # four of the ten may be those that were unclear on the 19th; the others were seen to wait then
    assert ("TB1", "pushed", "03-05", "03-26", False, 4) in seen
    assert ("TB1", "pushed", "03-19", "03-26", True, 6) in seen


def test_trees_carry_along_what_was_seen_of_them() -> None:
    seen = _seen(
        grafted("2026-03-05", 24),
        counted("2026-03-19", 0, 24),
        moved("2026-03-20", 10, "TB1", "TB2"),
        counted("2026-03-26", 6, 4, place="TB2"),
        # moved to others of which less is known
        moved("2026-03-27", 4, "TB2", "TB1"),
        counted("2026-04-02", 18, 0),
    )
    assert seen == [
        ("TB2", "pushed", "03-19", "03-26", True, 6),
        ("TB1", "pushed", "03-19", "04-02", True, 18),
    ]


def test_a_lower_count_takes_the_newest_back() -> None:
    seen = _seen(
        grafted("2026-03-05", 24),
        counted("2026-03-19", 6, 18),
        counted("2026-03-26", 12, 12),
        counted("2026-04-02", 9, 15),
    )
    assert seen == [
        ("TB1", "pushed", "03-05", "03-19", False, 6),
        ("TB1", "pushed", "03-19", "03-26", True, 3),
        ("TB1", "waiting", "04-02", None, True, 15),
    ]


def test_pushed_and_then_dead_has_pushed() -> None:
    seen = _seen(
        grafted("2026-03-05", 24),
        counted("2026-03-19", 10, 14),
        counted("2026-03-26", 7, 14, 3),
        lost("2026-03-28", 2, "frost", "pushed"),
    )
    assert [(outcome, trees) for _, outcome, _, _, _, trees in seen] == [
        ("pushed", 10),
        ("waiting", 14),
    ]


def test_taken_for_dead_and_pushed_after_all() -> None:
    seen = _seen(
        grafted("2026-03-05", 24),
        counted("2026-03-19", 0, 20, 4),
        counted("2026-03-26", 3, 20, 1),
    )
    assert seen == [
        ("TB1", "failed", "03-05", "03-19", False, 1),
        ("TB1", "pushed", "03-05", "03-26", False, 3),
        ("TB1", "waiting", "03-26", None, True, 20),
    ]


def test_trees_that_nobody_knew_of_were_not_seen_before() -> None:
    seen = _seen(
        grafted("2026-03-05", 12),
        counted("2026-03-19", 0, 12),
        counted("2026-03-26", 15, 0),
    )
    assert seen == [
        ("TB1", "pushed", "03-05", "03-26", False, 3),
        ("TB1", "pushed", "03-19", "03-26", True, 12),
    ]


def test_losses_and_leavings_before_a_push() -> None:
    line = {"lot": "T1", "place": "TB1", "stage": "grafted", "size": "P9", "count": 2}
    found = observations(
        "T1",
        [
            grafted("2026-03-05", 24),
            counted("2026-03-19", 0, 24),
            lost("2026-03-22", 3, "breakage"),
            unwrapped("2026-03-24", 20, 1),
            told("trees.sold", "2026-03-25", customer="cust-1", lines=[line]),
            graded("2026-03-30", "grafted", {"count": 18, "stage": "ready"}),
        ],
        date(2026, 3, 5),
    )
    assert [(o.outcome, o.cause, _text(o.after), _text(o.by), o.trees) for o in found] == [
        ("lost", "breakage", "03-19", "03-22", 3),
        ("failed", None, "03-19", "03-24", 1),
        # ready without a walk in between: they pushed some time before
        ("pushed", None, "03-19", "03-30", 18),
        ("gone", "sold", "03-19", None, 2),
    ]
    assert sum(o.trees for o in found) == 24


def test_two_walks_on_one_day_and_the_longest_day_of_the_clock() -> None:
    """The site's days count: 29 March has 23 hours at Madrid, and is a day like others."""
    seen = _seen(
        grafted("2026-03-28", 24),
        counted("2026-03-29", 0, 24),
        counted("2026-03-29", 5, 19),
        counted("2026-03-30", 9, 15),
        grafted_on="2026-03-28",
    )
    assert seen == [
        ("TB1", "pushed", "03-28", "03-29", True, 5),
        ("TB1", "pushed", "03-29", "03-30", True, 4),
        ("TB1", "waiting", "03-30", None, True, 15),
    ]
