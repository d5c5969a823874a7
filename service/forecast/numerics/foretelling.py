"""From figures to `Foretold`: what was learned, when lots are ready, what there will be."""

from collections.abc import Mapping
from datetime import date
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from service.forecast.numerics import regression, stands, times
from service.forecast.numerics.assemble import Assembly, Telling
from service.forecast.numerics.beliefs import Beliefs, seeded
from service.forecast.numerics.believed import lots_in_words
from service.forecast.numerics.clocks import Clock, way_of
from service.forecast.numerics.groups import Group, month_name
from service.forecast.numerics.learn import Learned
from service.forecast.numerics.weather import Ahead
from service.forecast.shapes import ALL_SITES, Known, LeadTime, LotTold, Supply
from service.forecast.shapes import Learned as LearnedRow

Floats = NDArray[np.float64]
_SURE = 1.2816  # sds to either side that hold 80 % of a normal distribution
_DRAWS = 1000
_NAMED = 5


def learned_rows(one: Learned) -> list[LearnedRow]:
    """All that was learned of a group: over all, by method and by site."""
    group = one.group
    asked: list[dict[str, str]] = [
        {},
        # A group of one method was told with that method already.
        *({"method": name} for name in group.names["method"] if not _own_method(group)),
        *({"site": name} for name in group.names["site"]),
    ]
    rows = []
    for names in asked:
        levels = {factor: group.level(factor, name) for factor, name in names.items()}
        for what, fit in (("push", one.push), ("ready", one.ready)):
            rows.append(_time_row(group, what, fit, names, levels))
        for what, share in (("take", one.take), ("survival", one.survival)):
            rows.append(_share_row(group, what, share, names, levels))
    if one.from_forcing is not None:
        rows.append(_time_row(group, "push_from_forcing", one.from_forcing, {}, {}))
    rows.append(_never_row(group, "never_pushes", one.push))
    rows.append(_never_row(group, "unfit", one.ready))
    return rows


def _time_row(
    group: Group, what: str, fit: times.Fit, names: Mapping[str, str], levels: Mapping[str, int]
) -> LearnedRow:
    mean, sd, lot_sd = fit.typical(levels)
    trees, lots = fit.based_on(levels)
    wide = float(np.hypot(sd, lot_sd))
    return LearnedRow(
        what=what,
        crop=group.crop,
        method=names.get("method", _own_method(group)),
        site=names.get("site", ""),
        middle=float(np.exp(mean)),
        low=float(np.exp(mean - _SURE * sd)),
        high=float(np.exp(mean + _SURE * sd)),
        lot_low=float(np.exp(mean - _SURE * wide)),
        lot_high=float(np.exp(mean + _SURE * wide)),
        spread=fit.spread,
        family=fit.family,
        trees=round(trees),
        lots=lots,
        fallback=fit.borrows(levels),
        counting=group.counting.method.value,
    )


def set_aside(known: Known, one: Learned) -> str:
    """Which lots a group did not learn from."""
    codes = sorted(known.lots.code[lot] for lot in one.unlike)
    named = ", ".join(codes[:_NAMED]) + (" and others" if len(codes) > _NAMED else "")
    return (
        f"{one.group.crop}: nothing was learned from {named}, so unlike the other lots that a slip "
        "of the records is likelier."
    )


def _own_method(group: Group) -> str:
    return (group.requirement.graft_method if group.requirement else None) or ""


def _share_row(
    group: Group,
    what: str,
    fit: regression.Fit,
    names: Mapping[str, str],
    levels: Mapping[str, int],
) -> LearnedRow:
    """The other factors as they were seen."""
    mean, rho = fit.typical(levels, seeded(1, f"{group.key} {what} told"), _DRAWS)
    a, b = mean * (1 / rho - 1), (1 - mean) * (1 / rho - 1)
    lots = seeded(2, f"{group.key} {what} told").beta(a, b)
    trees, count = fit.trials, fit.lots
    for factor, level in levels.items():
        if level < 0 or level >= len(fit.seen.get(factor, ())):
            trees, count = 0.0, 0
        else:
            _, trees, count = fit.seen[factor][level].tolist()
    low, middle, high = np.quantile(mean, (0.1, 0.5, 0.9))
    lot_low, lot_high = np.quantile(lots, (0.1, 0.9))
    fallback = fit.fallback
    if not fallback and count < regression.FEW_LOTS and levels:
        fallback = f"{lots_in_words(int(count))} of its own: borrows from the others"
    return LearnedRow(
        what=what,
        crop=group.crop,
        method=names.get("method", _own_method(group)),
        site=names.get("site", ""),
        middle=float(middle),
        low=float(low),
        high=float(high),
        lot_low=float(lot_low),
        lot_high=float(lot_high),
        spread=fit.rho,
        family="beta-binomial",
        trees=round(trees),
        lots=int(count),
        fallback=fallback,
        counting=group.counting.method.value,
    )


