"""Codes that the service mints: six characters that survive a pencil and a wet thumb."""

# No 0 or O, no 1 or I: they are mistaken for one another in handwriting.
ALPHABET = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"
_BASE = len(ALPHABET)
_SPACE = _BASE**5
# Coprime to the space, so that the n-th codes are all different yet look unlike their neighbours:
# a slip of one stroke then rarely makes another code in use.
_STRIDE = 20_507_857


def check_character(body: str) -> str:
    """The check character by the Luhn mod N method over `ALPHABET`: finds every single wrong
    character and nearly every swap of neighbours."""
    total, factor = 0, 2
    for character in reversed(body):
        addend = factor * ALPHABET.index(character)
        total += addend // _BASE + addend % _BASE
        factor = 3 - factor
    return ALPHABET[(-total) % _BASE]


def mint(n: int) -> str:
    """The n-th minted code, n ≥ 0. All codes of n < 33,554,432 are different."""
    scrambled, body = (n * _STRIDE + 7_919_113) % _SPACE, ""
    for _ in range(5):
        scrambled, digit = divmod(scrambled, _BASE)
        body += ALPHABET[digit]
    return body + check_character(body)


def is_minted(code: str) -> bool:
    """Whether a code has the form of a minted one and its check character fits."""
    return (
        len(code) == 6
        and all(character in ALPHABET for character in code)
        and check_character(code[:5]) == code[5]
    )
