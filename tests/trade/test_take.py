"""Take by hand: every graft read once, and what was not read told apart."""

import pytest

from service.trade.take import Take, take_of, wilson
from tests.support.lot_story import counted, graded, grafted, lost, moved, told, unwrapped


def _take(*history) -> Take:
    found = take_of("T1", list(history))
    # Every graft is in exactly one place.
    gone = sum(found.gone.values())
    assert found.grafted == found.alive + found.failed + found.not_read + gone
    return found


# Newcombe 1998, Statistics in Medicine 17: 857-872, table I (method 3, score without continuity
# correction): the same examples as statsmodels' proportion_confint(method="wilson"). The last is
# the closed form n / (n + z^2) of all hits.
@pytest.mark.parametrize(
    ("hits", "n", "low", "high"),
    [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611),
        (1, 29, 0.0061, 0.1718),
        (29, 29, 0.8830, 1.0),
    ],
)
def test_wilsons_interval_is_the_published_one(hits, n, low, high) -> None:
    interval = wilson(hits, n)
    assert interval is not None
    assert interval == pytest.approx((low, high), abs=0.00005)
    assert interval[0] <= hits / n <= interval[1]


def test_no_trials_no_interval() -> None:
    assert wilson(0, 0) is None


def test_a_lot_read_at_once() -> None:
    found = _take(grafted("2026-03-05", 24), unwrapped("2026-03-20", 21, 3))
    assert (found.grafted, found.alive, found.failed, found.not_read) == (24, 21, 3, 0)


def test_what_is_left_wrapped_is_read_later_and_the_others_not_again() -> None:
    first = [grafted("2026-03-05", 24), unwrapped("2026-03-20", 18, 1, left=5)]
    found = _take(*first)
    assert (found.alive, found.failed, found.not_read) == (18, 1, 5)
    # told of those five alone, or of all that live at the table
    for later in (unwrapped("2026-03-27", 3, 2), unwrapped("2026-03-27", 21, 2)):
        found = _take(*first, later)
        assert (found.alive, found.failed, found.not_read) == (21, 3, 0)


def test_lost_before_the_reading_is_told_by_cause_and_not_in_the_take() -> None:
    found = _take(
        grafted("2026-03-05", 24),
        lost("2026-03-10", 2, "breakage"),
        lost("2026-03-12", 1, "culled"),
        unwrapped("2026-03-20", 20, 1),
        lost("2026-04-01", 3, "frost"),
    )
    assert found.gone == {"breakage": 2, "culled": 1}
    assert (found.alive, found.failed) == (20, 1)
    assert found.growing == 17


def test_of_two_places_each_is_read_for_itself() -> None:
    history = [
        grafted("2026-03-05", 24),
        moved("2026-03-06", 10, "TB1", "TB2"),
        unwrapped("2026-03-20", 13, 1),
        # of the table that was read
        lost("2026-03-22", 2, "breakage"),
        # of the one that was not
        lost("2026-03-22", 1, "heat", place="TB2"),
    ]
    found = _take(*history)
    assert (found.alive, found.failed, found.not_read, found.gone) == (13, 1, 9, {"heat": 1})
    found = _take(*history, unwrapped("2026-03-25", 9, place="TB2"))
    assert (found.alive, found.failed, found.not_read) == (22, 1, 0)


def test_where_read_and_unread_stand_together_the_read_ones_are_taken_to_leave() -> None:
    found = _take(
        grafted("2026-03-05", 24),
        unwrapped("2026-03-20", 18, 1, left=5),
        lost("2026-03-22", 20, "frost"),
    )
    # 18 of them were read; two of the five cannot have been
    assert (found.alive, found.not_read, found.gone) == (18, 3, {"frost": 2})


def test_a_push_is_no_take() -> None:
    """Buds that push through the film are counted, but nobody has read the take."""
    found = _take(grafted("2026-03-05", 24), counted("2026-03-30", 10, 12, 2))
    assert (found.alive, found.failed) == (0, 0)
    assert (found.not_read, found.not_read_pushed, found.not_read_failed) == (24, 10, 2)
    # what is read afterwards are the twelve that had not pushed
    found = _take(
        grafted("2026-03-05", 24), counted("2026-03-30", 10, 12, 2), unwrapped("2026-04-02", 11, 1)
    )
    assert (found.alive, found.failed) == (11, 1)
    assert (found.not_read, found.not_read_pushed, found.not_read_failed) == (12, 10, 2)


def test_dead_after_the_reading_is_no_failed_take() -> None:
    found = _take(
        grafted("2026-03-05", 24),
        unwrapped("2026-03-20", 24),
        counted("2026-04-05", 15, 5, 4),
    )
    assert (found.alive, found.failed) == (24, 0)
    assert found.growing == 20


