"""How long a graft made on a day to come takes until half, and nearly all, of it is ready."""

from dataclasses import replace

import numpy as np
import pytest

from service.forecast.numerics.families import WEIBULL
from service.forecast.numerics.simulate import simulate
from service.forecast.numerics.stands import Grafts, Path
from service.forecast.shapes import LEVELS
from tests.support.stands import TODAY, middles, task


def test_lead_times_follow_the_season() -> None:
    # 10 Cd a day for 100 days, none for 100, 10 again: 150 Cd until half are ready, grafted today
    # (counted from tomorrow), on day 90 and on day 150.
    daily = np.where((np.arange(600) // 100) % 2 == 0, 10.0, 0.0)
    ahead = np.tile(np.concatenate([[0.0], np.cumsum(daily)]).astype(np.float32), (200, 1))
    on = TODAY + np.array([0, 90, 150, 590])
    told = simulate(
        task(
            paths=[Path(today=TODAY, behind=np.zeros(1), ahead=ahead)],
            ready=middles(np.log(100.0), 0.1),
            grafts=Grafts(
                path=np.array([0, 0, 0, 0]),
                to_push=np.zeros(4, int),
                to_ready=np.zeros(4, int),
                on=on,
                begins=on + 1,
            ),
        )
    )
    assert told.half[:, 0].tolist() == [15, 115, 64, -1]
    # Nine in ten: 50 + 100 * exp(0.1 * 1.2816) = 163.7 Cd.
    assert told.nearly[:, 0].tolist() == [17, 117, 66, -1]
    assert (told.half == told.half[:, :1]).all()


def test_surer_lead_times_are_longer_and_both_families_agree_on_the_middle() -> None:
    on = np.array([TODAY])
    grafts = Grafts(
        path=np.zeros(1, int),
        to_push=np.zeros(1, int),
        to_ready=np.zeros(1, int),
        on=on,
        begins=on + 1,
    )
    rows = middles(np.log(2000.0), 0.2, 0.1)
    told = simulate(task(ready=rows, grafts=grafts))
    assert (np.diff(told.half[0]) >= 0).all()
    assert told.half[0, 0] == pytest.approx(205, abs=4)
    assert told.half[0, LEVELS.index(0.9)] == pytest.approx(5 + 200 * np.exp(0.128), abs=6)
    gumbel = simulate(task(ready=replace(rows, family=[WEIBULL]), grafts=grafts))
    assert gumbel.half.tolist() == told.half.tolist()
    assert gumbel.nearly[0, 0] < told.nearly[0, 0]
