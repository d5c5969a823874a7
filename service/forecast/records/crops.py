"""What is known of each crop before anything was counted: how its degree-days are counted, and the
weak figures that a forecast leans on until the nursery's own counts carry it."""

from typing import Annotated, Literal

import msgspec
from msgspec import Meta

from service.forecast.records.ways import crops_grown, own_rules, thresholds_of
from service.forecast.requirements import (
    AS_OF,
    REQUIREMENTS,
    Need,
    Requirement,
    Thresholds,
    requirement_for,
)
from service.storage.pool import Connection

Stretch = Literal["grafted_to_push", "pushed_to_ready", "grafted_to_ready"]


class WeakFigure(msgspec.Struct, frozen=True, kw_only=True):
    """Degree-days (Cd) of a stretch of growth, worked out from few published observations.

    None of them are the nursery's own. `method` (of grafting) null: of any.
    """

    stretch: Stretch
    method: str | None
    degree_days: float
    source: str
    derived: Annotated[str, Meta(description="How it was worked out.")]


class CropRow(msgspec.Struct, frozen=True, kw_only=True):
    """How a crop's degree-days are counted, and what is assumed of it without observations.

    `rule` is the nursery's own rule that states the thresholds, null where they are those that the
    service came with. They hold for a day's minimum and maximum; a site whose loggers read nearly
    all hours sums these instead, between the same thresholds. `grown`: the catalogue has cultivars
    of it.
    """

    crop: str
    grown: bool
    lower_c: float | None
    upper_c: float | None
    counting: str | None
    cutoff: str | None
    source: str | None
    as_of: str | None
    rule: str | None
    weak_figures: list[WeakFigure]


async def crop_rows(conn: Connection) -> list[CropRow]:
    """Every crop that is grown here or that something is known of, by name."""
    rules = await own_rules(conn)
    grown = set(await crops_grown(conn))
    known = {one.crop: one for one in REQUIREMENTS.values() if one.graft_method is None}
    rows = []
    for crop in sorted({*grown, *rules, *known}):
        rule, requirement = rules.get(crop), known.get(crop)
        if rule is not None:
            counted, source = thresholds_of(rule), rule.source
            as_of, code = rule.as_of, rule.code
        elif requirement is not None:
            counted, source = requirement.thresholds, requirement.thresholds_source
            as_of, code = AS_OF.isoformat(), None
        else:
            rows.append(_unknown(crop))
            continue
        rows.append(
            CropRow(
                crop=crop,
                grown=crop in grown,
                lower_c=counted.lower_c,
                upper_c=counted.upper_c,
                counting=counted.method.value,
                cutoff=counted.cutoff.value,
                source=source,
                as_of=as_of,
                rule=code,
                weak_figures=_figures(crop, counted),
            )
        )
    return rows


def _unknown(crop: str) -> CropRow:
    """A crop that is grown and of which nothing is known: no date is given for its lots."""
    nothing = dict.fromkeys(("lower_c", "upper_c", "counting", "cutoff", "source", "as_of", "rule"))
    return CropRow(crop=crop, grown=True, weak_figures=[], **nothing)


def _figures(crop: str, counted: Thresholds) -> list[WeakFigure]:
    methods = [one.graft_method for one in REQUIREMENTS.values() if one.crop == crop]
    found = [requirement_for(crop, method, counted) for method in methods]
    return [figure for one in found if one is not None for figure in _figures_of(one)]


def _figures_of(one: Requirement) -> list[WeakFigure]:
    stretches: list[tuple[Stretch, Need | None]] = [
        ("grafted_to_push", one.grafted_to_push),
        ("pushed_to_ready", one.pushed_to_ready),
        ("grafted_to_ready", one.grafted_to_ready),
    ]
    return [
        WeakFigure(
            stretch=stretch,
            method=one.graft_method,
            degree_days=round(need.degree_days, 1),
            source=need.source,
            derived=need.derived,
        )
        for stretch, need in stretches
        if need is not None
    ]
