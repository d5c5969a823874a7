"""Norms of the trade. Values marked so are common practice without a source."""

from pathlib import Path

from service.trade.describing import table
from service.trade.events import EVENT_TYPES
from service.trade.events.catalogue import SiteNorms
from service.trade.methods import METHODS


def test_norms_of_a_site_are_common_practice() -> None:
    """Common practice, no source: a bag holds at least 15 buds, usually on three sticks; pieces
    of about 38 mm go into a cut of about 13 mm and use two buds; first pushes show from the
    fourth day."""
    norms = SiteNorms()
    assert (norms.bag_buds_min, norms.bag_sticks_usual) == (15, 3)
    assert (norms.scion_length_mm, norms.cut_length_mm, norms.scion_buds) == (38, 13, 2)
    assert norms.first_push_days == 4


def test_one_bud_for_budding_more_for_scion_wood() -> None:
    """Hartmann & Kester's Plant Propagation, 9th ed. 2018, chapters 12 to 14, from memory."""
    for method in METHODS.values():
        assert (method.buds_per_tree == 1) == (not method.scion)


def test_bark_must_slip_for_t_buds_and_not_for_chip_buds() -> None:
    """UF/IFAS HS-86/HS1309: chip ('hanging') budding is used when the bark does not slip."""
    assert METHODS["t_bud"].bark_must_slip
    assert METHODS["inverted_t_bud"].bark_must_slip
    assert not METHODS["chip_bud"].bark_must_slip


def test_inverted_t_stock_caliper_covers_citrus_practice() -> None:
    """Sauls 2001, T-Budding Citrus: pencil-thick stocks, about 6 to 10 mm."""
    low, high = METHODS["inverted_t_bud"].caliper_mm
    assert low <= 6
    assert high >= 10


def test_the_table_of_fields_names_every_event() -> None:
    shown = table()
    assert all(f"`{name}`" in shown for name in EVENT_TYPES)


def test_the_guide_shows_the_table_as_it_is() -> None:
    guide = Path(__file__).parents[2] / "DEVELOPERS.md"
    assert table() in guide.read_text(encoding="utf-8"), "python -m service.trade.describing"
