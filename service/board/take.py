"""Take and push: what works, with how sure that is; and how pushes come with the heat."""

from collections.abc import Sequence
from typing import get_args

from litestar.handlers import HTTPRouteHandler

from service.api.operation import Reply
from service.api.problems import bad_parameter, lacks_scope
from service.board.asking import Asked, Field, again
from service.board.charts import Curve, Interval, curves, intervals
from service.board.figures import Figure, files_of, hand_of
from service.board.names import Names, names
from service.board.page import page
from service.board.sites_asked import Sites, sites_of
from service.board.visit import Visit
from service.forecast.answers import push_curves_view
from service.forecast.answers.push_curves_view import PushCurveRow, PushCurvesQuery
from service.forecast.answers.take_rates_view import (
    GRAFTER,
    Factor,
    Measure,
    TakeRateRow,
    TakeRatesQuery,
    take_rates,
)
from service.log.rights import GRAFTERS, READ
from service.wording.trade_words import METHODS, named
from service.wording.words import phrase

FEW = 100
"""Fewer trees than these are too few to go by, and are not ranked."""
ROWS = 40
FACTORS = {
    "method": phrase("method"),
    "rootstock": phrase("rootstock"),
    "cultivar": phrase("cultivar"),
    "grafter": phrase("grafter"),
    "month": phrase("month of grafting"),
    "site": phrase("site"),
}
MEASURES = {"take": phrase("take"), "survival": phrase("from push to ready")}
SINCE = {"grafting": phrase("after grafting"), "forcing": phrase("after forcing")}
COUNTINGS = {
    "single_sine": phrase("counted from the day's lowest and highest"),
    "hourly": phrase("counted from the hours"),
    "hourly_sum": phrase("counted from the hours"),
}


class TakeAsked(Asked, frozen=True, kw_only=True):
    """Which levels are compared, and in what."""

    site: Field = ""
    by: Field = ""
    measure: Field = ""
    crop: Field = ""


class PushAsked(Asked, frozen=True, kw_only=True):
    """Which curve."""

    crop: Field = ""
    method: Field = ""
    since: Field = ""
    counting: Field = ""


def _factor(visit: Visit[TakeAsked]) -> Factor:
    """What is compared. Raises 422 for nothing known, 403 for grafters without the right."""
    by = visit.query.by or "method"
    if by == GRAFTER and not visit.principal.may(GRAFTERS):
        raise lacks_scope(GRAFTERS)
    for one in get_args(Factor):
        if one == by:
            return one  # type: ignore[no-any-return]
    raise bad_parameter("by", f"{by} is nothing that is compared.")


def _measure(text: str) -> Measure:
    return "survival" if text == "survival" else "take"


async def _rates(visit: Visit[TakeAsked], sites: Sites) -> list[TakeRateRow]:
    """The levels compared: of one site, or of all together for who sees them all."""
    by, asked = _factor(visit), visit.query
    query = TakeRatesQuery(
        by=by,
        measure=_measure(asked.measure),
        site=sites.code if by != "site" else None,
        crop=asked.crop.strip() or None,
        limit=1000,
    )
    pool, seen = visit.services.database.reader, visit.principal.site_list
    found = await take_rates(pool, query, seen)
    rows = found.rows
    if by != "site":
        rows = [row for row in rows if row.site == sites.code] or rows
    return sorted(rows, key=lambda row: (row.crop or "", -row.adjusted))


def _level(visit: Visit[TakeAsked], called: Names, row: TakeRateRow) -> str:
    """What a level is called."""
    if row.by == "method":
        return named(visit.words, row.level, METHODS)
    if row.by in ("rootstock", "cultivar"):
        return called.of(row.by, row.level)
    return row.level


def _label(visit: Visit[TakeAsked], called: Names, row: TakeRateRow, crops: int) -> str:
    level = _level(visit, called, row)
    return f"{level} · {row.crop}" if row.crop and crops > 1 else level


