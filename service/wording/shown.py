"""How a day, a number and a measure are written for one person: by their language and units.

Days name their month, so that nobody reads the third of April as the fourth of March; hours are
counted to 24; weeks are those of ISO 8601. What is kept in °C and millimetres is shown in °F and
inches to who asks for them.
"""

import re
from collections.abc import Iterable
from datetime import date, datetime, timedelta, tzinfo
from fractions import Fraction
from functools import cache, lru_cache
from typing import Literal

from babel.dates import format_date
from babel.lists import format_list

from service.wording.words import Language, Words, phrase, words_of

Temperature = Literal["c", "f"]
Length = Literal["mm", "in"]
MILLIMETRES_PER_INCH = Fraction(254, 10)
# No wrap between a number and its unit; the narrow one parts thousands in Spanish, where a full
# stop is a thousand in Spain and a decimal in Mexico.
_NO_BREAK, _NARROW = "\u00a0", "\u202f"
_MINUS = "\u2212"
_DAY, _DAY_OF_YEAR = "EEE d MMM", "EEE d MMM y"
_LONG_DAY = {"en": "EEEE d MMMM y", "es": "EEEE d 'de' MMMM 'de' y"}
_MONTH = {"en": "MMMM y", "es": "MMMM 'de' y"}
_NEAR = {0: phrase("today"), 1: phrase("tomorrow"), -1: phrase("yesterday")}
# Without a comma before the last.
_LISTS = {"en": "en_GB", "es": "es"}
# Spanish says "e" and not "y" before the sound of i.
_SOUND_OF_I = re.compile(r"h?[ií](?![aeo])", re.IGNORECASE)
# Inches are read off a rule or a caliper in sixteenths.
_SIXTEENTHS = 16