def test_saleable_is_what_reached_ready_less_what_was_graded_down() -> None:
    found = _take(
        grafted("2025-03-05", 24),
        unwrapped("2025-03-20", 22, 2),
        counted("2025-04-10", 22, 0, 2),
        graded(
            "2025-11-01",
            "pushed",
            {"count": 12, "stage": "ready", "grade": "first"},
            {"count": 6, "stage": "ready", "grade": "second"},
        ),
        told(
            "trees.graded",
            "2025-11-20",
            lot="T1",
            place="TB1",
            size="P9",
            stage="ready",
            grade="second",
            outcomes=[
                {"count": 2, "stage": "ready", "grade": "first"},
                {"count": 1, "stage": "pushed"},
            ],
        ),
        lost("2025-12-01", 1, "frost", "pushed"),
    )
    assert (found.ready, found.growing, found.alive) == (17, 4, 22)


def test_regrafted_before_the_reading_leave_the_lot() -> None:
    regraft = told(
        "trees.regrafted",
        "2026-03-12",
        lot="T2",
        of="T1",
        stage="grafted",
        of_place="TB1",
        size="P9",
        from_=[{"bag": "B1", "lot": "BW1", "buds": 4, "place": "BOX"}],
        method="t_bud",
        count=4,
        place="TB1",
    )
    found = _take(grafted("2026-03-05", 24), regraft, unwrapped("2026-03-20", 20))
    assert (found.gone, found.alive) == ({"regrafted": 4}, 20)
    other = take_of("T2", [regraft])
    assert (other.grafted, other.not_read) == (4, 4)


def test_a_count_that_misses_some_and_one_that_finds_them() -> None:
    missing = told(
        "stock.counted",
        "2026-03-10",
        lines=[{"lot": "T1", "place": "TB1", "stage": "grafted", "size": "P9", "counted": 21}],
        reason="walked",
    )
    found = _take(grafted("2026-03-05", 24), missing)
    assert (found.not_read, found.gone) == (21, {"not_found": 3})
    again = told(
        "stock.counted",
        "2026-03-11",
        lines=[{"lot": "T1", "place": "TB1", "stage": "grafted", "size": "P9", "counted": 23}],
        reason="walked",
    )
    found = _take(grafted("2026-03-05", 24), missing, again)
    assert (found.not_read, found.gone) == (23, {"not_found": 1})


def test_grafts_taken_over_when_the_books_were_opened_are_said_to_be() -> None:
    opened = told(
        "stock.opened",
        "2026-03-10",
        lines=[
            {
                "kind": "trees",
                "lot": "T1",
                "stage": "grafted",
                "size": "P9",
                "place": "TB1",
                "count": 30,
            },
            {
                "kind": "trees",
                "lot": "T1",
                "stage": "ready",
                "size": "P9",
                "place": "TB1",
                "count": 5,
            },
        ],
    )
    found = _take(opened, unwrapped("2026-03-20", 27, 3))
    assert (found.grafted, found.opened, found.alive, found.failed) == (30, 30, 27, 3)
    assert (found.ready, found.growing, found.grafters) == (0, 27, {})


def test_more_is_never_saleable_than_was_grafted() -> None:
    """Trees that had pushed when the books were opened are grafts of the lot as well."""
    lines = [
        {"kind": "trees", "lot": "T1", "stage": s, "size": "P9", "place": "TB1", "count": n}
        for s, n in (("grafted", 20), ("pushed", 30), ("failed", 2))
    ]
    opened = told("stock.opened", "2026-03-10", lines=lines)
    found = _take(opened)
    assert (found.grafted, found.opened, found.not_read_pushed, found.growing) == (50, 50, 30, 50)
    found = _take(opened, graded("2026-09-01", "pushed", {"count": 30, "stage": "ready"}))
    assert (found.grafted, found.ready, found.growing) == (50, 30, 20)
    # found by a count: nobody knows of which grafting
    more = told(
        "stock.counted",
        "2026-09-02",
        lines=[{"lot": "T1", "place": "TB1", "stage": "grafted", "size": "P9", "counted": 60}],
        reason="walked",
    )
    rest = graded("2026-09-03", "grafted", {"count": 60, "stage": "ready"})
    found = _take(opened, more, rest)
    assert (found.grafted, found.ready) == (50, 50)


def test_who_grafted_how_many() -> None:
    one = _take(grafted("2026-03-05", 24, ("p-01", 24)), grafted("2026-03-06", 6, ("p-01", 6)))
    assert (one.grafters, one.alone) == ({"p-01": 30}, True)
    two = _take(grafted("2026-03-05", 24, ("p-01", 14), ("p-02", 10)))
    assert (two.grafters, two.alone) == ({"p-01": 14, "p-02": 10}, False)
    unnamed = _take(grafted("2026-03-05", 24), grafted("2026-03-06", 6, ("p-01", 6)))
    assert (unnamed.grafters, unnamed.alone) == ({"": 24, "p-01": 6}, False)
