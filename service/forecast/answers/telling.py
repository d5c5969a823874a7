"""What a forecast says in words: how sure, how wide, and what it rests on.

Every sentence is for people at a nursery; figures for programs stand beside it in the answers.
"""

from datetime import date, datetime

import msgspec

from service.trade.promising import sure

LIKELY = 0.8
"""How sure a day or a number must be that is told to who asks for one alone."""
COUNTINGS = {
    "single_sine": "by single sine",
    "hourly": "by the sum of the hours",
    "hourly_sum": "by the sum of the hours",
}
_WHAT = {
    "push": ("The middle tree of a lot pushes", "Cd after grafting"),
    "push_from_forcing": ("The middle tree of a lot pushes", "Cd after its tops were forced"),
    "ready": ("The middle tree of a lot is ready", "Cd after the lot's middle push"),
    "take": ("Of 100 grafts", "take"),
    "never_pushes": ("Of 100 grafts that took", "never push"),
    "survival": ("Of 100 trees that pushed", "live until they are ready"),
    "unfit": ("Of 100 trees that pushed and live", "are never fit for sale"),
}
_TIMES = ("push", "push_from_forcing", "ready")
# How lots differ in these is not learned.
_ALL_LOTS_ALIKE = ("never_pushes", "unfit")


class LotFigures(msgspec.Struct, frozen=True, kw_only=True):
    """When the trees of a lot at a site should be ready, and all that it rests on, as figures.

    `p20`, `p50`, `p80`: half of the trees that will be fit for sale are ready by then with
    probability 0.2, 0.5, 0.8; null where that cannot be told, and `why` says the reason. They may
    lie before `as_of`, the site's own day on which it was told: then trees wait to be graded.
    `ready_expected` of `trees` will be ready, `ready_low` to `ready_high` with probability 0.6;
    null where it cannot be told.
    `counted` degree-days (Cd) from the day after `counted_from` to the end of the day before
    `as_of`, of `needed` (`needed_low` to `needed_high` with probability 0.6) for half of the trees,
    in the way `counting` between `lower_c` and `upper_c` (degrees Celsius); `gap_days` were filled.
    `years` of weather, `based_on_trees` in `based_on_lots` and, where those are few, the
    `fallback` carry it. `weather_ahead` is the forecast of the next days that was given.
    `temperature_version` of the site's record and `position` of the log are reflected.
    """

    lot: str
    site: str
    cultivar: str | None
    rootstock: str | None
    crop: str | None
    method: str | None
    grafted_on: date | None
    places: list[str]
    sizes: list[str]
    trees: int
    phase: str
    counted_from: date | None
    p20: date | None
    p50: date | None
    p80: date | None
    ready_expected: float | None
    ready_low: int | None
    ready_high: int | None
    counted: float | None
    needed: float | None
    needed_low: float | None
    needed_high: float | None
    counting: str | None
    lower_c: float | None
    upper_c: float | None
    gap_days: int
    years: int
    based_on_trees: int
    based_on_lots: int
    fallback: str | None
    why: str | None
    remarks: list[str]
    weather_ahead: str | None
    temperature_version: int
    as_of: date
    position: int
    made_at: datetime


def in_words(row: LotFigures) -> str:
    """The answer in a sentence: by which day, how sure; or why it cannot be told."""
    if row.p50 is None and row.p80 is None:
        why = f" {_sentence(row.why)}" if row.why else ""
        return f"It cannot be told when they will be ready.{why}"
    half = "half of those that will be fit for sale are ready"
    if row.p80 is None:
        assert row.p50 is not None
        said = f"as likely as not {half} by {day_in_words(row.p50)}"
        return f"An estimate: {said}; no day can be told that is {sure(LIKELY)} sure."
    if row.p80 < row.as_of:
        said = f"{sure(LIKELY)} sure that {half} by now and wait to be graded"
        return f"An estimate: {said}."
    said = f"{sure(LIKELY)} sure that {half} by {day_in_words(row.p80)}"
    if row.p50 is not None and row.p50 < row.as_of:
        said += "; more likely than not they are already, and wait to be graded"
    elif row.p20 is not None and row.p50 is not None:
        middle = f"as likely before as after {day_in_words(row.p50)}"
        early = f"{sure(1 - LIKELY)} that it is by {day_in_words(row.p20)} already"
        said += f"; {middle}; {early}"
    return f"An estimate: {said}."


