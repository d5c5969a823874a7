"""Unions of sites and grades against a greatest flow: with them, all claims are held to be covered
if and only if all can be served at once."""

from itertools import product

from hypothesis import example, given, settings
from hypothesis import strategies as st

from service.trade.crossing import ANY, Cross, crosses
from service.trade.drawn import Part, served
from service.trade.items import Item
from service.trade.promising import FOR_EVER, Step

ITEM = Item("NAVEL", "CARRIZO", "L2", "", False)
GRADES, SITES = ("first", "second", "third"), ("A", "B", "C")
CELLS = [Part(grade, site) for grade in GRADES for site in SITES]
PARTS = [Part(grade, site) for grade in ("", *GRADES) for site in (None, *SITES)]
SECOND = Part("second", None)


def _of(standing: dict[Part, int], part: Part) -> int:
    return sum(count for cell, count in standing.items() if part.holds(cell))


def _union(standing: dict[Part, int], cross: Cross) -> int:
    """As it is worked out of sites, grades and both."""
    (step,) = cross.there(SITES, lambda part: [Step(0, FOR_EVER, _of(standing, part))])
    return step.quantity


def _covered(claims: dict[Part, int], standing: dict[Part, int]) -> bool:
    plain = all(_of(claims, part) <= _of(standing, part) for part in PARTS)
    return plain and all(
        sum(count for part, count in claims.items() if cross.holds(part)) <= _union(standing, cross)
        for claim in claims
        for cross in crosses(ITEM, claims, [claim])
    )


@settings(max_examples=300)
@given(
    st.dictionaries(st.sampled_from(PARTS), st.integers(1, 4), max_size=6),
    st.dictionaries(st.sampled_from(CELLS), st.integers(1, 5), max_size=7),
)
@example(
    {Part("", "A"): 5, SECOND: 3}, {Part("first", "A"): 2, Part("second", "A"): 3, CELLS[1]: 3}
)
def test_what_is_covered_can_all_be_served(
    claims: dict[Part, int], standing: dict[Part, int]
) -> None:
    assert _covered(claims, standing) == (served(claims, standing) == sum(claims.values()))


@given(st.dictionaries(st.sampled_from(CELLS), st.integers(1, 5)))
def test_what_stands_is_counted_once(standing: dict[Part, int]) -> None:
    for sites, grades in product((("A",), ("A", "C")), (("second",), ("first", "second"))):
        cross = Cross(ITEM, sites, grades)
        assert _union(standing, cross) == sum(
            count for cell, count in standing.items() if cross.holds(cell)
        )


def test_what_is_told_of_the_parts_alone_does_not_outgrow_the_whole_nor_a_part() -> None:
    cross = Cross(ITEM, ("A",), ("second",))
    told = {Part("", "A"): 30, SECOND: 20, Part("second", "A"): 5, ANY: 40, Part("", "B"): 9}

    def there(**other: int) -> int:
        now = told | {part: other[name] for name, part in NAMED.items() if name in other}
        (step,) = cross.there(("A", "B"), lambda part: [Step(0, FOR_EVER, now[part])])
        return step.quantity

    assert there() == 40
    assert there(whole=50) == 45
    # Told of the grade, and not yet of it at the site.
    assert there(both=35) == 30
    # Of all that stands at the only site more is known than of each grade.
    assert there(whole=33, elsewhere=0) == 33


NAMED = {"whole": ANY, "both": Part("second", "A"), "elsewhere": Part("", "B")}


def test_days_are_those_of_all_parts() -> None:
    cross = Cross(ITEM, ("A",), ("second",))
    tables = {part: [Step(0, FOR_EVER, 10)] for part in cross.parts(("A", "B"))}
    tables[Part("", "A")] = [Step(3, 9, 1), Step(10, FOR_EVER, 4)]
    tables[SECOND] = [Step(5, 6, 2), Step(7, FOR_EVER, 3)]
    tables[Part("second", "A")] = [Step(0, FOR_EVER, 1)]
    found = cross.there(("A", "B"), tables.__getitem__)
    assert [(step.first, step.last, step.quantity) for step in found if step.first >= 5] == [
        (5, 6, 2),
        (7, 9, 3),
        (10, FOR_EVER, 6),
    ]


def test_of_many_sites_each_and_all_together_are_looked_at() -> None:
    sites = [f"S{number}" for number in range(30)]
    found = crosses(ITEM, [SECOND], [Part("", site) for site in sites])
    assert len(found) == 31
    assert not crosses(ITEM, [Part("first", "A")], [SECOND])
