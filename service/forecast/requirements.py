"""How many degree-days a crop wants from grafting to push and from push to ready.

Every figure here is a *weak prior*: worked out from few published observations (n = 0 of the
nursery's own), with the air temperature assumed where a source gives days only. Each says how it
was derived. They are to be replaced by figures fitted to the nursery's own counts.

All hold for degree-days by single sine with horizontal cutoff between the crop's thresholds, and
for no other way of counting: "a model is only valid with degree-days computed using that
calculation method" (Oregon State University, degree-day calculation methods).
"""

from dataclasses import dataclass, replace
from datetime import date

from service.forecast.degree_days import Cutoff, Method, daily

DECIDUOUS = frozenset(
    {"apple", "pear", "peach", "plum", "cherry", "apricot", "almond", "walnut", "grape"}
)
"""Crops whose buds, set in summer, sleep until the next spring: common practice, no source."""

AS_OF = date(2026, 1, 1)
"""When the figures below were last gone over."""


@dataclass(frozen=True)
class Thresholds:
    """A way of counting degree-days: method, cutoff and the two thresholds (degrees Celsius)."""

    lower_c: float
    upper_c: float
    method: Method = Method.SINGLE_SINE
    cutoff: Cutoff = Cutoff.HORIZONTAL

    def of_day(self, low: float, high: float, next_low: float | None) -> float:
        """Degree-days (Cd) of a day with these minimum and maximum; `next_low` is tomorrow's."""
        return daily(
            self.method,
            self.cutoff,
            minimum=low,
            maximum=high,
            lower=self.lower_c,
            upper=self.upper_c,
            next_minimum=next_low,
        )


@dataclass(frozen=True)
class Need:
    """Degree-days (Cd) needed, where the figure is from and how it was worked out, and its n.

    `days` at a mean of `mean_c` (degrees Celsius) is what the source tells; None where the figure
    was not worked out from days.
    """

    degree_days: float
    source: str
    derived: str
    days: float | None = None
    mean_c: float | None = None
    basis: str = "weak prior"
    n: int = 0
    as_of: date = AS_OF


@dataclass(frozen=True)
class Requirement:
    """What trees of a crop (by one method of grafting, or by any: `None`) need until ready.

    `grafted_to_push` and `pushed_to_ready` are None where nothing is known of them apart; then
    the whole way `grafted_to_ready` is counted from grafting, push or no push.
    """

    crop: str
    graft_method: str | None
    thresholds: Thresholds
    thresholds_source: str
    grafted_to_ready: Need
    grafted_to_push: Need | None = None
    pushed_to_ready: Need | None = None


def requirement_for(
    crop: str, graft_method: str | None, thresholds: Thresholds | None = None
) -> Requirement | None:
    """The requirement of a crop and grafting method; the crop's own where the method has none.

    With `thresholds` it is worked out anew from the days of its sources between those. None when
    nothing is known of the crop, or nothing between those thresholds: then no date is given rather
    than a made-up one.
    """
    found = REQUIREMENTS.get((crop, graft_method)) or REQUIREMENTS.get((crop, None))
    if found is None or thresholds is None or thresholds == found.thresholds:
        return found
    return _between(found, thresholds)


def _between(told: Requirement, thresholds: Thresholds) -> Requirement | None:
    ready = _restated(told.grafted_to_ready, thresholds)
    if ready is None:
        return None
    source = "the nursery's own thresholds"
    push = told.grafted_to_push and _restated(told.grafted_to_push, thresholds)
    if push is None or push.degree_days >= ready.degree_days:
        return replace(
            told,
            thresholds=thresholds,
            thresholds_source=source,
            grafted_to_ready=ready,
            grafted_to_push=None,
            pushed_to_ready=None,
        )
    return _in_two_parts(told.crop, told.graft_method, thresholds, source, push, ready)


def _restated(need: Need, thresholds: Thresholds) -> Need | None:
    """The same days at the same mean temperature, counted between other thresholds."""
    if need.days is None or need.mean_c is None:
        return None
    lower, upper = thresholds.lower_c, thresholds.upper_c
    a_day = daily(
        # a still day, which all methods count alike
        Method.SIMPLE_AVERAGE,
        thresholds.cutoff,
        minimum=need.mean_c,
        maximum=need.mean_c,
        lower=lower,
        upper=upper,
    )
    if a_day <= 0:
        return None
    total = need.days * a_day
    derived = (
        f"{need.days:g} days at an assumed mean of {need.mean_c:g} C, between the nursery's own "
        f"thresholds of {lower:g} and {upper:g} C: {total:.0f} Cd"
    )
    return replace(need, degree_days=total, derived=derived)


