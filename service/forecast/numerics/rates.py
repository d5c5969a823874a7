"""What works: take and survival by method, grafter, rootstock, cultivar, month; plain and adjusted.

Plain shares mislead: one grafter gets the hard rootstocks, one method the good month. So each
factor is told as if its levels had shared all else (a beta-binomial regression of lots), and levels
with few trees are drawn toward the others.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from service.forecast.numerics import regression
from service.forecast.numerics.beliefs import seeded
from service.forecast.numerics.priors import SURVIVAL, take_prior
from service.forecast.shapes import ALL_SITES, DEAD, Known, Rate
from service.trade.take import wilson

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

RANKED_FROM = 100
"""Levels with fewer grafts are not ranked: common practice, no source."""
FATE_KNOWN = 0.8
"""Of survival a lot tells once the fate of so large a share of its pushed trees is known: deaths
are known early, and those that grow on late."""
WITHIN_A_CROP = ("method", "rootstock", "cultivar", "month")
ACROSS_CROPS = ("grafter", "site")
_DRAWS, _MIX = 400, 400


@dataclass(frozen=True)
class _Lots:
    """Lots with a measured share: `hits` of `n`, and their levels by factor (-1: not known)."""

    hits: Floats
    n: Floats
    site: Ints
    crop: Ints
    levels: Mapping[str, Ints]
    names: Mapping[str, list[str]]


def rates(known: Known) -> list[Rate]:
    """Take and survival by each factor, of each crop where the factor belongs to one."""
    found = []
    for measure, hits, n in (("take", *_take(known)), ("survival", *_survival(known))):
        lots = _lots_of(known, hits, n)
        for crop, name in enumerate(lots.names["crop"]):
            some = np.flatnonzero(lots.crop == crop)
            prior = take_prior(name) if measure == "take" else SURVIVAL
            factors = (*WITHIN_A_CROP, *ACROSS_CROPS)
            found += _told(known, measure, name, lots, some, WITHIN_A_CROP, factors, prior)
        prior = take_prior("") if measure == "take" else SURVIVAL
        mixed = ("crop and method", "rootstock", "month", *ACROSS_CROPS)
        everything = np.arange(len(lots.n))
        found += _told(known, measure, "", lots, everything, ACROSS_CROPS, mixed, prior)
    return found


def _take(known: Known) -> tuple[Floats, Floats]:
    takes, count = known.takes, len(known.lots.code)
    alive = np.bincount(takes.lot, takes.alive, count).astype(float)
    return alive, alive + np.bincount(takes.lot, takes.failed, count)


def _survival(known: Known) -> tuple[Floats, Floats]:
    """Ready, of those pushed whose fate is known, in lots of which most fates are."""
    grown, count = known.growths, len(known.lots.code)
    outcome, trees = np.asarray(grown.outcome, object), np.asarray(grown.trees, float)

    def of(*words: str) -> Floats:
        return np.bincount(grown.lot, trees * np.isin(outcome, words), count).astype(float)

    ready, known_fate, growing = of("ready"), of("ready", *DEAD, "culled"), of("growing")
    told = known_fate >= FATE_KNOWN * (known_fate + growing)
    return ready * told, known_fate * told


def _lots_of(known: Known, hits: Floats, n: Floats) -> _Lots:
    some = np.flatnonzero(n > 0)
    lots = known.lots
    months = [f"{date.fromordinal(day).month:02}" if day else "" for day in lots.grafted_on]
    values: dict[str, list[str]] = {
        "crop": lots.crop,
        "site": lots.site,
        "method": lots.method,
        "rootstock": lots.rootstock,
        "cultivar": lots.cultivar,
        "grafter": lots.grafter,
        "month": months,
        "crop and method": [f"{c}/{m}" for c, m in zip(lots.crop, lots.method, strict=True)],
    }
    levels: dict[str, Ints] = {}
    names: dict[str, list[str]] = {}
    for factor, told in values.items():
        mine = [told[lot] for lot in some]
        names[factor] = sorted(set(mine) - {""})
        index = {name: level for level, name in enumerate(names[factor])}
        levels[factor] = np.array([index.get(name, -1) for name in mine], np.int64)
    return _Lots(hits[some], n[some], levels["site"], levels["crop"], levels, names)


def _told(
    known: Known,
    measure: str,
    crop: str,
    lots: _Lots,
    some: Ints,
    told: tuple[str, ...],
    factors: tuple[str, ...],
    prior: regression.Prior,
) -> list[Rate]:
    """Rows of the factors `told`, each adjusted for all `factors`, over all sites and each."""
    if not len(some):
        return []
    levels = {factor: lots.levels[factor][some] for factor in factors}
    fit = regression.regress(lots.hits[some], lots.n[some], levels, prior)
    rng = seeded(known.seed, f"rates {measure} {crop}")
    drawn = fit.draw(rng, _DRAWS)
    design = fit.design(levels)
    scopes = [(ALL_SITES, np.arange(len(some)))]
    scopes += [
        (name, np.flatnonzero(lots.site[some] == number))
        for number, name in enumerate(lots.names["site"])
    ]
    rows = []
    for site, inside in scopes:
        if not len(inside):
            continue
        mix = inside[regression.evenly(lots.n[some][inside], _MIX)]
        for factor in told:
            if factor == "site" and site != ALL_SITES:
                continue
            part = slice(fit.starts[factor], fit.starts[factor] + fit.counts[factor])
            rest = design[mix].copy()
            rest[:, part] = 0.0
            rows += _rows(
                (measure, site, factor, crop),
                lots.names[factor],
                levels[factor][inside],
                lots.hits[some][inside],
                lots.n[some][inside],
                drawn @ rest.T,
                drawn[:, part],
            )
    return rows


def _rows(
    head: tuple[str, str, str, str],
    names: list[str],
    level: Ints,
    hits: Floats,
    n: Floats,
    rest: Floats,
    effects: Floats,
) -> list[Rate]:
    measure, site, factor, crop = head
    found: list[dict[str, object]] = []
    for number, name in enumerate(names):
        mine = level == number
        trees = round(float(n[mine].sum()))
        if not trees:
            continue
        good = round(float(hits[mine].sum()))
        share = expit(rest + effects[:, [number]]).mean(axis=1)
        low, middle, high = (float(q) for q in np.quantile(share, (0.1, 0.5, 0.9)))
        interval = wilson(good, trees)
        assert interval is not None, "there are trees"
        found.append(
            {
                "level": name,
                "hits": good,
                "n": trees,
                "lots": int(mine.sum()),
                "low": interval[0],
                "high": interval[1],
                "adjusted": middle,
                "adjusted_low": low,
                "adjusted_high": high,
            }
        )
    ranked = sorted(
        (row for row in found if int(str(row["n"])) >= RANKED_FROM),
        key=lambda row: -float(str(row["adjusted"])),
    )
    ranks = {str(row["level"]): place for place, row in enumerate(ranked, 1)}
    compared = len(ranked) > 1
    return [
        Rate(
            measure=measure,
            site=site,
            factor=factor,
            crop=crop,
            rank=ranks.get(str(row["level"]), 0) if compared else 0,
            **row,  # type: ignore[arg-type]
        )
        for row in found
    ]
