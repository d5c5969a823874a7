"""By which day a running total of degree-days is reached, for millions of totals at once."""

import numpy as np
from numpy.typing import NDArray

from service.forecast.numerics.stands import Path

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

NEVER = 10**7
"""The day of what is not reached before the last day drawn."""
BINS = 4096


class Lookup:
    """One path's days: a table takes a total to about the day, few steps then to the very day."""

    def __init__(self, path: Path) -> None:
        self.today, self.behind = path.today, path.behind
        draws, self.length = path.ahead.shape
        self.totals = np.ascontiguousarray(path.ahead, np.float32)
        self.bins_a_cd = BINS / max(float(self.totals[:, -1].max()), 1e-6)
        self.table = np.zeros((draws, BINS + 1), np.int16)
        for draw in range(draws):
            bins = (self.totals[draw] * self.bins_a_cd).astype(np.int64)
            # The first day whose total lies in the bin or beyond it.
            self.table[draw] = np.searchsorted(bins, np.arange(BINS + 1))
        self.row = np.arange(draws, dtype=np.int64)

    def days(self, total: Floats, draw_axis: int = 1) -> Ints:
        """The day (ordinal) at whose end so many Cd from today on have come together; NEVER.

        `total`: any shape, draws along `draw_axis`. Totals of 0 or less were reached in the past.
        """
        shape = [1] * total.ndim
        shape[draw_axis] = len(self.row)
        row = self.row.reshape(shape)
        wanted = total.astype(np.float32)
        bins = np.clip(wanted * np.float32(self.bins_a_cd), 0, BINS).astype(np.int64)
        at = self.table.ravel()[bins + row * (BINS + 1)].astype(np.int64)
        place = np.minimum(at, self.length - 1) + row * self.length
        flat, totals, wish = place.ravel(), self.totals.ravel(), wanted.ravel()
        last = np.broadcast_to(row * self.length + self.length - 1, total.shape).ravel()
        late = np.flatnonzero(totals[flat] < wish)
        while len(late):
            late = late[flat[late] < last[late]]
            flat[late] += 1
            late = late[totals[flat[late]] < wish[late]]
        day = self.today - 1 + (flat.reshape(total.shape) - row * self.length)
        day = np.where(wanted > self.totals[:, -1].reshape(shape), NEVER, day)
        past = total <= 0
        if past.any():
            before = np.searchsorted(self.behind, self.behind[-1] + total[past] - 1e-6)
            day[past] = self.today - len(self.behind) + before
        return day

    def reached(self, days: Ints) -> Floats:
        """[len(days), draws]: the total at the end of the day before today + `days`."""
        at = np.clip(days, 0, self.length - 1)
        return self.totals[:, at].T.astype(np.float64)