def _in_two_parts(
    crop: str,
    graft_method: str | None,
    thresholds: Thresholds,
    thresholds_source: str,
    push: Need,
    ready: Need,
) -> Requirement:
    """Split the whole way at the push: what the push took is not needed again."""
    after = Need(
        ready.degree_days - push.degree_days,
        f"{ready.source}; {push.source}",
        f"grafting to ready ({ready.degree_days:g} Cd) less grafting to push "
        f"({push.degree_days:g} Cd)",
    )
    return Requirement(crop, graft_method, thresholds, thresholds_source, ready, push, after)


_CITRUS = Thresholds(13, 35)
_CITRUS_SOURCE = (
    "heat units between 13 and 35 C: NSW Department of Primary Industries, Primefact 749, 2007"
)
_MANGO = Thresholds(15, 32)
_MANGO_SOURCE = (
    "lower 15 C, the limit of vegetative growth: Whiley et al. 1988; upper 32 C as used in mango "
    "degree-day work (Amaral et al. 2023, Horticulturae 9:489), from memory, to be verified"
)
_AVOCADO = Thresholds(10, 33)
_AVOCADO_SOURCE = "10 and 30 to 33 C, common practice, without a source"
_APPLE = Thresholds(4, 25)
_APPLE_SOURCE = (
    "4 C base and 25 C optimum of the growing-degree-hour curve of Anderson, Richardson & Kesner "
    "1986, values from memory; the fall above 25 C is taken as standing level"
)

_ALL = (
    _in_two_parts(
        "citrus",
        None,
        _CITRUS,
        _CITRUS_SOURCE,
        Need(
            400,
            "Randhawa & Kaur, Notulae Scientia Biologicae: sweet orange T-budded on Carrizo, "
            "budbreak 26.5 days after budding in early September (Punjab)",
            "26.5 days at an assumed mean of 28 C: 26.5 x (28 - 13) = 398, rounded to 400 Cd",
            days=26.5,
            mean_c=28,
        ),
        Need(
            2350,
            "Olaniyan, and Olaniyan, Ibe & Olajide-Taiwo (Nigeria): scions of 40 cm, forced by "
            "bending, by 24 weeks after budding",
            "168 days at an assumed mean of 27 C: 168 x (27 - 13) = 2352, rounded to 2350 Cd; at "
            "22 C under glass that is 261 days, within the 6 to 12 months of common practice",
            days=168,
            mean_c=27,
        ),
    ),
    _in_two_parts(
        "citrus",
        "micro_bud",
        _CITRUS,
        _CITRUS_SOURCE,
        Need(
            245,
            "trade article of 2018 on citrus micro-budding, after Skaria: push in 2 to 3 weeks",
            "17.5 days at an assumed glasshouse mean of 27 C: 17.5 x (27 - 13) = 245 Cd",
            days=17.5,
            mean_c=27,
        ),
        Need(
            590,
            "trade article of 2018 on citrus micro-budding, after Skaria: plantable in under 6 "
            "weeks (a small tree, not one of 40 cm)",
            "42 days at an assumed glasshouse mean of 27 C: 42 x (27 - 13) = 588, rounded to "
            "590 Cd",
            days=42,
            mean_c=27,
        ),
    ),
    _in_two_parts(
        "mango",
        None,
        _MANGO,
        _MANGO_SOURCE,
        Need(
            130,
            "Khushi et al. 2019: push 9.4 days (grafted 30 April) to 12.1 days (10 March) after "
            "grafting",
            "10.75 days at an assumed mean of 27 C: 10.75 x (27 - 15) = 129, rounded to 130 Cd",
            days=10.75,
            mean_c=27,
        ),
        Need(
            3000,
            "6 to 12 months from grafting to saleable: common practice, from memory, no source",
            "9 months (274 days) at an assumed mean of 26 C: 274 x (26 - 15) = 3014, rounded to "
            "3000 Cd",
            days=274,
            mean_c=26,
        ),
    ),
    Requirement(
        "avocado",
        None,
        _AVOCADO,
        _AVOCADO_SOURCE,
        Need(
            3650,
            "9 to 15 months to saleable on seedling stock: common practice, from memory, no "
            "source; no figure for the push was found",
            "12 months (365 days) at an assumed mean of 20 C: 365 x (20 - 10) = 3650 Cd",
            days=365,
            mean_c=20,
        ),
    ),
    Requirement(
        "apple",
        None,
        _APPLE,
        _APPLE_SOURCE,
        Need(
            2300,
            "bench graft or bud to saleable in one to two seasons: common practice; no figure for "
            "the push was found",
            "one season of 210 days at an assumed mean of 15 C: 210 x (15 - 4) = 2310, rounded to "
            "2300 Cd; winter chilling is not reckoned with",
            days=210,
            mean_c=15,
        ),
    ),
)
REQUIREMENTS: dict[tuple[str, str | None], Requirement] = {
    (each.crop, each.graft_method): each for each in _ALL
}
