"""What a forecast tells has one row a key, or else its tables take none of it."""

from collections import Counter
from collections.abc import Callable, Hashable
from typing import Any

import numpy as np
import pytest

from service.forecast.numerics.worker import forecast
from service.forecast.shapes import Foretold
from tests.support.made_known import RECORD_DAYS, Made, site

# As in the primary keys of the tables of the same names.
KEYS: dict[str, Callable[[Any], Hashable]] = {
    "learned": lambda row: (row.crop, row.what, row.method, row.site, row.counting),
    "lots": lambda row: (row.lot, row.site),
    "supply": lambda row: (row.cultivar, row.rootstock, row.size, row.grade, row.site),
    "lead_times": lambda row: (row.site, row.crop, row.method, row.grafted_on),
    "rates": lambda row: (row.measure, row.factor, row.site, row.crop, row.level),
    "curves": lambda row: (row.crop, row.method, row.since, row.counting),
}


# In one process: what its tests share is made once.
pytestmark = pytest.mark.xdist_group("told once")


@pytest.fixture(scope="module")
def of_many_kinds() -> Foretold:
    """One crop by two ways of counting, and by a method that has a requirement of its own."""
    rng = np.random.default_rng(1)
    made = Made(site("HOME"), site("HILL", hourly={"citrus": [10.0] * RECORD_DAYS}))
    for days_ago in (300, 290, 120):
        for where in ("HOME", "HILL"):
            made.course(rng, days_ago, site=where)
            made.course(rng, days_ago, site=where, method="micro_bud", rootstock="TRIF")
    return forecast(made.known(), lead_days=(0,))


@pytest.mark.parametrize("what", KEYS)
def test_each_key_is_told_once(of_many_kinds: Foretold, what: str) -> None:
    rows = getattr(of_many_kinds, what)
    assert rows
    assert [key for key, count in Counter(map(KEYS[what], rows)).items() if count > 1] == []