def _never_row(group: Group, what: str, fit: times.Fit) -> LearnedRow:
    drawn = fit.draw(seeded(3, f"{group.key} {what}"), _DRAWS).never
    low, middle, high = np.quantile(drawn, (0.1, 0.5, 0.9))
    return LearnedRow(
        what=what,
        crop=group.crop,
        method=_own_method(group),
        site="",
        middle=float(middle),
        low=float(low),
        high=float(high),
        lot_low=float(low),
        lot_high=float(high),
        spread=0.0,
        family=fit.family,
        trees=round(fit.n_trees),
        lots=fit.n_lots,
        fallback=fit.fallback,
        counting=group.counting.method.value,
    )


def lot_rows(
    known: Known,
    clocks: Mapping[tuple[str, str], Clock],
    ahead: Mapping[str, Ahead],
    assembly: Assembly,
    told: stands.Told,
) -> list[LotTold]:
    """Each lot at a site of which trees still grow, with the days and all they rest on."""
    groups = told.groups
    rows = []
    for number, one in enumerate(assembly.told):
        clock = clocks[one.site, one.learned.group.crop]
        p20, p50, p80 = (int(day) for day in groups.day[number])
        needed, basis = groups.needed[number], _basis(one)
        rows.append(
            LotTold(
                lot=one.lot,
                site=one.site,
                trees=one.trees,
                phase="pushed" if one.from_push else "grafted",
                since=one.since,
                p20=p20,
                p50=p50,
                p80=p80,
                ready=float(groups.ready[number]),
                ready_low=int(groups.ready_low[number]),
                ready_high=int(groups.ready_high[number]),
                needed=float(needed[1]),
                needed_low=float(needed[0]),
                needed_high=float(needed[2]),
                counted=one.counted,
                gap_days=round(one.gap_days),
                counting=clock.counting.method.value,
                lower_c=clock.counting.lower_c,
                upper_c=clock.counting.upper_c,
                years=ahead[one.site].years,
                why="" if p50 else "Half of the trees are not ready within the time looked ahead.",
                remarks=_remarks(known, one, clock.today, p50, ahead[one.site]),
                based_on_trees=basis.trees,
                based_on_lots=basis.lots,
                fallback=basis.fallback,
            )
        )
    return rows


class _Basis(NamedTuple):
    trees: int
    lots: int
    fallback: str


def _basis(one: Telling) -> _Basis:
    member = int(one.learned.group.at[one.lot])
    group = one.learned.group
    levels = {"method": int(group.factors["method"][member])}
    fit = one.learned.ready
    trees, lots = fit.based_on(levels)
    said = fit.borrows(levels)
    if not lots:
        # It borrows from the lots of other methods: these it rests on.
        trees, lots = fit.based_on({})
    if not one.from_push:
        push = one.learned.push_fit(bool(one.learned.forced[member])).borrows(levels)
        said = "; ".join(
            f"{words} ({about})" for words, about in ((push, "push"), (said, "ready")) if words
        )
    return _Basis(round(trees), lots, said)


def _remarks(known: Known, one: Telling, today: int, p50: int, ahead: Ahead) -> list[str]:
    learned, group = one.learned, one.learned.group
    member = int(group.at[one.lot])
    said = []
    if p50 and p50 < today:
        said.append("Half of them should be ready by now: look, and grade what is.")
    if learned.rest_ends and group.resting[member]:
        month = month_name(learned.rest_ends, bool(group.south[member]))
        said.append(f"Buds set in summer rest: degree-days count from {month}.")
    if learned.forced[member]:
        day = date.fromordinal(int(group.forced_on[member]))
        said.append(f"Counted from the forcing of the tops on {day}.")
    if known.lots.site[one.lot] != one.site:
        said.append(
            f"Grafted at {known.lots.site[one.lot]}: the days before the trees came are counted "
            f"by the temperatures of {one.site}."
        )
    if known.lots.grown_for[one.lot]:
        said.append("Grown for a customer: not in what may be promised to others.")
    if ahead.words:
        said.append(ahead.words[0].upper() + ahead.words[1:] + ".")
    return said