def reasons(row: LotFigures, today: date) -> list[str]:
    """What a manager asks next: how far they are, what they need, and what that rests on.

    `today` is the site's day that is told of: a forecast of a day before says so.
    """
    said = [_expected(row)]
    if row.as_of < today:
        said.append(f"This was told on {day_in_words(row.as_of)}: none newer was made since.")
    if row.counted is not None and row.needed is not None:
        said.append(_progress(row))
    if row.needed is not None:
        said.append(rests_on(row.based_on_trees, row.based_on_lots))
    if row.fallback:
        said.append(_sentence(row.fallback))
    said += _weather(row)
    if row.why and row.p80 is None and row.p50 is not None:
        said.append(_sentence(row.why))
    return said + [_sentence(remark) for remark in row.remarks]


def rests_on(trees: int, lots: int) -> str:
    """How many observations a figure rests on."""
    if trees == 0:
        return "It rests on no counts of this nursery."
    return f"It rests on what was counted of {many(trees, 'tree')} in {many(lots, 'lot')}."


def learned_in_words(
    what: str, middle: float, low: float, high: float, lot_low: float, lot_high: float
) -> str:
    """One thing learned, with its range in a sentence. Shares are told of a hundred."""
    begins, ends = _WHAT.get(what, (what.replace("_", " "), ""))
    share = what not in _TIMES
    four = [figure(100 * value if share else value) for value in (middle, low, high, lot_low)]
    most = figure(100 * lot_high if share else lot_high)
    surely = f"{sure(LIKELY)} sure {four[1]} to {four[2]}"
    one_lot = f"; 8 lots in 10 lie between {four[3]} and {most}"
    wide = surely + ("" if what in _ALL_LOTS_ALIKE else one_lot)
    return f"{begins} {four[0]} {ends}: an estimate, {wide}.".replace("  ", " ")


def day_in_words(day: date) -> str:
    """A day as people write it, in English whatever the machine's language."""
    months = "January February March April May June July August September October November December"
    return f"{day.day} {months.split()[day.month - 1]} {day.year}"


def _expected(row: LotFigures) -> str:
    grow = "grows" if row.trees == 1 else "grow"
    said = f"{many(row.trees, 'tree')} at {row.site} still {grow}"
    if row.ready_expected is None:
        return f"{said}."
    width = f"{sure(0.6)} sure {row.ready_low} to {row.ready_high}"
    return f"{said}; about {figure(row.ready_expected)} of them will be ready ({width})."


def _progress(row: LotFigures) -> str:
    assert row.counted is not None
    assert row.needed is not None
    since = f" after {day_in_words(row.counted_from)}" if row.counted_from else ""
    if row.phase == "pushed":
        since += ", when half of those that push had pushed"
    needed = f"half of them need {figure(row.needed)} Cd"
    if row.needed_low is not None and row.needed_high is not None:
        low, high = figure(row.needed_low), figure(row.needed_high)
        needed += f" ({sure(0.6)} sure {low} to {high})"
    counting = COUNTINGS.get(row.counting or "", row.counting or "")
    if row.lower_c is not None and row.upper_c is not None:
        counting += f" between {row.lower_c:g} and {row.upper_c:g} C"
    return f"{figure(row.counted)} degree-days (Cd) so far{since}; {needed}, {counting}."


def _weather(row: LotFigures) -> list[str]:
    said = []
    if row.gap_days:
        were = "day without a record was" if row.gap_days == 1 else "days without a record were"
        said.append(f"{row.gap_days} {were} filled.")
    if row.weather_ahead:
        said.append(f"The next days go by a forecast that was given: {row.weather_ahead}.")
    if row.years:
        said.append(f"The weather to come is drawn from {many(row.years, 'year')} of the site.")
    return said


def _sentence(words: str) -> str:
    whole = words[:1].upper() + words[1:]
    return whole if whole.endswith((".", "!", "?")) else f"{whole}."


def many(count: int, name: str) -> str:
    """A number of things, one or more."""
    return f"{count:,} {name}" if count == 1 else f"{count:,} {name}s"


def figure(value: float) -> str:
    """Three digits or so: more would promise too much."""
    return f"{value:,.0f}" if abs(value) >= 10 else f"{value:.1f}".removesuffix(".0")
