"""What lies behind the invented nursery and nobody at its sites knows: the parameters.

Drawn around usual figures by a seed, so that every seed is another nursery. All figures are made
up; they lie near what the trade reports, and off the service's weak priors on purpose, so that a
forecast that never learns from the counts scores worse than one that does.
"""

import math
import random

import msgspec

from seed_scenario.nursery import PEOPLE, SITES
from seed_scenario.weather import Climate, Heat

# A grafter's hand, a lot's wood and weather: how far takes of one method lie apart.
_GRAFTER_SD = 0.45
TAKE_SPREAD = 0.02
UNRECORDED = "unrecorded"


class Growth(msgspec.Struct, frozen=True):
    """How grafts of a crop by a method go. Degree-days (Cd) by single sine, horizontal cutoff,
    between the thresholds of `heat`, summed from the day after.

    `take`: of 1, by a grafter of middling hand. `push_cd`: median from grafting to push of those
    that take and push; `push_sd`: of its logarithm between trees of a lot, `lot_sd` between lots.
    `never`: share of the taken that never push. `asleep_until`: month and day before which nothing
    counts (a bud set in August sleeps until spring). `ready_cd`, `ready_sd`: median from push to
    ready, and of its logarithm between trees. `unfit`: share of the pushed that never will be
    ready. `deaths_a_year`: hazard from the reading of the take on. `first_grade`: share of the
    ready that grade first.
    """

    crop: str
    method: str
    heat: Heat
    take: float
    push_cd: float
    push_sd: float
    lot_sd: float
    never: float
    ready_cd: float
    ready_sd: float
    unfit: float
    deaths_a_year: float
    first_grade: float = 0.68
    asleep_until: tuple[int, int] | None = None


class Nature(msgspec.Struct, frozen=True):
    """All parameters. `grafter_log_odds`: added to the take's log odds by each person.
    `take_spread`: correlation within a lot (beta-binomial). `site_log`: added to the logarithm of
    the degree-days wanted at a site. `unrecorded`: share of deaths that nobody writes down.
    `causes`: relative frequency of causes by site; frost counts on days below zero only, heat on
    days above 33 degrees only."""

    seed: int
    climates: dict[str, Climate]
    growth: list[Growth]
    grafter_log_odds: dict[str, float]
    take_spread: float
    site_log: dict[str, float]
    unrecorded: float
    causes: dict[str, dict[str, float]]

    def of(self, crop: str, method: str) -> Growth:
        """The growth of a crop by a method."""
        return next(one for one in self.growth if (one.crop, one.method) == (crop, method))

    def take(self, growth: Growth, person: str) -> float:
        """The expected take of a grafter, of 1."""
        odds = math.log(growth.take / (1 - growth.take)) + self.grafter_log_odds.get(person, 0.0)
        return 1 / (1 + math.exp(-odds))


_CLIMATES = {
    "CORIN": Climate(21.4, 5.6, 212, 1.9, 0.72, 5.6, 0.26, 0.35),
    "TARNA": Climate(22.3, 4.2, 24, 1.6, 0.64, 5.1, 0.24, 0.3),
    "ELDRA": Climate(9.3, 8.4, 206, 2.6, 0.78, 4.1, 0.3, 0.4),
}
_CITRUS, _AVOCADO, _MANGO, _APPLE = Heat(13, 35), Heat(10, 33), Heat(15, 32), Heat(4, 25)
_GROWTH = (
    Growth(
        "citrus", "inverted_t_bud", _CITRUS, 0.91, 330, 0.20, 0.09, 0.04, 1500, 0.13, 0.05, 0.07
    ),
    Growth("citrus", "chip_bud", _CITRUS, 0.86, 370, 0.22, 0.09, 0.05, 1500, 0.13, 0.05, 0.07),
    Growth("avocado", "cleft", _AVOCADO, 0.79, 430, 0.18, 0.08, 0.03, 2400, 0.12, 0.06, 0.12),
    Growth("avocado", "side", _AVOCADO, 0.72, 470, 0.20, 0.08, 0.04, 2400, 0.12, 0.06, 0.12),
    Growth("mango", "side_veneer", _MANGO, 0.82, 165, 0.18, 0.08, 0.03, 1750, 0.14, 0.06, 0.10),
    Growth("mango", "cleft", _MANGO, 0.74, 180, 0.20, 0.08, 0.03, 1750, 0.14, 0.06, 0.10),
    Growth("apple", "whip_and_tongue", _APPLE, 0.92, 190, 0.17, 0.07, 0.03, 1250, 0.10, 0.04, 0.05),
    Growth(
        *("apple", "chip_bud", _APPLE, 0.94, 175, 0.17, 0.07, 0.03, 1300, 0.10, 0.04, 0.05),
        asleep_until=(2, 1),
    ),
)
_CAUSES = {
    "CORIN": {"dead_stock": 2, "disease": 3, "pest": 3, "heat": 2, "drought": 3, "girdled": 1},
    "TARNA": {"dead_stock": 2, "disease": 4, "pest": 3, "waterlogging": 3, "breakage": 1},
    "ELDRA": {"dead_stock": 2, "disease": 2, "frost": 4, "pest": 1, "breakage": 2, "damaged": 2},
}


def nature(seed: int) -> Nature:
    """The parameters that a seed stands for."""
    chance = random.Random(f"nature {seed}")

    def near(value: float, sd: float) -> float:
        return round(value * math.exp(chance.gauss(0, sd)), 4)

    growth = [
        msgspec.structs.replace(
            one,
            take=round(1 - near(1 - one.take, 0.08), 4),
            push_cd=round(near(one.push_cd, 0.06), 1),
            ready_cd=round(near(one.ready_cd, 0.05), 1),
        )
        for one in _GROWTH
    ]
    hands: dict[str, float] = {}
    for people in PEOPLE.values():
        drawn = [chance.gauss(0, _GRAFTER_SD) for _ in people]
        middle = sum(drawn) / len(drawn)
        hands |= {who: round(one - middle, 3) for who, one in zip(people, drawn, strict=True)}
    return Nature(
        seed=seed,
        climates=_CLIMATES,
        growth=growth,
        grafter_log_odds=hands,
        take_spread=TAKE_SPREAD,
        site_log={site: round(chance.gauss(0, 0.04), 3) for site in SITES},
        unrecorded=0.12,
        causes={site: {**causes, "unknown": 2} for site, causes in _CAUSES.items()},
    )
