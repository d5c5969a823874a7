"""What is believed of a crop before the nursery counted anything: weak, and said to be so.

The heat is `service.forecast.requirements`' (each with its source and derivation). The spreads are
wide on purpose: a few of the nursery's own lots outweigh them.
"""

from typing import Any

from service.forecast.numerics import regression, times
from service.forecast.requirements import Requirement

NOT_KNOWN_PUSH, NOT_KNOWN_READY = 350.0, 1800.0
"""Middles (Cd) to begin from for a crop without any figure, with sds that say how little it is."""
PUSH_OF_ALL = 0.15
"""Where a crop's whole way alone is known: so much of it goes to the push, with a wide sd."""
USUAL_TAKE = {"citrus": 0.88, "apple": 0.94, "avocado": 0.76, "mango": 0.80, "peach": 0.80}
"""Middles of ranges that practitioners name: common practice, from memory, no source."""
SURVIVAL = regression.Prior(mean=0.92, mean_sd=0.8, rho=0.04, any_effect_sd=0.3)
"""From take to sale: 88.6 to 90.6 of 96.1 to 96.9 % in mango (Khushi et al. 2019)."""
UNNOTICED_A_YEAR, UNNOTICED_YEARS = 0.01, 75.0
"""Of pushed trees, how many a year are gone and stand in the books until a stock count: an
assumption without a source. It weighs as much as counts of so many tree-years."""
LOSSES_ALIKE = 4.0
"""How near what a crop loses a year lies to the rest's, or ready trees to growing ones: shape of a
gamma, whose sd is half its mean (assumed likewise)."""
_PUSH: dict[str, Any] = {"spread": 0.22, "never": 0.05, "lot_sd": 0.1}
_READY: dict[str, Any] = {
    "spread": 0.15,
    "never": 0.06,
    "never_n": 15.0,
    "factor_sd": 0.07,
    "lot_sd": 0.06,
}


def push_prior(wanted: Requirement | None) -> times.Prior:
    """Of the heat from grafting to push."""
    if wanted is None:
        return times.Prior(middle=NOT_KNOWN_PUSH, middle_sd=1.0, **_PUSH)
    if wanted.grafted_to_push is None:
        whole = wanted.grafted_to_ready.degree_days
        return times.Prior(middle=PUSH_OF_ALL * whole, middle_sd=0.6, **_PUSH)
    return times.Prior(middle=wanted.grafted_to_push.degree_days, middle_sd=0.4, **_PUSH)


def ready_prior(wanted: Requirement | None) -> times.Prior:
    """Of the heat from the middle push of a lot to being ready."""
    if wanted is None:
        return times.Prior(middle=NOT_KNOWN_READY, middle_sd=1.0, **_READY)
    if wanted.pushed_to_ready is None:
        whole = wanted.grafted_to_ready.degree_days
        return times.Prior(middle=(1 - PUSH_OF_ALL) * whole, middle_sd=0.45, **_READY)
    return times.Prior(middle=wanted.pushed_to_ready.degree_days, middle_sd=0.4, **_READY)


def take_prior(crop: str) -> regression.Prior:
    """Of the take."""
    return regression.Prior(
        mean=USUAL_TAKE.get(crop, 0.8),
        mean_sd=0.7,
        effect_sd={"method": 0.4, "site": 0.3, "grafter": 0.4},
    )