class Shown:
    """Writes values for one person. All functions give text without markup."""

    def __init__(
        self, language: Language = "en", temperature: Temperature = "c", length: Length = "mm"
    ) -> None:
        self.language: Language = language
        self.words: Words = words_of(language)
        self._fahrenheit = temperature == "f"
        self._inches = length == "in"

    def day(self, day: date, *, today: date | None = None) -> str:
        """``Tue 3 Mar``; the year is said unless it is that of `today`."""
        same_year = today is not None and today.year == day.year
        return _date(day, _DAY if same_year else _DAY_OF_YEAR, self.language)

    def long_day(self, day: date) -> str:
        """``Tuesday 3 March 2026``."""
        return _date(day, _LONG_DAY[self.language], self.language)

    def short_day(self, day: date) -> str:
        """``3 Mar``, for the marks of an axis."""
        return _date(day, "d MMM", self.language)

    def month(self, day: date) -> str:
        """``March 2026``."""
        return _date(day, _MONTH[self.language], self.language)

    def week(self, day: date) -> str:
        """``week 10``, of ISO 8601."""
        return self.words.gettext("week %(number)s", number=day.isocalendar().week)

    def time(self, at: datetime, zone: tzinfo) -> str:
        """``06:00`` in the site's zone."""
        return f"{at.astimezone(zone):%H:%M}"

    def moment(self, at: datetime, zone: tzinfo, *, today: date | None = None) -> str:
        """``Tue 3 Mar, 06:00`` in the site's zone."""
        local = at.astimezone(zone)
        return f"{self.day(local.date(), today=today)}, {local:%H:%M}"

    def days_from(self, day: date, today: date) -> str:
        """``today``, ``tomorrow``, ``yesterday``, ``in 3 days``, ``3 days ago``."""
        days = (day - today).days
        near = _NEAR.get(days)
        if near is not None:
            return self.words.gettext(near)
        if days > 0:
            return self.words.ngettext("in %(num)s day", "in %(num)s days", days)
        return self.words.ngettext("%(num)s day ago", "%(num)s days ago", -days)

    def late(self, days: int, due: date, today: date) -> str:
        """``2 days late, due since Sat 14 Mar``: late counts from when it became overdue."""
        late = self.words.ngettext("%(num)s day late", "%(num)s days late", days)
        since = self.words.gettext("due since %(day)s", day=self.day(due, today=today))
        return f"{late}, {since}"

    def ago(self, passed: timedelta) -> str:
        """How long since, in its largest unit: ``just now``, ``5 minutes ago``, ``2 days ago``."""
        minutes = int(passed.total_seconds() // 60)
        if minutes < 1:
            return self.words.gettext("just now")
        if minutes < 60:
            return self.words.ngettext("%(num)s minute ago", "%(num)s minutes ago", minutes)
        if minutes < 60 * 24:
            return self.words.ngettext("%(num)s hour ago", "%(num)s hours ago", minutes // 60)
        days = minutes // (60 * 24)
        return self.words.ngettext("%(num)s day ago", "%(num)s days ago", days)

    def number(self, value: float, decimals: int = 0) -> str:
        """``1,234`` or ``1 234`` (Spanish, from five digits on); `decimals` digits at most."""
        text = f"{abs(value):,.{decimals}f}"
        if decimals:
            text = text.rstrip("0").rstrip(".")
        if self.language == "es":
            whole, point, rest = text.partition(".")
            whole = whole.replace(",", "" if abs(value) < 9999.5 else _NARROW)
            text = whole + ("," if point else "") + rest
        return f"{_MINUS}{text}" if value < 0 and text.strip("0.,") else text

    def share(self, share: float, decimals: int = 0) -> str:
        """A share of 1 in per cent: ``82 %``."""
        return f"{self.number(share * 100, decimals)}{_NO_BREAK}%"

    def in_ten(self, confidence: float) -> str:
        """A confidence as people say it: ``8 in 10``, ``19 in 20``."""
        for parts in (10, 4, 20, 100):
            if abs(confidence * parts - round(confidence * parts)) < 1e-9:
                break
        return self.words.gettext(
            "%(part)s in %(parts)s", part=round(confidence * parts), parts=parts
        )

    def temperature(self, celsius: float, decimals: int = 0) -> str:
        """``21 °C`` or ``70 °F``."""
        value = celsius * 9 / 5 + 32 if self._fahrenheit else celsius
        return f"{self.number(value, decimals)}{_NO_BREAK}{self.degree}"

    def degree_days(self, celsius_days: float, decimals: int = 0) -> str:
        """Degree-days, a difference and no temperature: ``130 °C·d`` or ``234 °F·d``."""
        value = celsius_days * 9 / 5 if self._fahrenheit else celsius_days
        unit = self.words.gettext("d")
        return f"{self.number(value, decimals)}{_NO_BREAK}{self.degree}·{unit}"

    @property
    def degree(self) -> str:
        """``°C`` or ``°F``, for the head of a column."""
        return "°F" if self._fahrenheit else "°C"

    def length(self, millimetres: float) -> str:
        """``8 mm``, or ``5/16 in`` to the nearest sixteenth (whole inches from 10 in on)."""
        if not self._inches:
            return f"{self.number(millimetres)}{_NO_BREAK}mm"
        inches = Fraction(millimetres) / MILLIMETRES_PER_INCH
        parts = 1 if inches >= 10 else _SIXTEENTHS
        rounded = Fraction(round(inches * parts), parts)
        whole, rest = divmod(rounded, 1)
        said = [self.number(int(whole))] if whole or not rest else []
        return _NO_BREAK.join([*said, *([str(rest)] if rest else []), "in"])

    def listed(self, texts: Iterable[str]) -> str:
        """``a, b and c``."""
        whole = list(texts)
        said = format_list(whole, locale=_LISTS[self.language])
        if self.language == "es" and len(whole) > 1 and _SOUND_OF_I.match(whole[-1]):
            said = f"{said[: -len(whole[-1]) - 3]} e {whole[-1]}"
        return said


@cache
def shown_to(language: Language, temperature: Temperature = "c", length: Length = "mm") -> Shown:
    """The one `Shown` of a language and units."""
    return Shown(language, temperature, length)


@lru_cache(maxsize=4096)
def _date(day: date, pattern: str, language: Language) -> str:
    return format_date(day, pattern, locale=language)
