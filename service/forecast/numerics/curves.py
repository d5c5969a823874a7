"""The picture of the push: what counts alone say of its times, beside what was fitted to them."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from service.forecast.numerics.learn import Learned, Rows, push_times, rows_of
from service.forecast.numerics.npmle import npmle
from service.forecast.numerics.times import Fit, Times, cdf
from service.forecast.shapes import Curve, Known

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

ROUNDED_CD = 5.0
"""Ends of intervals are rounded to so many degree-days: finer than any day of a grafting season."""
WATCHED = 0.01
"""A curve ends where fewer than this share of its trees are still watched: a last one or two, or
some that nobody looked at for long, would carry it to the top alone."""


def curves(known: Known, learned: list[Learned]) -> list[Curve]:
    """By crop and method, from grafting and from forcing; none where nothing is known to have
    pushed."""
    found = []
    for one in learned:
        group = one.group
        rows = rows_of(known, group, "pushes")
        clocks = (
            ("grafting", group.begins(one.rest_ends), one.push),
            ("forcing", group.forced_on, one.from_forcing),
        )
        for since, begins, fit in clocks:
            times = push_times(group, rows, begins)
            for level, method in enumerate(group.names["method"]):
                mine = (group.factors["method"] == level) & (begins > 0)
                curve = _curve(one, method, since, _of(times, mine), _died(rows, mine), fit)
                found += [curve] if curve is not None else []
    return found


def _of(times: Times, lots: Flags) -> Times:
    keep = lots[times.lot]
    columns = {name: getattr(times, name)[keep] for name in ("lot", "low", "high", "trees")}
    return replace(times, **columns)


def _died(rows: Rows, lots: Flags) -> dict[str, int]:
    mine = lots[rows.lot]
    return {
        outcome: round(float(rows.trees[mine & (rows.outcome == outcome)].sum()))
        for outcome in ("failed", "lost")
    }


def _curve(
    one: Learned, method: str, since: str, times: Times, died: dict[str, int], fit: Fit | None
) -> Curve | None:
    pushed = np.isfinite(times.high)
    if not pushed.any():
        return None
    low = np.floor(times.low / ROUNDED_CD) * ROUNDED_CD
    high = np.maximum(np.ceil(times.high / ROUNDED_CD) * ROUNDED_CD, low + ROUNDED_CD)
    told = npmle(low, high, times.trees)
    ends = told.high[np.isfinite(told.high)]
    ends = ends[: _told(told.low, ends, low, high, times.trees)]
    share = np.cumsum(told.mass)[: len(ends)]
    return Curve(
        crop=one.group.crop,
        method=method,
        since=since,
        counting=one.group.counting.method.value,
        degree_days=ends.tolist(),
        share=np.clip(share, 0.0, 1.0).tolist(),
        fitted=_fitted(one, method, fit, ends).tolist() if fit is not None else [],
        trees=round(float(times.trees.sum())),
        lots=len(np.unique(times.lot)),
        pushed=round(float(times.trees[pushed].sum())),
        **died,
    )


def _told(begins: Floats, ends: Floats, low: Floats, high: Floats, trees: Floats) -> int:
    """How many of the steps are told: to the last through which enough trees were watched.

    Those were seen waiting when it began, and seen again when it was over or when they had pushed.
    """
    for step in range(len(ends) - 1, 0, -1):
        watched = (low >= begins[step]) & (np.isfinite(high) | (low >= ends[step]))
        if trees[watched].sum() >= WATCHED * trees.sum():
            return step + 1
    return 1


def _fitted(one: Learned, method: str, fit: Fit, ends: Floats) -> Floats:
    """Over lots too: their middles spread as well as the trees within one."""
    middle, _, lot_sd = fit.typical({"method": one.group.level("method", method)})
    spread = np.full(len(ends), float(np.hypot(fit.spread, lot_sd)))
    return (1 - fit.never) * cdf(fit.family, ends, np.full(len(ends), middle), spread)