def rates_figure(
    visit: Visit[TakeAsked], called: Names, rows: Sequence[TakeRateRow], sites: Sites
) -> Figure | None:
    """The levels with their intervals. None where there are none."""
    if not rows:
        return None
    words, shown = visit.words, visit.shown
    crops = len({row.crop for row in rows})
    # Of few trees nobody should be told that they are best.
    best = max(rows, key=lambda row: (row.n >= FEW, row.adjusted))
    drawn = [_interval(visit, _label(visit, called, row, crops), row) for row in rows[:ROWS]]
    measure = _measure(visit.query.measure)
    title = (
        words.gettext("Take by %(factor)s")
        if measure == "take"
        else words.gettext("From push to ready by %(factor)s")
    ) % {"factor": words.gettext(FACTORS[rows[0].by])}
    most = words.gettext(
        "Highest, all else equal: %(level)s with %(share)s in 100, 8 in 10 sure %(low)s to "
        "%(high)s, of %(trees)s trees in %(lots)s lots.",
        level=_label(visit, called, best, crops),
        share=shown.number(100 * best.adjusted),
        low=shown.number(100 * best.adjusted_low),
        high=shown.number(100 * best.adjusted_high),
        trees=shown.number(best.n),
        lots=shown.number(best.lots),
    )
    return Figure(
        key="rates",
        title=title,
        description=most,
        draw=lambda width, said: intervals(
            width,
            said,
            hand_of(shown),
            drawn,
            of_hundred=words.gettext("of 100 grafts that were read, so many took")
            if measure == "take"
            else words.gettext("of 100 that pushed, so many became ready"),
            middle_words=words.gettext("all else equal, 8 in 10 sure"),
            plain_words=words.gettext("as counted, 95 in 100 sure"),
            few_words=words.gettext("fewer than 100 trees"),
        ),
        header=[
            words.gettext(FACTORS[rows[0].by]),
            words.gettext("Crop"),
            words.gettext("Hits"),
            words.gettext("Trees"),
            words.gettext("Lots"),
            words.gettext("As counted, in 100"),
            words.gettext("at least"),
            words.gettext("at most"),
            words.gettext("All else equal, in 100"),
            words.gettext("at least"),
            words.gettext("at most"),
        ],
        rows=[_cells(_level(visit, called, row), row) for row in rows],
        file=f"take-{sites.today}",
        address="/take/chart",
        query=again(visit.query),
    )


def _cells(level: str, row: TakeRateRow) -> tuple[object, ...]:
    shares = (row.share, row.low, row.high, row.adjusted, row.adjusted_low, row.adjusted_high)
    of_hundred = [round(100 * share, 1) for share in shares]
    return (level, row.crop, row.hits, row.n, row.lots, *of_hundred)


def _interval(visit: Visit[TakeAsked], label: str, row: TakeRateRow) -> Interval:
    words, shown = visit.words, visit.shown
    lots = words.ngettext("%(num)s lot", "%(num)s lots", row.lots)
    note = words.gettext(
        "%(hits)s of %(n)s, %(lots)s", hits=shown.number(row.hits), n=shown.number(row.n), lots=lots
    )
    if row.n < FEW:
        note = words.gettext("%(note)s: few", note=note)
    return Interval(
        label,
        note,
        row.adjusted_low,
        row.adjusted,
        row.adjusted_high,
        (row.low, row.share, row.high),
        row.n < FEW,
    )


async def _rates_file(visit: Visit[TakeAsked]) -> Figure | None:
    sites = await sites_of(visit, visit.query.site)
    async with visit.services.reading() as conn:
        called = await names(conn)
    return rates_figure(visit, called, await _rates(visit, sites), sites)


@page("GET", "/take", scope=READ, query=TakeAsked)
async def get_take(visit: Visit[TakeAsked]) -> Reply:
    """What takes, by method, rootstock and more; by grafter for who may see that."""
    sites = await sites_of(visit, visit.query.site)
    async with visit.services.reading() as conn:
        called = await names(conn)
    rows = await _rates(visit, sites)
    may = visit.principal.may(GRAFTERS)
    factors = [(one, visit.words.gettext(text)) for one, text in FACTORS.items()]
    return visit.page(
        "take.html",
        asked=visit.query,
        sites=sites,
        chosen=sites.chosen,
        by=_factor(visit),
        measure=_measure(visit.query.measure),
        factors=[(one, text) for one, text in factors if may or one != GRAFTER],
        measures=[(one, visit.words.gettext(text)) for one, text in MEASURES.items()],
        figure=rates_figure(visit, called, rows, sites),
        left_out=max(len(rows) - ROWS, 0),
        elsewhere=bool(rows) and rows[0].site != sites.code,
    )


async def _curves(visit: Visit[PushAsked]) -> list[PushCurveRow]:
    query = PushCurvesQuery(limit=200)
    pool, seen = visit.services.database.reader, visit.principal.site_list
    return (await push_curves_view.push_curves(pool, query, seen)).rows


