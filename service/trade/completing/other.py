"""Completing the catalogue's changes and facts that move nothing."""

from datetime import timedelta
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from service.trade.accounts import STANDING
from service.trade.bench import Bench
from service.trade.completing import completes
from service.trade.completing.budwood import day_given, day_in
from service.trade.entries import Catalogue
from service.trade.events.catalogue import (
    CatalogueChanged,
    CatalogueChangedData,
    CheckPlan,
    CropDegreeDays,
    Cultivar,
    DestinationRule,
    Place,
    Rule,
    Site,
    SourceTree,
)
from service.trade.events.facts import (
    AlertRemindOn,
    AlertRemindOnData,
    PlaceChecked,
    PlaceCheckedData,
    ToolsDisinfected,
    ToolsDisinfectedData,
    TreatmentApplied,
    TreatmentAppliedData,
    WorkDone,
    WorkDoneData,
)
from service.trade.verdicts import refuse
from service.trade.words import understand_occurred

# A house is closed for as long as a wrong day says, so a slip of the year must not pass.
LONGEST_APPLICATION = timedelta(days=7)


@completes(CatalogueChanged)
def _catalogue(bench: Bench, d: CatalogueChangedData) -> CatalogueChangedData:
    entry, catalogue, at = d.entry, bench.books.catalogue, "#/data/entry"
    if isinstance(entry, Site):
        if entry.code != bench.here:
            raise refuse(
                "unknown_code", "A site is changed by itself.", f"{at}/code", code=entry.code
            )
        try:
            ZoneInfo(entry.time_zone)
        except (ZoneInfoNotFoundError, ValueError, OSError) as error:
            raise refuse(
                "bad_value",
                f"{entry.time_zone} is no time zone of the IANA database.",
                f"{at}/time_zone",
            ) from error
        _normal(entry, f"{at}/climate_normal")
        _ranges(entry, f"{at}/norms/watch")
        _inspected(entry, f"{at}/plant_health")
    elif isinstance(entry, Place):
        if entry.site != bench.here:
            raise refuse(
                "unknown_code", "A place is changed by its own site.", f"{at}/site", code=entry.site
            )
        if entry.retired:
            _empty(bench, entry.code)
        before = catalogue.entries.get(("place", entry.code))
        if before is not None and isinstance(before[0], Place) and before[0].site != entry.site:
            raise refuse("code_in_use", f"Place {entry.code} exists.", f"{at}/code")
    elif isinstance(entry, SourceTree):
        catalogue.cultivar(entry.cultivar, f"{at}/cultivar")
        if entry.site is not None:
            catalogue.site(entry.site, f"{at}/site")
        day_given(bench, entry.last_tested_on, f"{at}/last_tested_on")
        day_given(bench, entry.expires_on, f"{at}/expires_on")
    elif isinstance(entry, CheckPlan):
        if entry.overdue_days < entry.due_days:
            raise refuse(
                "counts_disagree",
                "A check can't be overdue before it is due.",
                f"{at}/overdue_days",
                due_days=entry.due_days,
                overdue_days=entry.overdue_days,
            )
    elif isinstance(entry, Rule):
        day_given(bench, entry.as_of, f"{at}/as_of")
        if entry.degree_days is not None and not entry.retired:
            _degree_days(catalogue, entry.code, entry.degree_days, f"{at}/degree_days")
        if entry.destination is not None and not entry.retired:
            _destination(catalogue, entry.destination, f"{at}/destination")
    return d


def _ranges(site: Site, at: str) -> None:
    """Refuse a range whose lowest temperature is above its highest."""
    watch = site.norms.watch
    if watch is None:
        return
    for name, told in (("bench_c", watch.bench_c), ("cooler_c", watch.cooler_c)):
        if told is not None and told.lowest_c > told.highest_c:
            raise refuse(
                "counts_disagree",
                f"The lowest {told.lowest_c:g} C is above the highest {told.highest_c:g} C.",
                f"{at}/{name}",
                lowest_c=told.lowest_c,
                highest_c=told.highest_c,
            )


def _normal(site: Site, at: str) -> None:
    """Refuse a month whose mean minimum is above its mean maximum."""
    normal = site.climate_normal
    if normal is None:
        return
    for month, (low, high) in enumerate(zip(normal.min_c, normal.max_c, strict=True)):
        if low > high:
            raise refuse(
                "counts_disagree",
                f"In month {month + 1} the minimum {low:g} C is above the maximum {high:g} C.",
                f"{at}/min_c/{month}",
                min_c=low,
                max_c=high,
            )


def _inspected(site: Site, at: str) -> None:
    """Refuse days that are none, and an inspection that was over before it began."""
    health = site.plant_health
    if health is None:
        return
    since, until = health.inspected_on, health.valid_until
    for name, day in (("inspected_on", since), ("valid_until", until)):
        if day is not None:
            day_in(site, day, f"{at}/{name}")
    if since and until and until[:10] < since[:10]:
        raise refuse(
            "counts_disagree",
            f"An inspection of {since[:10]} can't be valid until {until[:10]}, before it.",
            f"{at}/valid_until",
            inspected_on=since,
            valid_until=until,
        )