def untold(
    known: Known, clocks: Mapping[tuple[str, str], Clock], assembly: Assembly
) -> list[LotTold]:
    """Growing trees of which no day can be told, each with the reason."""
    there = {(one.lot, one.site) for one in assembly.told}
    trees: dict[tuple[int, str], int] = {}
    phases: dict[tuple[int, str], str] = {}
    standing = known.standing
    for row, lot in enumerate(standing.lot):
        key = (lot, standing.site[row])
        if key not in there and standing.stage[row] != "ready":
            trees[key] = trees.get(key, 0) + standing.trees[row]
            if standing.stage[row] == "pushed" or key not in phases:
                phases[key] = standing.stage[row]
    return [
        LotTold(
            lot=lot,
            site=site,
            trees=count,
            phase=phases[lot, site],
            since=known.lots.grafted_on[lot],
            p20=0,
            p50=0,
            p80=0,
            ready=float("nan"),
            ready_low=0,
            ready_high=0,
            needed=float("nan"),
            needed_low=float("nan"),
            needed_high=float("nan"),
            counted=float("nan"),
            gap_days=0,
            counting="",
            lower_c=float("nan"),
            upper_c=float("nan"),
            years=0,
            based_on_trees=0,
            based_on_lots=0,
            fallback="",
            why=_why(known, clocks, lot, site),
            remarks=[],
        )
        for (lot, site), count in trees.items()
    ]


def _why(known: Known, clocks: Mapping[tuple[str, str], Clock], lot: int, site: str) -> str:
    crop, made_at = known.lots.crop[lot], known.lots.site[lot]
    if not crop:
        return "The crop is not known."
    here, there = clocks.get((site, crop)), clocks.get((made_at, crop))
    if not any(of == crop for _, of in clocks) and not way_of(known, crop):
        return f"No way of counting degree-days is known for crop {crop}."
    if here is None or there is None:
        lacking = site if here is None else made_at
        if any(weather.site == lacking and weather.low for weather in known.sites):
            return f"The temperatures of site {lacking} lack too many of the newest days."
        return f"Site {lacking} has no temperatures on record."
    if not known.lots.grafted_on[lot]:
        return "The day of grafting is not known, so no degree-days can be counted."
    if here.counting != there.counting:
        return (
            f"Sites {made_at} and {site} count degree-days differently (by the hour, by the day): "
            "what was learned at one is not spent at the other."
        )
    return "The site's temperatures do not reach back to the day of grafting."


def supply_rows(known: Known, assembly: Assembly, told: stands.Told) -> list[Supply]:
    """How many there will be of each item, by site and at all together."""
    stock, task = told.stock, assembly.task
    rows = []
    for number in range(len(stock.kin)):
        cultivar, rootstock = assembly.kins[int(stock.kin[number])]
        site, grade = int(stock.site[number]), int(stock.grade[number])
        rows.append(
            Supply(
                cultivar=cultivar,
                rootstock=rootstock,
                size=task.stock.sizes[int(stock.size[number])],
                grade="" if grade == stands.NONE else task.stock.grades[grade],
                site=ALL_SITES if site == stands.NONE else task.stock.sites[site],
                first=task.first,
                quantities=stock.quantities[number].tolist(),
                mean=stock.mean[number].tolist(),
                trees=int(stock.trees[number]),
            )
        )
    return rows


def lead_rows(beliefs: Beliefs, assembly: Assembly, told: stands.Told) -> list[LeadTime]:
    """From grafting to ready, and the share saleable of grafted, for each grafting asked about."""
    shares: dict[tuple[int, ...], dict[str, float]] = {}
    rows = []
    for number, lead in enumerate(assembly.leads):
        if lead.rows not in shares:
            shares[lead.rows] = _saleable(beliefs, lead.rows)
        group = lead.learned.group
        levels = {"method": group.level("method", lead.method)}
        rows.append(
            LeadTime(
                site=lead.site,
                crop=group.crop,
                method=lead.method,
                grafted_on=lead.grafted_on,
                days=told.half[number].tolist(),
                nearly=told.nearly[number].tolist(),
                lots=lead.learned.ready.based_on(levels)[1],
                fallback=lead.learned.ready.borrows(levels),
                **shares[lead.rows],
            )
        )
    return rows


def _saleable(beliefs: Beliefs, rows: tuple[int, ...]) -> dict[str, float]:
    """Mean shares, and mean and correlation of their product: what is not known of the means
    spreads lots too."""
    parts = [beliefs.rate(row) for row in rows]
    mean = np.prod([part for part, _ in parts], axis=0)
    square = np.prod([part**2 + part * (1 - part) * rho for part, rho in parts], axis=0)
    overall = float(mean.mean())
    variance = max(float(square.mean()) - overall**2, 0.0)
    take, push, survival, fit = (float(part.mean()) for part, _ in parts)
    return {
        "take": take,
        "push": push,
        "survival": survival,
        "fit": fit,
        "mean": overall,
        "correlation": min(variance / max(overall * (1 - overall), 1e-9), 1.0),
    }