def chosen_curve(asked: PushAsked, rows: Sequence[PushCurveRow]) -> PushCurveRow | None:
    """The curve of the address; the one of most trees where it names none."""
    fits = [
        row
        for row in rows
        if asked.crop in ("", row.crop)
        and asked.method in ("", row.method)
        and asked.since in ("", row.since)
        and asked.counting in ("", row.counting)
    ]
    return max(fits, key=lambda row: row.trees, default=None)


def curve_name(visit: Visit[PushAsked], row: PushCurveRow) -> str:
    """Which trees it is of, and from where the heat is counted."""
    words = visit.words
    method = named(words, row.method, METHODS) or words.gettext("all methods")
    return f"{row.crop}, {method}, {words.gettext(SINCE[row.since])}"


def curve_figure(visit: Visit[PushAsked], row: PushCurveRow) -> Figure:
    """One push curve."""
    words, shown = visit.words, visit.shown
    # Degree-days are of °C; who reads °F is told them in °F.
    by = 1.8 if shown.degree == "°F" else 1.0
    points = [Curve(by * one.degree_days, one.share, one.fitted) for one in row.points]
    counting = words.gettext(COUNTINGS.get(row.counting, row.counting))
    heat = words.gettext(
        "degree-days (%(degree)s) %(since)s, %(counting)s",
        degree=shown.degree,
        since=words.gettext(SINCE[row.since]),
        counting=counting,
    )
    return Figure(
        key="push",
        title=curve_name(visit, row),
        description=_curve_said(visit, row),
        draw=lambda width, said: curves(
            width,
            said,
            hand_of(shown),
            points,
            heat_words=heat,
            counted_words=words.gettext("pushed of 100 grafts, as counted"),
            between_words=words.gettext("between two counts: it rose somewhere in here"),
            fitted_words=words.gettext("fitted: what the forecast goes by"),
        ),
        header=[
            words.gettext("Degree-days (%(degree)s)", degree=shown.degree),
            words.gettext("Pushed of 100"),
            words.gettext("Fitted, of 100"),
        ],
        rows=[
            (
                round(one.heat, 1),
                round(100 * one.share, 1),
                None if one.fitted is None else round(100 * one.fitted, 1),
            )
            for one in points
        ],
        file=f"push-{row.crop}",
        address="/push/chart",
        query=again(_asked_of(row)),
    )


def _curve_said(visit: Visit[PushAsked], row: PushCurveRow) -> str:
    words, shown = visit.words, visit.shown
    half = next((one.degree_days for one in row.points if one.share >= 0.5), None)
    said = (
        words.gettext("Half of the grafts had pushed by %(heat)s.", heat=shown.degree_days(half))
        if half is not None
        else words.gettext("Not half of the grafts had pushed when last counted.")
    )
    counted = words.gettext(
        "Counted on %(trees)s trees in %(lots)s lots; %(pushed)s of them had pushed, %(died)s more "
        "failed or were lost first.",
        trees=shown.number(row.trees),
        lots=shown.number(row.lots),
        pushed=shown.number(row.pushed),
        died=shown.number(row.failed + row.lost),
    )
    few = "" if row.trees >= FEW else " " + words.gettext("These are few: do not lean on it.")
    return f"{said} {counted}{few}"


def _asked_of(row: PushCurveRow) -> PushAsked:
    return PushAsked(crop=row.crop, method=row.method, since=row.since, counting=row.counting)


async def _curve_file(visit: Visit[PushAsked]) -> Figure | None:
    row = chosen_curve(visit.query, await _curves(visit))
    return None if row is None else curve_figure(visit, row)


@page("GET", "/push", scope=READ, query=PushAsked)
async def get_push(visit: Visit[PushAsked]) -> Reply:
    """How soon buds push, by the heat they had."""
    rows = await _curves(visit)
    row = chosen_curve(visit.query, rows)
    return visit.page(
        "push.html",
        figure=None if row is None else curve_figure(visit, row),
        others=[
            (curve_name(visit, one), "/push?" + again(_asked_of(one)), one.trees, one is row)
            for one in sorted(rows, key=lambda one: -one.trees)
        ],
    )


HANDLERS: list[HTTPRouteHandler] = [
    get_take,
    get_push,
    *files_of("/take/chart", TakeAsked, _rates_file),
    *files_of("/push/chart", PushAsked, _curve_file),
]
