"""What is known of an invented nursery, made tree by tree from laws that a test states.

Weather is one still temperature, so that degree-days can be counted by hand: citrus (13 to 35 C)
gets 10 Cd on a day of 23 C.
"""

from collections import Counter
from datetime import date
from typing import Any

import numpy as np

from service.forecast import shapes

TODAY = date(2026, 6, 1).toordinal()
RECORD_DAYS = 1100


def site(name: str = "HOME", celsius: float = 23.0, **more: Any) -> shapes.SiteWeather:
    """A site with three years of one temperature, up to yesterday."""
    return shapes.SiteWeather(
        **{
            "site": name,
            "today": TODAY,
            "version": 1,
            "first": TODAY - RECORD_DAYS,
            "low": [celsius] * RECORD_DAYS,
            "high": [celsius] * RECORD_DAYS,
            **more,
        }
    )


class Made:
    """Gathers lots; `known()` is what their people have seen of them up to yesterday."""

    def __init__(self, *sites: shapes.SiteWeather) -> None:
        self.sites = list(sites) or [site()]
        self.lots, self.pushes, self.growths = shapes.Lots(), shapes.Pushes(), shapes.Growths()
        self.takes, self.standing = shapes.Takes(), shapes.Standing()

    def known(self, **more: Any) -> shapes.Known:
        """All of it."""
        return shapes.Known(
            **{
                "position": 1,
                "sites": self.sites,
                "lots": self.lots,
                "pushes": self.pushes,
                "growths": self.growths,
                "takes": self.takes,
                "standing": self.standing,
                **more,
            }
        )

    def lot(self, days_ago: int, **more: Any) -> int:
        """A lot grafted so long ago."""
        told = {
            "code": f"L{len(self.lots.code):03d}",
            "crop": "citrus",
            "cultivar": "NAVEL",
            "rootstock": "CARRIZO",
            "method": "t_bud",
            "site": "HOME",
            "grafter": "",
            "grafted_on": TODAY - days_ago,
            "forced_on": 0,
            "attempt": 1,
            "grown_for": False,
            "counted_on": 0,
            **more,
        }
        return _row(self.lots, **told)

    def pushed(self, lot: int, after: int, by: int, trees: int) -> None:
        """Trees that pushed between two looks, days from grafting."""
        start = self.lots.grafted_on[lot]
        self._push(lot, "pushed", start + after, start + by, trees)

    def waiting(self, lot: int, after: int, trees: int) -> None:
        """Grafts last seen waiting so many days after grafting."""
        self._push(lot, "waiting", self.lots.grafted_on[lot] + after, 0, trees)

    def _push(self, lot: int, outcome: str, after: int, by: int, trees: int) -> None:
        where = self.lots.site[lot]
        _row(self.pushes, lot=lot, site=where, outcome=outcome, after=after, by=by, trees=trees)

    def grown(self, lot: int, outcome: str, after: int, by: int, trees: int, **more: Any) -> None:
        """A row of growth; days from grafting, 0 for none."""
        start = self.lots.grafted_on[lot]
        told = {
            "site": self.lots.site[lot],
            "outcome": outcome,
            "after": start + after if after else 0,
            "by": start + by if by else 0,
            "started": "P1",
            "size": "P4",
            "grade": "",
            **more,
        }
        _row(self.growths, lot=lot, trees=trees, **told)

    def take(self, lot: int, alive: int, failed: int = 0) -> None:
        """The take as read."""
        _row(
            self.takes,
            lot=lot,
            grafted=alive + failed,
            alive=alive,
            failed=failed,
            not_read=0,
            gone=0,
        )

    def stands(self, lot: int, stage: str, trees: int, **more: Any) -> None:
        """Trees that stand now."""
        told = {"site": self.lots.site[lot], "size": "P4", "grade": "", "unread": 0, "held": False}
        _row(self.standing, lot=lot, stage=stage, trees=trees, **{**told, **more})

    def course(
        self,
        rng: np.random.Generator,
        days_ago: int,
        *,
        push_cd: float = 300.0,
        ready_cd: float = 1500.0,
        lot_sd: float = 0.05,
        trees: int = 30,
        unfit: float = 0.0,
        a_day: float = 10.0,
        looks: int = 7,
        gradings: int = 28,
        since: int = 0,
        **more: Any,
    ) -> int:
        """A lot whose trees push and become ready by these laws, seen by looks every so many days.

        `since`: days after grafting with whose end its degree-days begin to count.
        """
        lot = self.lot(days_ago, **more)
        middle = push_cd * np.exp(rng.normal(0, lot_sd))
        push = since + middle * np.exp(rng.normal(0, 0.15, trees)) / a_day
        way = ready_cd * np.exp(rng.normal(0, lot_sd / 2)) * np.exp(rng.normal(0, 0.1, trees))
        ready = np.where(rng.random(trees) < unfit, np.inf, push + way / a_day)
        push_day, ready_day = np.ceil(push), np.ceil(ready)
        self.take(lot, trees)
        looked = list(range(looks, days_ago, looks))
        for (after, by), count in _between(push_day, looked).items():
            if by:
                self.pushed(lot, after, by, count)
            else:
                self.waiting(lot, after, count)
        graded = list(range(100, days_ago, gradings))
        seen = push_day <= (looked[-1] if looked else 0)
        for (after, by), count in _between(ready_day[seen], graded).items():
            self.grown(lot, "ready" if by else "growing", after, by, count)
            self.stands(lot, "ready" if by else "pushed", count)
        if (~seen).any():
            self.stands(lot, "grafted", int((~seen).sum()))
        return lot


def _between(days: Any, looked: list[int]) -> Counter[tuple[int, int]]:
    """How many of the days lie after one look and by the next; (last look, 0) for those later."""
    found: Counter[tuple[int, int]] = Counter()
    for day in days:
        by = next((look for look in looked if look >= day), 0)
        before = [look for look in looked if look < day]
        found[before[-1] if before else 0, by] += 1
    return found


def _row(columns: Any, **values: Any) -> int:
    for name, value in values.items():
        getattr(columns, name).append(value)
    return len(getattr(columns, next(iter(values)))) - 1
