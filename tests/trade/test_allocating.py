"""Which lots a line of a sale is taken from. The order of going is common practice, no source."""

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.trade.allocating import Limit, Stand, choose, ready_since


def stand(lot: str, place: str, count: int, day: int = 1, **more: object) -> Stand:
    known = {"grade": "", "since": date(2026, 3, day)} | more
    return Stand(lot=lot, place=place, count=count, **known)  # type: ignore[arg-type]


def told(count: int, stands: list[Stand], *limits: Limit, **kept: int) -> list[tuple[object, ...]]:
    return [
        (one.lot, one.place, one.count) if not one.grade else (one.lot, one.place, one.grade,
                                                               one.count)
        for one in choose(count, stands, limits, kept)
    ]  # fmt: skip


OLD, NEW, NEWEST = stand("OLD", "T1", 5, 1), stand("NEW", "T2", 20, 5), stand("LAST", "T3", 30, 9)


def test_the_lot_that_has_been_ready_longest_goes_first() -> None:
    assert told(5, [NEWEST, NEW, OLD]) == [("OLD", "T1", 5)]
    assert told(4, [NEWEST, NEW, OLD]) == [("OLD", "T1", 4)]


def test_a_line_is_of_one_lot_where_one_has_enough() -> None:
    assert told(20, [OLD, NEWEST, NEW]) == [("NEW", "T2", 20)]
    assert told(21, [OLD, NEWEST, NEW]) == [("LAST", "T3", 21)]


def test_where_none_has_enough_the_oldest_are_used_up_first() -> None:
    assert told(52, [NEWEST, NEW, OLD]) == [("OLD", "T1", 5), ("NEW", "T2", 20), ("LAST", "T3", 27)]
    # all there is, and no more
    assert sum(one[-1] for one in told(99, [NEWEST, NEW, OLD])) == 55


def test_what_is_kept_for_the_customer_goes_first_and_the_rest_of_that_lot_after_it() -> None:
    assert told(4, [OLD, NEW, NEWEST], LAST=10) == [("LAST", "T3", 4)]
    assert told(15, [OLD, NEW, NEWEST], LAST=10) == [("LAST", "T3", 15)]
    kept_and_more = told(35, [OLD, NEW, NEWEST], LAST=10)
    assert kept_and_more == [("OLD", "T1", 5), ("NEW", "T2", 20), ("LAST", "T3", 10)]


def test_what_others_hold_of_a_lot_stays() -> None:
    held = Limit(lot="OLD", grade=None, most=2)
    assert told(5, [OLD, NEW], held) == [("NEW", "T2", 5)]
    assert told(22, [OLD, NEW], held) == [("OLD", "T1", 2), ("NEW", "T2", 20)]
    assert sum(one[-1] for one in told(99, [OLD, NEW], held)) == 22


def test_few_places_are_gone_to_and_a_small_one_is_cleared() -> None:
    places = [stand("A", "T1", 30), stand("A", "T2", 12), stand("A", "T3", 8)]
    assert told(8, places) == [("A", "T3", 8)]
    assert told(10, places) == [("A", "T2", 10)]
    assert told(40, places) == [("A", "T1", 30), ("A", "T2", 10)]
    assert told(50, places) == [("A", "T1", 30), ("A", "T2", 12), ("A", "T3", 8)]


def test_a_grade_that_is_promised_to_somebody_else_is_left_for_last() -> None:
    graded = [
        stand("A", "T1", 10, grade="first", asked_for=True),
        stand("A", "T1", 10, grade="second"),
    ]
    assert told(10, graded) == [("A", "T1", "second", 10)]
    assert told(12, graded) == [("A", "T1", "second", 10), ("A", "T1", "first", 2)]
    limit = Limit(lot="A", grade="first", most=1)
    assert sum(one[-1] for one in told(99, graded, limit)) == 11


@pytest.mark.parametrize(
    ("nets", "since"),
    [
        ([], None),
        ([(1, 10)], 1),
        ([(1, 10), (4, -10)], None),
        ([(1, 10), (3, 5), (4, -9)], 1),
        # those that came first left first, whatever the order of telling
        ([(4, -10), (3, 5), (1, 10)], 3),
        ([(1, 10), (2, 5), (3, 5), (9, -17)], 3),
    ],
)
def test_since_when_the_oldest_ready_trees_are_ready(
    nets: list[tuple[int, int]], since: int | None
) -> None:
    found = ready_since((date(2026, 3, day), net) for day, net in nets)
    assert found == (None if since is None else date(2026, 3, since))


PLACES = st.tuples(
    st.sampled_from("ABC"), st.sampled_from(["T1", "T2"]), st.sampled_from(["", "x"])
)
STOCK = st.dictionaries(PLACES, st.tuples(st.integers(1, 9), st.booleans()), max_size=8)
LIMITS = st.dictionaries(
    st.tuples(st.sampled_from("ABC"), st.sampled_from([None, "", "x"])), st.integers(0, 12)
)
KEPT = st.dictionaries(st.sampled_from("ABC"), st.integers(1, 9))


@settings(max_examples=150, deadline=None)
@given(stock=STOCK, most=LIMITS, kept=KEPT, count=st.integers(0, 40))
def test_whatever_stands_no_more_is_taken_than_may_be_and_all_that_is_asked_if_it_can_be(
    stock: dict[tuple[str, str, str], tuple[int, bool]],
    most: dict[tuple[str, str | None], int],
    kept: dict[str, int],
    count: int,
) -> None:
    since = {"A": 3, "B": 1, "C": 2}
    stands = [
        stand(lot, place, number, since[lot], grade=grade, asked_for=promised)
        for (lot, place, grade), (number, promised) in stock.items()
    ]
    limits = [Limit(lot=lot, grade=grade, most=left) for (lot, grade), left in most.items()]
    taken = choose(count, stands, limits, kept)
    by_place = {(one.lot, one.place, one.grade): one.count for one in taken}
    assert len(by_place) == len(taken)
    for where, number in by_place.items():
        assert 0 < number <= stock[where][0]

    def may_go(lot: str) -> int:
        """Of a lot: the grades, each within its limit, within that of the whole lot."""
        graded = {
            grade: min(
                sum(n for (of, _, g), (n, _) in stock.items() if (of, g) == (lot, grade)),
                most.get((lot, grade), 99),
            )
            for grade in ("", "x")
        }
        return min(sum(graded.values()), most.get((lot, None), 99))

    for lot in "ABC":
        mine = [one for one in taken if one.lot == lot]
        assert sum(one.count for one in mine) <= may_go(lot)
        for grade in ("", "x"):
            of_grade = sum(one.count for one in mine if one.grade == grade)
            assert of_grade <= most.get((lot, grade), 99)
    assert sum(by_place.values()) == min(count, sum(map(may_go, "ABC")))
    if not kept and any(may_go(lot) >= count for lot in "ABC"):
        whole = [lot for lot in "BCA" if may_go(lot) >= count]
        assert {one.lot for one in taken} <= {whole[0]}
