"""How much bleach and water make a solution of a strength, by what the bottle's label says.

Strength is sodium hypochlorite in per cent. Labels say that, or the chlorine that is active in it;
both by volume here, as measuring jugs measure: the difference to weight is smaller than what a
bottle loses in a warm summer.
"""

import math
from typing import Literal, NamedTuple

Says = Literal["hypochlorite", "chlorine"]
# Grams a mole: sodium hypochlorite for each chlorine molecule that it can set free.
_HYPOCHLORITE, _CHLORINE = 74.44, 70.91
# What a jug at a bench can measure.
_STEP_ML = 5
STRONGEST = 20.0


class TooWeak(Exception):
    """The bleach is not as strong as what is to be made of it; `percent` is its strength."""

    def __init__(self, percent: float) -> None:
        super().__init__(percent)
        self.percent = percent


class Mixture(NamedTuple):
    """What to measure, in millilitres, and what comes of it in per cent of hypochlorite."""

    bleach_ml: int
    water_ml: int
    percent: float

    @property
    def share(self) -> float:
        """The bleach's part of the volume."""
        return self.bleach_ml / (self.bleach_ml + self.water_ml)


def hypochlorite_percent(label: float, says: Says) -> float:
    """Per cent of sodium hypochlorite in a bottle whose label says `label` per cent."""
    return label * _HYPOCHLORITE / _CHLORINE if says == "chlorine" else label


def mixture(wanted: float, label: float, says: Says, millilitres: int) -> Mixture:
    """What makes `millilitres` of `wanted` per cent; rounded so that it is never weaker.

    All are above 0. Raises TooWeak when the bottle is weaker than what is wanted.
    """
    strength = hypochlorite_percent(label, says)
    # What comes of rounding in floating point is no more bleach.
    exact = millilitres * wanted / strength - 1e-9
    if exact > millilitres:
        raise TooWeak(strength)
    bleach = min(math.ceil(exact / _STEP_ML) * _STEP_ML, millilitres)
    return Mixture(bleach, millilitres - bleach, strength * bleach / millilitres)
