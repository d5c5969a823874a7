"""Values as a person reads them, against definitions of others where there are any."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import jinja2
import pytest

from service.wording.shown import Shown
from service.wording.words import TwiceSaid, language_of, phrase, spoken, teach, words_of

ENGLISH, SPANISH = Shown("en"), Shown("es")
ABROAD = Shown("en", "f", "in")
MADRID = ZoneInfo("Europe/Madrid")
DAY = date(2026, 3, 3)


def test_days_name_their_month_and_say_another_year() -> None:
    assert ENGLISH.day(DAY, today=DAY) == "Tue 3 Mar"
    assert ENGLISH.day(DAY, today=date(2027, 1, 1)) == ENGLISH.day(DAY) == "Tue 3 Mar 2026"
    assert SPANISH.day(DAY, today=DAY) == "mar 3 mar"
    assert SPANISH.long_day(DAY) == "martes 3 de marzo de 2026"
    assert (ENGLISH.month(DAY), SPANISH.month(DAY)) == ("March 2026", "marzo de 2026")


@pytest.mark.parametrize(
    ("day", "week"),
    # ISO 8601: week 1 has the year's first Thursday; 2026 begins on one and has 53 weeks.
    [(date(2026, 1, 1), 1), (date(2025, 12, 29), 1), (date(2027, 1, 3), 53), (date(2027, 1, 4), 1)],
)
def test_weeks_are_those_of_iso_8601(day: date, week: int) -> None:
    assert ENGLISH.week(day) == f"week {week}"
    assert SPANISH.week(day) == f"semana {week}"


def test_moments_are_the_sites_own_on_both_days_that_the_clocks_change() -> None:
    # In Madrid 02:00 became 03:00 on 29 March, and 03:00 became 02:00 on 25 October 2026.
    before = datetime(2026, 3, 29, 0, 59, tzinfo=UTC)
    assert ENGLISH.time(before, MADRID) == "01:59"
    assert ENGLISH.time(before + timedelta(minutes=1), MADRID) == "03:00"
    twice = datetime(2026, 10, 25, 0, 30, tzinfo=UTC)
    assert ENGLISH.moment(twice, MADRID) == "Sun 25 Oct 2026, 02:30"
    assert ENGLISH.moment(twice + timedelta(hours=1), MADRID) == "Sun 25 Oct 2026, 02:30"
    late = datetime(2026, 3, 3, 23, 30, tzinfo=UTC)
    assert SPANISH.moment(late, MADRID, today=DAY) == "mié 4 mar, 00:30"


@pytest.mark.parametrize(
    ("days", "english", "spanish"),
    [
        (0, "today", "hoy"),
        (1, "tomorrow", "mañana"),
        (-1, "yesterday", "ayer"),
        (3, "in 3 days", "dentro de 3 días"),
        (-2, "2 days ago", "hace 2 días"),
    ],
)
def test_days_from_today(days: int, english: str, spanish: str) -> None:
    there = DAY + timedelta(days=days)
    assert ENGLISH.days_from(there, DAY) == english
    assert SPANISH.days_from(there, DAY) == spanish


@pytest.mark.parametrize(
    ("passed", "english"),
    [
        (timedelta(seconds=59), "just now"),
        (timedelta(seconds=-5), "just now"),
        (timedelta(minutes=1), "1 minute ago"),
        (timedelta(minutes=119), "1 hour ago"),
        (timedelta(hours=49), "2 days ago"),
    ],
)
def test_how_long_ago(passed: timedelta, english: str) -> None:
    assert ENGLISH.ago(passed) == english


def test_numbers_cannot_be_read_otherwise() -> None:
    assert [ENGLISH.number(n) for n in (1234, -7, 0.4, -0.4)] == ["1,234", "\u22127", "0", "0"]
    # A full stop is a thousand in Spain and a decimal in Mexico: neither is written.
    assert SPANISH.number(1234) == "1234"
    assert SPANISH.number(12_345.67, 1) == "12\u202f345,7"
    assert SPANISH.number(9999.9) == "10\u202f000"
    assert (ENGLISH.number(2.50, 2), SPANISH.number(0.05, 2)) == ("2.5", "0,05")
    assert SPANISH.share(0.825, 1) == "82,5\u00a0%"


@pytest.mark.parametrize(
    ("confidence", "said"),
    [(0.8, "8 in 10"), (0.75, "3 in 4"), (0.95, "19 in 20"), (0.5, "5 in 10")],
)
def test_a_confidence_as_people_say_it(confidence: float, said: str) -> None:
    assert ENGLISH.in_ten(confidence) == said


def test_measures_by_ones_units() -> None:
    # -40 is the same on both scales; water boils at 212 F; 1 in is 25.4 mm (ISO 80000-1, annex).
    assert ABROAD.temperature(-40) == "\u221240\u00a0°F"
    assert (ABROAD.temperature(100), ENGLISH.temperature(21.4)) == ("212\u00a0°F", "21\u00a0°C")
    # A difference has no 32 in it: 10 degree-days Celsius are 18 of Fahrenheit.
    assert ABROAD.degree_days(10) == "18\u00a0°F·d"
    assert [ABROAD.length(mm) for mm in (25.4, 7.9375, 12.7, 38.1, 0)] == [
        "1\u00a0in", "5/16\u00a0in", "1/2\u00a0in", "1\u00a01/2\u00a0in", "0\u00a0in"
    ]  # fmt: skip
    assert ENGLISH.length(8) == "8\u00a0mm"


def test_lists() -> None:
    assert ENGLISH.listed(["a", "b", "c"]) == "a, b and c"
    assert SPANISH.listed(["a", "b"]) == "a y b"
    # "y" before the sound of i is "e"
    assert SPANISH.listed(["patrones", "injertos"]) == "patrones e injertos"
    assert SPANISH.listed(["agua", "hielo"]) == "agua y hielo"


@pytest.mark.parametrize(
    ("accepted", "language"),
    [
        (None, "en"),
        ("es-MX,es;q=0.9,en;q=0.8", "es"),
        # RFC 9110, 12.5.4: what it likes best of what there is.
        ("da, en-gb;q=0.8, en;q=0.7", "en"),
        ("fr, en;q=0.5, es;q=0.6", "es"),
        ("es;q=0, en;q=0.1", "en"),
        ("es;q=nan", "en"),
        ("*", "en"),
        ("," * 600 + "es", "en"),
    ],
)
def test_who_has_not_chosen_gets_what_the_browser_asks_for(accepted: str, language: str) -> None:
    assert language_of(accepted) == language


def test_templates_speak_the_language_round_them_and_escape_what_fills() -> None:
    environment = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined)
    teach(environment)
    page = environment.from_string(
        '{% macro said(n) %}{{ _("today") }}, {{ _("week %(number)s", number="<i>") }}, '
        '{{ ngettext("in %(num)s day", "in %(num)s days", n) }}{% endmacro %}{{ said(2) }}'
    )
    assert page.render() == "today, week &lt;i&gt;, in 2 days"
    with spoken(words_of("es")):
        assert page.render() == "hoy, semana &lt;i&gt;, dentro de 2 días"
    assert page.render() == "today, week &lt;i&gt;, in 2 days"
    assert phrase("anything") == "anything"


def test_two_areas_that_contradict_are_found(monkeypatch: pytest.MonkeyPatch) -> None:
    from babel.messages.catalog import Catalog

    from service.wording import words

    said = []
    for area, spanish in (("one", "mesa"), ("two", "banco")):
        catalog = Catalog("es")
        catalog.add("table", spanish)
        said.append((area, catalog))
    monkeypatch.setattr(words, "catalogs", lambda language: iter(said))
    with pytest.raises(TwiceSaid, match=r"two\.po"):
        words._texts_of("es")
