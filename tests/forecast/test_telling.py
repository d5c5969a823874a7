"""What a forecast says in words: how sure, how wide, what it rests on."""

from datetime import UTC, date, datetime
from typing import Any

import msgspec

from service.forecast.answers.telling import (
    LotFigures,
    in_words,
    learned_in_words,
    reasons,
    rests_on,
)

TODAY = date(2026, 6, 30)
LOT = LotFigures(
    lot="T1",
    site="CORIN",
    cultivar="NAVEL",
    rootstock="CARRIZO",
    crop="citrus",
    method="t_bud",
    grafted_on=date(2026, 3, 10),
    places=["C-T1"],
    sizes=["P9"],
    trees=22,
    phase="pushed",
    counted_from=date(2026, 4, 8),
    p20=date(2026, 8, 3),
    p50=date(2026, 8, 20),
    p80=date(2026, 9, 12),
    ready_expected=16.5,
    ready_low=14,
    ready_high=19,
    counted=1234.4,
    needed=1950.0,
    needed_low=1700.0,
    needed_high=2200.0,
    counting="single_sine",
    lower_c=13.0,
    upper_c=35.0,
    gap_days=0,
    years=4,
    based_on_trees=1240,
    based_on_lots=31,
    fallback=None,
    why=None,
    remarks=[],
    weather_ahead=None,
    temperature_version=3,
    as_of=TODAY,
    position=40,
    made_at=datetime(2026, 6, 30, 5, tzinfo=UTC),
)


def lot(**changed: Any) -> LotFigures:
    return msgspec.structs.replace(LOT, **changed)


def test_a_day_with_how_sure_it_is_and_how_wide() -> None:
    assert in_words(LOT) == (
        "An estimate: 8 in 10 sure that half of those that will be fit for sale are ready by "
        "12 September 2026; as likely before as after 20 August 2026; 2 in 10 that it is by "
        "3 August 2026 already."
    )


def test_trees_that_are_probably_ready_wait_to_be_graded() -> None:
    over = lot(p20=date(2026, 6, 1), p50=date(2026, 6, 10), p80=date(2026, 6, 29))
    assert "by now and wait to be graded" in in_words(over)
    # today itself is still to come: not over
    assert in_words(lot(p20=date(2026, 6, 1), p50=date(2026, 6, 29), p80=TODAY)) == (
        "An estimate: 8 in 10 sure that half of those that will be fit for sale are ready by "
        "30 June 2026; more likely than not they are already, and wait to be graded."
    )
    assert "as likely before as after 30 June 2026" in in_words(lot(p50=TODAY))


def test_what_cannot_be_told_says_why() -> None:
    unknown = lot(p20=None, p50=None, p80=None, why="Site CORIN has no temperatures on record.")
    assert in_words(unknown) == (
        "It cannot be told when they will be ready. Site CORIN has no temperatures on record."
    )
    beyond = lot(p80=None, why="8 in 10 lies beyond a year and a half")
    assert "no day can be told that is 8 in 10 sure" in in_words(beyond)
    assert "8 in 10 lies beyond a year and a half." in reasons(beyond, TODAY)


def test_the_reasons_a_manager_asks_for() -> None:
    assert reasons(LOT, TODAY) == [
        "22 trees at CORIN still grow; about 16 of them will be ready (6 in 10 sure 14 to 19).",
        "1,234 degree-days (Cd) so far after 8 April 2026, when half of those that push had "
        "pushed; half of them need 1,950 Cd (6 in 10 sure 1,700 to 2,200), by single sine between "
        "13 and 35 C.",
        "It rests on what was counted of 1,240 trees in 31 lots.",
        "The weather to come is drawn from 4 years of the site.",
    ]


def test_reasons_tell_gaps_fallback_a_given_forecast_and_remarks() -> None:
    said = reasons(
        lot(
            trees=1,
            phase="grafted",
            ready_expected=0.8,
            gap_days=1,
            years=1,
            based_on_trees=0,
            fallback="a weak prior from what others published",
            weather_ahead="valley weather, 7 days",
            remarks=["grafted at TARNA"],
        ),
        TODAY,
    )
    assert said[0].startswith("1 tree at CORIN still grows; about 0.8 of")
    assert "so far after 8 April 2026; half" in said[1]
    assert said[2:] == [
        "It rests on no counts of this nursery.",
        "A weak prior from what others published.",
        "1 day without a record was filled.",
        "The next days go by a forecast that was given: valley weather, 7 days.",
        "The weather to come is drawn from 1 year of the site.",
        "Grafted at TARNA.",
    ]


def test_of_what_cannot_be_told_only_what_stands_is_said() -> None:
    nothing = dict.fromkeys(("p20", "p50", "p80", "counted", "needed", "ready_expected"))
    assert reasons(lot(**nothing, years=0, based_on_trees=0, why="no temperatures"), TODAY) == [
        "22 trees at CORIN still grow."
    ]


def test_a_forecast_of_a_day_before_says_so() -> None:
    said = reasons(LOT, date(2026, 7, 2))
    assert said[1] == "This was told on 30 June 2026: none newer was made since."
    assert [said[0], *said[2:]] == reasons(LOT, TODAY)


def test_without_degree_days_nothing_is_said_of_them() -> None:
    assert not any("Cd" in said for said in reasons(lot(counted=None), TODAY))
    assert not any("Cd" in said for said in reasons(lot(needed=None), TODAY))


def test_what_was_learned() -> None:
    assert learned_in_words("push", 412.3, 380, 450, 330, 511) == (
        "The middle tree of a lot pushes 412 Cd after grafting: an estimate, 8 in 10 sure 380 to "
        "450; 8 lots in 10 lie between 330 and 511."
    )
    assert learned_in_words("take", 0.913, 0.88, 0.94, 0.8, 0.985) == (
        "Of 100 grafts 91 take: an estimate, 8 in 10 sure 88 to 94; 8 lots in 10 lie between 80 "
        "and 98."
    )
    assert learned_in_words("push_from_forcing", 145.2, 140, 151, 110, 190) == (
        "The middle tree of a lot pushes 145 Cd after its tops were forced: an estimate, 8 in 10 "
        "sure 140 to 151; 8 lots in 10 lie between 110 and 190."
    )
    # How lots differ in that is not known.
    assert learned_in_words("unfit", 0.02, 0.004, 0.06, 0.004, 0.06) == (
        "Of 100 trees that pushed and live 2 are never fit for sale: an estimate, 8 in 10 sure "
        "0.4 to 6."
    )
    assert rests_on(1, 1) == "It rests on what was counted of 1 tree in 1 lot."
