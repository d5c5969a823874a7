"""Overrides of promises, looked at day by day and by a reckoning of another kind."""

from hypothesis import given
from hypothesis import strategies as st

from service.trade.overriding import Ruling, first_day, told
from service.trade.promising import FOR_EVER, Due, Step, left, steps_of
from service.trade.supply import OutKey, covers

ANY, FIRST = "", "first"
SITES = ("", "C", "V")
SETS: list[OutKey] = [("N", "R", "L", grade, site) for grade in (ANY, FIRST) for site in SITES]
# Days of the small calendar that is looked through.
LAST = 40


def at(steps: list[Step], day: int) -> int:
    (one,) = [step for step in steps if step.first <= day <= step.last]
    return one.quantity


days = st.integers(1, LAST)
supplies = st.fixed_dictionaries(
    {each: st.lists(st.integers(0, 9), min_size=1, max_size=5) for each in SETS}
)


@st.composite
def rulings(draw: st.DrawFn) -> list[Ruling]:
    found = []
    for _ in range(draw(st.integers(0, 3))):
        first = draw(days)
        last = draw(st.integers(first, LAST))
        found.append(
            Ruling(draw(st.sampled_from(SETS)), Step(first, last, draw(st.integers(0, 20))))
        )
    return found


dues = st.lists(st.builds(Due, days, st.integers(1, 5)), max_size=3)


def base_of(supply: dict[OutKey, list[int]]) -> dict[OutKey, list[Step]]:
    return {each: steps_of(1, quantities) for each, quantities in supply.items()}


def reckoned(
    of: OutKey, base: dict[OutKey, list[Step]], said: list[Ruling], asked: int, day: int
) -> int:
    """What counts on a day, of a claim for the day `asked`: the words of the rule, one by one."""
    counting = [one for one in said if one.days.last >= asked and one.days.first <= day]

    def itself(each: OutKey, otherwise: int) -> int:
        own = [one.days for one in counting if one.of == each]
        for step in reversed(own):
            if day <= step.last:
                return step.quantity
        return max([otherwise, *(step.quantity for step in own)])

    moved = at(base[of], day)
    narrower = {one.of for one in counting if covers(of, one.of) and one.of != of}
    for each in narrower:
        if not any(covers(other, each) for other in narrower - {each}):
            moved += itself(each, at(base[each], day)) - at(base[each], day)
    return itself(of, moved)


@given(supplies, rulings(), days)
def test_each_day_is_what_the_rule_says(
    supply: dict[OutKey, list[int]], said: list[Ruling], asked: int
) -> None:
    base = base_of(supply)
    for of in SETS:
        steps = told(of, base.__getitem__, said, asked)
        for day in range(1, LAST + 30):
            assert at(steps, day) == reckoned(of, base, said, asked, day)
        assert steps[-1].last == FOR_EVER


@given(supplies, rulings(), dues, st.integers(1, 20), days)
def test_the_first_day_is_the_first_on_which_it_can_be_promised(
    supply: dict[OutKey, list[int]], said: list[Ruling], due: list[Due], count: int, today: int
) -> None:
    base = base_of(supply)
    for of in SETS:
        found = first_day(of, base.__getitem__, said, due, count, today)
        by_trial = next(
            (
                day
                for day in range(today, LAST + 60)
                if left(told(of, base.__getitem__, said, day), due, day) >= count
            ),
            None,
        )
        assert found == by_trial


@given(supplies, dues, st.integers(1, 20), days)
def test_what_is_promised_stays_covered_on_its_day(
    supply: dict[OutKey, list[int]], due: list[Due], count: int, day: int
) -> None:
    """Taking in what can be promised leaves what is promised for a day there on that day."""
    steps = steps_of(1, supply[SETS[0]])
    if left(steps, due, 1) < 0 or left(steps, due, day) < count:
        return
    both = [*due, Due(day, count)]
    for each in {one.day for one in both}:
        assert sum(one.quantity for one in both if one.day <= each) <= at(steps, each)


def test_one_site_told_of_more_gives_all_sites_as_much_more() -> None:
    base = {each: steps_of(1, [10 if each[4] else 25]) for each in SETS}
    said = [Ruling(("N", "R", "L", ANY, "C"), Step(5, 20, 60))]
    wide = told(("N", "R", "L", ANY, ""), base.__getitem__, said, 1)
    assert [at(wide, day) for day in (4, 5, 20, 21)] == [25, 75, 75, 75]
    # For a day after it the forecast counts alone.
    later = told(("N", "R", "L", ANY, ""), base.__getitem__, said, 21)
    assert [at(later, day) for day in (5, 21)] == [25, 25]
