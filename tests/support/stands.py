"""Tasks for the simulation, small or large, from few words."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from service.forecast.numerics.families import LOGNORMAL
from service.forecast.numerics.stands import (
    NONE,
    Chances,
    Grafts,
    Lots,
    Middles,
    Own,
    Path,
    Rates,
    Shares,
    Stands,
    Stock,
    Task,
)

TODAY = 740_000
DRAWS = 200


def even_path(daily: float = 10.0, days: int = 1000, draws: int = DRAWS, behind: int = 400) -> Path:
    """Every day alike, in the past and in every year ahead."""
    ahead = np.tile(np.arange(days + 1, dtype=np.float32) * daily, (draws, 1))
    return Path(today=TODAY, behind=np.arange(behind + 1) * daily, ahead=ahead)


def middles(
    log_middle: Any = 0.0, spread: float = 0.0, lot_sd: float = 0.0, draws: int = DRAWS
) -> Middles:
    """One row, of the trees that need exp(log_middle) Cd."""
    one = np.ones((1, draws))
    return Middles(
        log_middle=one * log_middle,
        spread=one * max(spread, 1e-9),
        lot_sd=one * lot_sd,
        family=[LOGNORMAL],
    )


def rates(*rows: tuple[float, float], draws: int = DRAWS) -> Rates:
    """Rows of (mean, correlation), known for sure."""
    both = np.asarray(rows, float).reshape(-1, 2)
    ones = np.ones((1, draws))
    return Rates(mean=both[:, :1] * ones, correlation=both[:, 1:] * ones)


def chances(lots: int, row: int = NONE, good: float = 0, bad: float = 0) -> Chances:
    return Chances(
        row=np.full(lots, row), good=np.full(lots, float(good)), bad=np.full(lots, float(bad))
    )


def own(lots: int, y: float = 0.0, variance: float = np.inf) -> Own:
    return Own(
        row=np.zeros(lots, int), y=np.full(lots, float(y)), variance=np.full(lots, float(variance))
    )


def lots(count: int, **given: Any) -> Lots:
    """Lots of kin 0 of which nothing can go wrong."""
    values: dict[str, Any] = {
        "kin": np.zeros(count, int),
        "to_push": own(count),
        "to_ready": own(count),
        "take": chances(count),
        "push": chances(count),
        "survival": chances(count),
        "fit": chances(count),
        "push_floor": np.zeros(count),
    }
    return Lots(**(values | given))


def stands(trees: Sequence[int], **given: Any) -> Stands:
    """One stand a lot, pushed, on path 0 at site 0, each told by itself, free, of one kind."""
    count = len(trees)
    nothing = np.zeros(count)
    values: dict[str, Any] = {
        "lot": np.arange(count),
        "path": nothing.astype(int),
        "site": nothing.astype(int),
        "told": np.arange(count),
        "trees": np.asarray(trees),
        "unread": nothing.astype(int),
        "waiting": np.zeros(count, bool),
        "from_push": np.ones(count, bool),
        "counted": nothing,
        "wait": nothing.astype(int),
        "push_seen": nothing,
        "ready_seen": nothing,
        "beyond": nothing,
        "unseen": nothing,
        "free": np.ones(count, bool),
        "sizes": nothing.astype(int),
        "grades": nothing.astype(int),
    }
    return Stands(**(values | {name: np.asarray(value) for name, value in given.items()}))


def shares(*rows: Sequence[float], correlation: float = 0.0) -> Shares:
    """Rows of the shares of kinds 0, 1, ..."""
    share = np.asarray(rows, float)
    kind = np.tile(np.arange(share.shape[1]), (len(rows), 1))
    return Shares(kind=kind, share=share, correlation=np.full(len(rows), correlation))


def stock(
    ready: Sequence[tuple[int, int, int, int, int]] = (), draws: int = DRAWS, **given: Any
) -> Stock:
    """Ready trees as (kin, site, size, grade, trees); nothing dies."""
    columns = np.asarray(ready, int).reshape(-1, 5).T
    names = ("ready_kin", "ready_site", "ready_size", "ready_grade", "ready_trees")
    values: dict[str, Any] = {
        "kin": ["Alba/Firm"],
        "sizes": ["P2"],
        "grades": ["1"],
        "sites": ["NORTH", "SOUTH"],
        "kin_losses": np.zeros((1, draws)),
        "kin_unnoticed": np.zeros((len(given.get("kin", "?")), draws)),
        "ready_unseen": np.zeros(len(ready)),
        "size_shares": shares([1.0]),
        "grade_shares": shares([1.0]),
    }
    return Stock(**(values | dict(zip(names, columns, strict=True)) | given))


def no_grafts() -> Grafts:
    none = np.zeros(0, int)
    return Grafts(path=none, to_push=none, to_ready=none, on=none, begins=none)


def task(**given: Any) -> Task:
    """Lots that need 100 Cd from their push, at 10 Cd a day."""
    values: dict[str, Any] = {
        "first": TODAY,
        "draws": DRAWS,
        "seed": 1,
        "paths": [even_path()],
        "push": middles(np.log(50.0)),
        "ready": middles(np.log(100.0)),
        "rates": rates(),
        "lots": lots(1),
        "stands": stands([100]),
        "stock": stock(),
        "grafts": no_grafts(),
    }
    return Task(**(values | given))
