"""Minted codes: readable, all different, and a slip of the pencil is found."""

from hypothesis import given
from hypothesis import strategies as st

from service.trade.codes import ALPHABET, check_character, is_minted, mint


def test_the_check_character_is_luhns() -> None:
    """Over digits alone Luhn mod N with N = 10 gives the well-known 7992739871 → 3 (Luhn's
    patent example as commonly printed, from memory); our base is 32, so the method is checked by
    its property instead: the weighted sum of a valid code is 0 modulo N."""
    for n in (0, 1, 999, 33_554_431):
        code, total = mint(n), 0
        for index, character in enumerate(reversed(code)):
            addend = ALPHABET.index(character) * (1 + index % 2)
            total += addend // 32 + addend % 32
        assert total % 32 == 0


def test_letters_that_look_alike_are_absent() -> None:
    assert not set("01OI") & set(ALPHABET)
    assert len(ALPHABET) == 32


def test_ten_thousand_in_a_row_are_different() -> None:
    assert len({mint(n) for n in range(10_000)}) == 10_000


@given(st.integers(0, 2**25 - 1), st.integers(0, 5), st.sampled_from(ALPHABET))
def test_one_wrong_character_is_found(n: int, at: int, wrong: str) -> None:
    code = mint(n)
    slipped = code[:at] + wrong + code[at + 1 :]
    assert is_minted(slipped) == (slipped == code)


@given(st.integers(0, 2**25 - 1), st.integers(0, 4))
def test_most_swaps_of_neighbours_are_found(n: int, at: int) -> None:
    code = mint(n)
    swapped = code[:at] + code[at + 1] + code[at] + code[at + 2 :]
    a, b = ALPHABET.index(code[at]), ALPHABET.index(code[at + 1])
    # Luhn mod N misses only the swap of the alphabet's first and last character.
    if {a, b} != {0, 31} and a != b:
        assert not is_minted(swapped)


def test_check_character_belongs_to_the_alphabet() -> None:
    assert check_character("22222") in ALPHABET
