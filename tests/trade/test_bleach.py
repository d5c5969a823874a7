"""Bleach and water: against mixtures that others have published."""

import pytest

from service.trade.bleach import TooWeak, hypochlorite_percent, mixture


@pytest.mark.parametrize(
    ("wanted", "label", "share"),
    [
        # Roistacher, Calavan & Blue 1969, Plant Disease Reporter 53: 20 % household bleach, about
        # 1 % of sodium hypochlorite.
        (1.05, 5.25, 0.20),
        # Florida Administrative Code 5B-62.009: 20 % by volume of household bleach.
        (1.2, 6.0, 0.20),
        # CDC, Guideline for Disinfection and Sterilization in Healthcare Facilities, 2008: 1:10 of
        # 5.25 % is 5,250 ppm, of 6.15 % 6,150 ppm.
        (0.525, 5.25, 0.10),
        (0.615, 6.15, 0.10),
    ],
)
def test_published_mixtures_come_out(wanted: float, label: float, share: float) -> None:
    found = mixture(wanted, label, "hypochlorite", 1000)
    assert found.share == pytest.approx(share)
    assert found.percent == pytest.approx(wanted)


def test_a_label_may_say_active_chlorine() -> None:
    # CAS 7681-52-9 has 74.44 g a mole and sets free one Cl2 of 70.91 g: 5 % chlorine is 5.25 %.
    assert hypochlorite_percent(5.0, "chlorine") == pytest.approx(5.25, abs=0.01)
    weaker = mixture(1.0, 5.0, "chlorine", 1000).bleach_ml
    assert weaker < mixture(1.0, 5.0, "hypochlorite", 1000).bleach_ml


@pytest.mark.parametrize("label", [1.0, 2.5, 3.7, 4.2, 5.25, 6.0, 8.25, 12.5])
@pytest.mark.parametrize("millilitres", [100, 250, 1000, 5000])
def test_what_is_measured_is_never_too_weak_and_fills_the_jug(
    label: float, millilitres: int
) -> None:
    found = mixture(1.0, label, "hypochlorite", millilitres)
    assert found.bleach_ml + found.water_ml == millilitres
    assert found.bleach_ml % 5 == 0
    # one step less would be too weak
    assert (found.bleach_ml - 5) * label / millilitres < 1.0 <= found.percent + 1e-9


def test_a_weak_bottle_makes_no_strong_mixture() -> None:
    with pytest.raises(TooWeak) as found:
        mixture(1.0, 0.9, "hypochlorite", 1000)
    assert found.value.percent == 0.9
