"""Two years of daily weather a site: the season's wave, spells that last, a day's own range."""

import math
import random
from datetime import date, timedelta
from typing import NamedTuple


class Climate(NamedTuple):
    """Yearly mean and half swing of the day's mean, day of the year that is warmest, a day's range
    (degrees Celsius), and how much spells deviate."""

    mean_c: float
    swing_c: float
    warmest_day: int
    range_c: float
    spell_c: float


CLIMATES = {
    "CORIN": Climate(17.8, 7.6, 215, 10.5, 2.4),
    "TARNA": Climate(20.6, 4.8, 22, 9.5, 1.9),
    "ELDRA": Climate(9.1, 8.2, 206, 7.5, 2.7),
}


def temperatures(site: str, last: date, days: int, seed: int) -> list[tuple[date, float, float]]:
    """(day, minimum, maximum) for so many days up to `last`, in degrees Celsius."""
    climate, chance = CLIMATES[site], random.Random(f"weather {site} {seed}")
    spell, found = 0.0, []
    for back in range(days - 1, -1, -1):
        day = last - timedelta(days=back)
        # Spells last some days: each day keeps three quarters of the last day's deviation.
        spell = 0.75 * spell + chance.gauss(0, climate.spell_c * math.sqrt(1 - 0.75**2))
        turn = 2 * math.pi * (day.timetuple().tm_yday - climate.warmest_day) / 365.25
        mean = climate.mean_c + climate.swing_c * math.cos(turn) + spell
        half = max(1.0, climate.range_c / 2 * chance.uniform(0.55, 1.35))
        found.append((day, round(mean - half, 1), round(mean + half, 1)))
    return found