def _degree_days(catalogue: Catalogue, code: str, told: CropDegreeDays, at: str) -> None:
    """Refuse crossed thresholds, a crop that no cultivar is of, and a second rule for one."""
    if not told.lower_c < told.upper_c:
        raise refuse(
            "counts_disagree",
            f"The lower threshold {told.lower_c:g} C is not below the upper {told.upper_c:g} C.",
            f"{at}/lower_c",
            lower_c=told.lower_c,
            upper_c=told.upper_c,
        )
    if told.method == "modified_average" and told.cutoff != "horizontal":
        raise refuse(
            "bad_value", "The modified average knows the horizontal cutoff only.", f"{at}/cutoff"
        )
    _crop_grown(catalogue, told.crop, f"{at}/crop")
    for other, _ in catalogue.entries.values():
        if (
            isinstance(other, Rule)
            and other.code != code
            and not other.retired
            and other.degree_days is not None
            and other.degree_days.crop == told.crop
        ):
            raise refuse(
                "code_in_use",
                f"Rule {other.code} counts {told.crop} already: change or retire that one.",
                f"{at}/crop",
                rule=other.code,
            )


def _crop_grown(catalogue: Catalogue, crop: str, at: str) -> None:
    entries = [entry for entry, _ in catalogue.entries.values()]
    crops = {entry.crop for entry in entries if isinstance(entry, Cultivar)}
    if crop not in crops:
        raise refuse(
            "unknown_code",
            f"No cultivar is of the crop {crop}.",
            at,
            crop=crop,
            known=sorted(crops),
        )


def _destination(catalogue: Catalogue, told: DestinationRule, at: str) -> None:
    """Refuse a rule that can fit nothing: of what is not known, or of trees and buds at once."""
    for index, site in enumerate(told.sites):
        catalogue.site(site, f"{at}/sites/{index}")
    if told.crop is not None:
        _crop_grown(catalogue, told.crop, f"{at}/crop")
    if told.cultivar is not None:
        cultivar = catalogue.cultivar(told.cultivar, f"{at}/cultivar")
        _of_the_cultivar(told, cultivar, at)
    if told.rootstock is not None:
        catalogue.rootstock(told.rootstock, f"{at}/rootstock")
        if told.goods == "buds":
            raise refuse("counts_disagree", "Buds are on no rootstock.", f"{at}/rootstock")


def _of_the_cultivar(told: DestinationRule, cultivar: Cultivar, at: str) -> None:
    for name in ("crop", "species"):
        said, its = getattr(told, name), getattr(cultivar, name)
        if said is not None and said.casefold() != its.casefold():
            raise refuse(
                "counts_disagree",
                f"{cultivar.code} is of the {name} {its}, not {said}.",
                f"{at}/{name}",
            )


def _empty(bench: Bench, place: str) -> None:
    """Refuse to retire a place on which something stands now."""
    standing = {
        lot: sum(
            account.balance
            for key, account in table.items()
            if key.place == place and key.kind in STANDING
        )
        for lot, table in bench.books.accounts.items()
    }
    there = {lot: count for lot, count in sorted(standing.items()) if count > 0}
    if there:
        raise refuse(
            "not_empty",
            f"{sum(there.values())} stand at {place}; move them or count them away first.",
            "#/data/entry/retired",
            standing=dict(list(there.items())[:20]),
        )


@completes(PlaceChecked)
def _checked(bench: Bench, d: PlaceCheckedData) -> PlaceCheckedData:
    bench.place(d.place, "#/data/place")
    return d


@completes(WorkDone)
def _work(bench: Bench, d: WorkDoneData) -> WorkDoneData:
    if d.lot is None and d.place is None:
        raise refuse("missing", "Say on what: `lot` or `place`.", "#/data/lot")
    if d.lot is not None:
        bench.lot_here(d.lot, "#/data/lot")
    if d.place is not None:
        bench.place(d.place, "#/data/place")
    return d


@completes(ToolsDisinfected)
def _disinfected(bench: Bench, d: ToolsDisinfectedData) -> ToolsDisinfectedData:
    before = d.before
    if (
        before is not None
        and before not in bench.books.lots
        and ("source_tree", before) not in bench.books.catalogue.entries
    ):
        raise refuse(
            "unknown_code",
            f"No source tree or lot {before} is known.",
            "#/data/before",
            code=before,
        )
    return d


@completes(TreatmentApplied)
def _treated(bench: Bench, d: TreatmentAppliedData) -> TreatmentAppliedData:
    for index, place in enumerate(d.places):
        bench.place(place, f"#/data/places/{index}")
    if d.ended is not None:
        _ended(bench, d.ended, "#/data/ended")
    return d


def _ended(bench: Bench, text: str, at: str) -> None:
    """Refuse an application that ended before it began, or lasted longer than any does."""
    day_given(bench, text, at)
    began, ended = bench.moment, understand_occurred(text, ZoneInfo(bench.site.time_zone))
    both_timed = began.timed and ended.timed
    if ended.at < began.at if both_timed else ended.day < began.day:
        said = f"It can't have ended on {text}: it began on {bench.event.occurred}."
        raise refuse("counts_disagree", said, at)
    if ended.day - began.day > LONGEST_APPLICATION:
        days = LONGEST_APPLICATION.days
        said = f"{text} is more than {days} days after its beginning; record each day by itself."
        raise refuse("counts_disagree", said, at, most_days=days)


@completes(AlertRemindOn)
def _remind(bench: Bench, d: AlertRemindOnData) -> AlertRemindOnData:
    day_given(bench, d.on, "#/data/on")
    if d.on[:10] <= str(bench.day):
        raise refuse(
            "counts_disagree",
            f"A reminder is for a day to come; {d.on[:10]} is not after {bench.day}.",
            "#/data/on",
        )
    return d
