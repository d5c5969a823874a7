"""What was learned, drawn: rows of beliefs that lots with the same levels share."""

import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from service.forecast.numerics import priors, regression, stands, times
from service.forecast.numerics.groups import Group
from service.forecast.numerics.learn import TIMED_BY, Learned

Floats = NDArray[np.float64]
DAYS_A_YEAR = 365.25


def seeded(seed: int, name: str) -> np.random.Generator:
    """Random numbers of their own for whatever bears the name: news of others leave them alone."""
    return np.random.default_rng([seed, zlib.crc32(name.encode())])


def deaths_believed(draws: int) -> Floats:
    """Hazard of trees of which nothing was learned, by draw: as if a year led to being ready."""
    return np.full(draws, -np.log(priors.SURVIVAL.mean))


@dataclass
class Beliefs:
    """Rows gathered so far; asking again for the same gives the same row."""

    draws: int
    seed: int
    _rows: dict[tuple[str, ...], int] = field(default_factory=dict)
    _times: dict[str, list[tuple[Floats, Floats, Floats, str]]] = field(
        default_factory=lambda: {"push": [], "ready": []}
    )
    _rates: list[tuple[Floats, Floats]] = field(default_factory=list)
    _drawn: dict[str, times.Draws] = field(default_factory=dict)

    def push_row(self, learned: Learned, forced: bool, levels: Mapping[str, int]) -> int:
        """Of the heat to a lot's middle push."""
        name = f"push{' from forcing' if forced else ''}"
        return self._time_row("push", name, learned.group, learned.push_fit(forced), levels)

    def ready_row(self, learned: Learned, levels: Mapping[str, int]) -> int:
        """Of the heat from the middle push to being ready."""
        return self._time_row("ready", "ready", learned.group, learned.ready, levels)

    def _time_row(
        self, kind: str, name: str, group: Group, fit: times.Fit, levels: Mapping[str, int]
    ) -> int:
        asked = tuple(str(levels.get(factor, -1)) for factor in TIMED_BY)
        key = (group.key, name, *asked)
        if key not in self._rows:
            drawn = self._draws_of(group, name, fit)
            factors = {factor: np.array([levels.get(factor, -1)]) for factor in TIMED_BY}
            middle = drawn.coefficients @ fit.design(factors, 1)[0]
            self._rows[key] = len(self._times[kind])
            self._times[kind].append((middle, drawn.spread, drawn.tau, fit.family))
        return self._rows[key]

    def _draws_of(self, group: Group, name: str, fit: times.Fit) -> times.Draws:
        key = f"{group.key} {name}"
        if key not in self._drawn:
            self._drawn[key] = fit.draw(seeded(self.seed, key), self.draws)
        return self._drawn[key]

    def comes_at_all(self, learned: Learned, what: str, forced: bool = False) -> int:
        """Row of the chance to push at all (`push`), or ever to be fit for sale (`ready`)."""
        name = "push from forcing" if forced and what == "push" else what
        fit = learned.push_fit(forced) if what == "push" else learned.ready
        key = (learned.group.key, f"{name} at all")
        if key not in self._rows:
            never = self._draws_of(learned.group, name, fit).never
            self._rows[key] = self._rate(1 - never, np.zeros(self.draws))
        return self._rows[key]

    def share_row(
        self, learned: Learned, what: str, fit: regression.Fit, levels: Mapping[str, int]
    ) -> int:
        """Row of a share that differs from lot to lot: `take` or `survival`."""
        asked = {factor: np.array([levels.get(factor, -1)]) for factor in fit.counts}
        key = (learned.group.key, what, *(str(int(level[0])) for level in asked.values()))
        if key not in self._rows:
            rng = seeded(self.seed, f"{learned.group.key} {what}")
            mean, rho = fit.rates(asked, rng, self.draws)
            self._rows[key] = self._rate(mean[0], rho[0])
        return self._rows[key]

    def _rate(self, mean: Floats, rho: Floats) -> int:
        self._rates.append((mean, rho))
        return len(self._rates) - 1

    def rate(self, row: int) -> tuple[Floats, Floats]:
        """Mean and correlation of a row, by draw."""
        return self._rates[row]

    def middles(self, kind: str) -> stands.Middles:
        """All rows of `push` or `ready`."""
        rows = self._times[kind]
        return stands.Middles(
            log_middle=self._stacked([row[0] for row in rows]),
            spread=self._stacked([row[1] for row in rows]),
            lot_sd=self._stacked([row[2] for row in rows]),
            family=[row[3] for row in rows],
        )

    def rates(self) -> stands.Rates:
        """All rows of shares."""
        return stands.Rates(
            mean=self._stacked([mean for mean, _ in self._rates]),
            correlation=self._stacked([rho for _, rho in self._rates]),
        )

    def _stacked(self, rows: list[Floats]) -> Floats:
        return np.array(rows, np.float64).reshape(len(rows), self.draws)

    def deaths_a_year(self, learned: Learned) -> Floats:
        """Hazard of growing trees, by draw: from the push to being ready."""
        survival = self._rates[self.share_row(learned, "survival", learned.survival, {})][0]
        heat = [
            clock.by_day[-round(DAYS_A_YEAR) :].mean() for clock in learned.group.clocks.values()
        ]
        a_day = max(float(np.nanmean(heat)) if heat else 0.0, 0.5)
        days = float(np.exp(learned.ready.middle()[0])) / a_day
        return np.asarray(-np.log(np.clip(survival, 1e-6, 1 - 1e-9)) * DAYS_A_YEAR / days)
