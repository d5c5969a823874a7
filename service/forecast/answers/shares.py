"""How many grafts become trees: exact beta-binomial figures, in plain Python.

Of `n` grafts of one lot each becomes a saleable tree with the lot's own chance, which differs from
lot to lot: its mean is `mean`, and two grafts of a lot are alike with correlation `correlation`
(0: lots don't differ, binomial). What answers requests does without numpy, hence by hand.
"""

from functools import lru_cache
from math import ceil, exp, floor, lgamma

EXACT = 2_000
"""Up to so many trees figures are exact; beyond they are those of so many, in proportion. That is
a little on the safe side: larger lots vary less for their size."""
_CLOSE = 1e-6


def _shape(mean: float, correlation: float) -> tuple[float, float]:
    """The beta distribution's two parameters. Means 0 and 1 are drawn in by a trifle."""
    both = 1 / max(correlation, _CLOSE) - 1
    inner = min(max(mean, 1e-9), 1 - 1e-9)
    return inner * both, (1 - inner) * both


def _log_share(n: int, k: int, a: float, b: float) -> float:
    """The logarithm of P(exactly k of n)."""
    ways = lgamma(n + 1) - lgamma(k + 1) - lgamma(n - k + 1)
    return (
        ways + lgamma(k + a) - lgamma(a) + lgamma(n - k + b) - lgamma(b) - lgamma(n + a + b)
    ) + lgamma(a + b)


def fewer_than(n: int, k: int, mean: float, correlation: float) -> float:
    """P(fewer than k of n become trees), summed from k - 1 down, so that nothing underflows."""
    if k <= 0:
        return 0.0
    if k > n:
        return 1.0
    a, b = _shape(mean, correlation)
    top = _log_share(n, k - 1, a, b)
    if top < -600 and k - 1 < mean * n:
        return 0.0
    if top < -600:
        return 1.0
    term = total = exp(top)
    for j in range(k - 1, 0, -1):
        term *= j / (n - j + 1) * (n - j + b) / (j - 1 + a)
        total += term
    return min(total, 1.0)


@lru_cache(maxsize=4096)
def at_least(n: int, mean: float, correlation: float, confidence: float) -> int:
    """The most trees that `n` grafts of one lot give with that confidence."""
    if n > EXACT:
        return floor(n * at_least(EXACT, mean, correlation, confidence) / EXACT)
    low, high = 0, n
    while low < high:
        middle = (low + high + 1) // 2
        if fewer_than(n, middle, mean, correlation) <= 1 - confidence + 1e-12:
            low = middle
        else:
            high = middle - 1
    return low


@lru_cache(maxsize=4096)
def grafts_for(trees: int, mean: float, correlation: float, confidence: float) -> int | None:
    """The fewest grafts of one lot that give so many trees with that confidence.

    None when a hundred for each tree would not do.
    """
    if trees <= 0:
        return 0
    if trees > EXACT:
        base = grafts_for(EXACT, mean, correlation, confidence)
        return None if base is None else ceil(trees * base / EXACT)
    few, enough = trees - 1, trees
    while fewer_than(enough, trees, mean, correlation) > 1 - confidence + 1e-12:
        few, enough = enough, enough + max(1, enough // 4)
        if enough > 100 * trees:
            return None
    while enough - few > 1:
        middle = (few + enough) // 2
        if fewer_than(middle, trees, mean, correlation) <= 1 - confidence + 1e-12:
            enough = middle
        else:
            few = middle
    return enough
