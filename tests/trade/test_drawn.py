"""How many of a set of stock the claims on a lot take, against a search through all ways of serving
them, tree by tree."""

import random
from collections.abc import Mapping
from itertools import product

from hypothesis import given, settings
from hypothesis import strategies as st

from service.trade.drawn import Part, drawn, served

FIRST_AT_A = Part("first", "A")
ANY = Part("", None)
CELLS = [Part(grade, site) for grade in ("first", "second") for site in ("A", "B")]
PARTS = [Part(grade, site) for grade in ("", "first", "second") for site in (None, "A", "B")]


def _best(claims: Mapping[Part, int], standing: Mapping[Part, int], of: Part) -> tuple[int, int]:
    """The most claims that can be served, and the fewest of `of` that doing so takes."""
    # By what is still free: how many were served, less those of `of`.
    found = {tuple(standing.get(cell, 0) for cell in CELLS): (0, 0)}
    for claim in (part for part, count in claims.items() for _ in range(count)):
        after = dict(found)
        for (free, (many, spared)), (at, cell) in product(found.items(), enumerate(CELLS)):
            if claim.holds(cell) and free[at]:
                left = (*free[:at], free[at] - 1, *free[at + 1 :])
                new = (many + 1, spared - of.holds(cell))
                after[left] = max(after.get(left, new), new)
        found = after
    many, spared = max(found.values())
    return many, -spared


def test_a_claim_on_what_stands_in_one_grade_alone_is_a_claim_on_that_grade() -> None:
    assert drawn({ANY: 4}, {FIRST_AT_A: 5}, FIRST_AT_A) == 4
    assert drawn({ANY: 4}, {FIRST_AT_A: 5, Part("second", "A"): 3}, FIRST_AT_A) == 1
    assert drawn({ANY: 4}, {FIRST_AT_A: 5, Part("second", "A"): 4}, FIRST_AT_A) == 0
    # More than there is can't be served here either.
    assert drawn({ANY: 9}, {FIRST_AT_A: 5}, FIRST_AT_A) == 5
    assert drawn({ANY: 9, FIRST_AT_A: 7}, {FIRST_AT_A: 5}, FIRST_AT_A) == 7


_claims = st.dictionaries(st.sampled_from(PARTS), st.integers(1, 3), max_size=4)
_standing = st.dictionaries(st.sampled_from(CELLS), st.integers(1, 4), max_size=4)


@settings(max_examples=120)
@given(_claims, _standing, st.sampled_from(PARTS))
def test_no_way_of_serving_all_takes_fewer(
    claims: dict[Part, int], standing: dict[Part, int], of: Part
) -> None:
    many, fewest = _best(claims, standing, of)
    assert served(claims, standing) == many
    if many == sum(claims.values()):
        assert drawn(claims, standing, of) == fewest


def test_many_sites_and_large_numbers_are_worked_out_all_the_same() -> None:
    """A search that follows any way to a free tree, not the shortest, does not end here."""
    draw = random.Random(1)
    grades, sites = ("first", "second", "third"), [f"S{number}" for number in range(12)]
    numbers = (1, 3, 777, 999_983)
    standing = {Part(g, s): draw.choice(numbers) for g in grades for s in sites}
    parts = [Part(g, s) for g in ("", *grades) for s in (None, *sites)]
    claims = {part: draw.choice(numbers) for part in parts}
    more = {part: 1000 * count for part, count in claims.items()}
    there = {part: 1000 * count for part, count in standing.items()}
    assert served(more, there) == 1000 * served(claims, standing) > 0
