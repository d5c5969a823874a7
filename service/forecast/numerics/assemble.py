"""From what is known and learned to the task of the simulation, and back by whom each figure is of.

Lots of Python lists on purpose: one pass over what stands, some ten thousand entries.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.forecast.numerics import stands
from service.forecast.numerics.beliefs import DAYS_A_YEAR, Beliefs, deaths_believed
from service.forecast.numerics.clocks import Clock
from service.forecast.numerics.columns import Columns, lots_of, stands_of
from service.forecast.numerics.groups import rest_end, rests
from service.forecast.numerics.learn import TIMED_BY, Learned
from service.forecast.numerics.losses import losses_of
from service.forecast.numerics.seen import Seen
from service.forecast.numerics.turning import Turning, turning_of
from service.forecast.numerics.weather import Ahead
from service.forecast.shapes import Known

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Lead:
    """A grafting to come that is asked about."""

    learned: Learned
    site: str
    method: str
    grafted_on: int
    rows: tuple[int, int, int, int]


@dataclass
class Assembly:
    """The task, and what its indices mean.

    told: (lot of `Known`, site, phase, day since which it is counted, degree-days counted) of each
    group of `Stands.told`; kins: (cultivar, rootstock); leads: of `Grafts`.
    """

    task: stands.Task
    told: list["Telling"]
    kins: list[tuple[str, str]]
    leads: list[Lead]


@dataclass
class Telling:
    """One lot at a site that is told of. `counted`: Cd from `since` to the end of yesterday."""

    lot: int
    site: str
    trees: int
    learned: Learned
    from_push: bool
    since: int
    counted: float
    gap_days: float


class Assembler:
    """Gathers the task from the standing trees."""

    def __init__(
        self,
        known: Known,
        clocks: Mapping[tuple[str, str], Clock],
        ahead: Mapping[str, Ahead],
        learned: list[Learned],
        seen: Seen,
    ) -> None:
        self.known, self.clocks, self.seen = known, clocks, seen
        standing = known.standing
        ready = np.asarray(standing.trees, float) * (np.asarray(standing.stage, object) == "ready")
        self.booked = np.bincount(np.asarray(standing.lot, np.int64), ready)
        self.beliefs = Beliefs(known.draws, known.seed)
        self.of_lot = {int(n): one for one in learned for n in one.group.lots}
        self.learned = learned
        self.sites = [weather.site for weather in known.sites]
        self.weather = {weather.site: weather for weather in known.sites}
        self.first = min((weather.today for weather in known.sites), default=0)
        self.losses = losses_of(known, seen, self.first)
        self.paths: list[stands.Path] = []
        self.path_of: dict[tuple[str, str], int] = {}
        for (site, crop), clock in sorted(clocks.items()):
            drawn = ahead[site].paths.get(crop)
            if drawn is not None and np.isfinite(clock.running[-1]):
                self.path_of[site, crop] = len(self.paths)
                self.paths.append(stands.Path(today=clock.today, behind=clock.running, ahead=drawn))
        self.kins: dict[tuple[str, str], int] = {}
        self.turning: Turning = turning_of(known)
        self.lot_columns, self.stand_columns = Columns(), Columns()
        self.ready_columns, self.graft_columns = Columns(), Columns()
        self.lot_index: dict[int, int] = {}
        self.told: list[Telling] = []
        self.told_index: dict[tuple[int, str], int] = {}
        self.leads: list[Lead] = []

    def assembled(self, grafting_days: list[int]) -> Assembly:
        """The whole task; `grafting_days`: ordinals for which lead times are asked."""
        standing = self.known.standing
        order = sorted(
            range(len(standing.lot)),
            key=lambda n: (self._kin_key(standing.lot[n]), self.known.lots.code[standing.lot[n]]),
        )
        for row in order:
            if standing.stage[row] == "ready":
                self._ready(row)
            else:
                self._growing(row)
        for one in self.learned:
            self._leads_of(one, grafting_days)
        return Assembly(self._task(), self.told, list(self.kins), self.leads)

    def _kin_key(self, lot: int) -> tuple[str, str]:
        return self.known.lots.cultivar[lot], self.known.lots.rootstock[lot]

    def _kin(self, lot: int) -> int:
        return self.kins.setdefault(self._kin_key(lot), len(self.kins))

    # -- what is ready -------------------------------------------------------------------------

    def _ready(self, row: int) -> None:
        standing = self.known.standing
        lot = standing.lot[row]
        if standing.held[row] or self.known.lots.grown_for[lot]:
            return
        self.ready_columns.add(
            kin=self._kin(lot),
            site=self.sites.index(standing.site[row]),
            size=self.turning.size(standing.size[row]),
            grade=self.turning.grade(standing.grade[row]),
            trees=standing.trees[row],
            unseen=self.losses.unseen[lot] / self.booked[lot],
        )

    # -- what grows ----------------------------------------------------------------------------

    def _growing(self, row: int) -> None:
        known, standing = self.known, self.known.standing
        lot, site = standing.lot[row], standing.site[row]
        learned = self.of_lot.get(lot)
        if learned is None:
            return
        member = int(learned.group.at[lot])
        if not learned.begins[member]:
            return
        clock = self.clocks.get((site, learned.group.crop))
        path = self.path_of.get((site, learned.group.crop), stands.NONE)
        if clock is None or path == stands.NONE or clock.counting != learned.group.counting:
            return
        told = self._telling(lot, site, learned, member, clock)
        if told is None:
            return
        waiting = standing.stage[row] == "grafted"
        telling = self.told[told]
        telling.trees += standing.trees[row]
        begins = int(learned.begins[member])
        middle = float(np.exp(learned.middle[member]))
        pushed, waits = self.seen.pushed[lot], self.seen.waiting[lot]
        ready, growing = self.seen.ready[lot], self.seen.growing[lot]
        beyond = pushed / (pushed + waits) if waiting and pushed + waits > 0 else 0.0
        if not waiting:
            beyond = ready / (ready + growing) if ready + growing > 0 else 0.0
        ready_seen = self._since(clock, begins, int(self.seen.graded_on[lot])) - middle
        self.stand_columns.add(
            lot=self._lot(lot, learned, member),
            path=path,
            site=self.sites.index(site),
            told=told,
            trees=standing.trees[row],
            unread=standing.unread[row] if waiting else 0,
            waiting=waiting,
            from_push=telling.from_push,
            counted=telling.counted,
            wait=max(begins + 1 - clock.today, 0),
            push_seen=self._since(clock, begins, int(self.seen.waited_on[lot])) if waiting else 0,
            ready_seen=max(ready_seen, 0.0) if self.seen.graded_on[lot] and not waiting else 0.0,
            beyond=min(max(float(beyond), 0.0), 0.98),
            # what waits will be counted when it has pushed
            unseen=0.0 if waiting else self._since_push(lot),
            free=not (standing.held[row] or known.lots.grown_for[lot]),
            sizes=self.turning.size_row(learned.group.crop, site, standing.size[row]),
            grades=self.turning.grade_row(learned.group.crop),
        )

    def _since_push(self, lot: int) -> float:
        """Years; 0 where it is not known."""
        day = float(self.seen.pushed_on[lot])
        return max(self.first - day, 0.0) / DAYS_A_YEAR if day else 0.0

    def _since(self, clock: Clock, begins: int, day: int) -> float:
        """Cd from a lot's beginning to the end of a day; 0 where either is not known."""
        if not day or day <= begins:
            return 0.0
        found = float(clock.between(np.array([begins]), np.array([day]))[0])
        return found if np.isfinite(found) else 0.0

    def _telling(
        self, lot: int, site: str, learned: Learned, member: int, clock: Clock
    ) -> int | None:
        key = (lot, site)
        if key in self.told_index:
            return self.told_index[key]
        begins, yesterday = int(learned.begins[member]), clock.today - 1
        counted = 0.0
        if begins < yesterday:
            counted = float(clock.between(np.array([begins]), np.array([yesterday]))[0])
            if not np.isfinite(counted):
                return None
        pushed, waits = self.seen.pushed[lot], self.seen.waiting[lot]
        from_push = bool(learned.timed[member]) and pushed > 0 and pushed >= waits
        since = begins
        if from_push:
            middle = float(np.exp(learned.middle[member]))
            reached = np.searchsorted(
                clock.running, clock.running[begins + 1 - clock.first] + middle - 1e-9
            )
            since = min(clock.first + int(reached) - 1, yesterday)
            counted = max(counted - middle, 0.0)
        gap = float(clock.filled_between(np.array([since]), np.array([yesterday]))[0])
        self.told_index[key] = len(self.told)
        self.told.append(
            Telling(
                lot, site, 0, learned, from_push, since, counted, gap if np.isfinite(gap) else 0.0
            )
        )
        return self.told_index[key]

    def _lot(self, lot: int, learned: Learned, member: int) -> int:
        if lot in self.lot_index:
            return self.lot_index[lot]
        levels = {name: int(learned.group.factors[name][member]) for name in learned.group.factors}
        timed = {name: levels[name] for name in TIMED_BY}
        forced, beliefs, seen = bool(learned.forced[member]), self.beliefs, self.seen
        pushed, waits = seen.pushed[lot], seen.waiting[lot]
        floor = 0.0
        if pushed < waits and seen.waited_on[lot]:
            clock = learned.group.clocks[learned.group.sites[member]]
            floor = self._since(clock, int(learned.begins[member]), int(seen.waited_on[lot]))
        self.lot_index[lot] = len(self.lot_columns.of["kin"])
        self.lot_columns.add(
            kin=self._kin(lot),
            push_row=beliefs.push_row(learned, forced, timed),
            push_y=learned.push_own.y[member],
            push_variance=learned.push_own.variance[member],
            ready_row=beliefs.ready_row(learned, timed),
            ready_y=learned.ready_own.y[member],
            ready_variance=learned.ready_own.variance[member],
            take=beliefs.share_row(learned, "take", learned.take, levels),
            alive=seen.alive[lot],
            failed=seen.failed[lot],
            push=beliefs.comes_at_all(learned, "push", forced),
            survival=beliefs.share_row(learned, "survival", learned.survival, levels),
            lived=seen.ready[lot],
            dead=seen.dead[lot],
            fit=beliefs.comes_at_all(learned, "ready"),
            floor=floor,
        )
        return self.lot_index[lot]

    # -- graftings to come ---------------------------------------------------------------------

    def _leads_of(self, learned: Learned, days: list[int]) -> None:
        group = learned.group
        if not days:
            return
        for site in group.names["site"]:
            path = self.path_of.get((site, group.crop), stands.NONE)
            clock = self.clocks.get((site, group.crop))
            if path == stands.NONE or clock is None or clock.counting != group.counting:
                continue
            for method in group.names["method"]:
                levels = {
                    "method": group.level("method", method),
                    "site": group.level("site", site),
                }
                rows = (
                    self.beliefs.share_row(learned, "take", learned.take, levels),
                    self.beliefs.comes_at_all(learned, "push"),
                    self.beliefs.share_row(learned, "survival", learned.survival, levels),
                    self.beliefs.comes_at_all(learned, "ready"),
                )
                for after in days:
                    on = clock.today + after
                    self._lead(learned, site, method, on, path, levels, rows)

    def _lead(
        self,
        learned: Learned,
        site: str,
        method: str,
        on: int,
        path: int,
        levels: Mapping[str, int],
        rows: tuple[int, int, int, int],
    ) -> None:
        south, begins = self.weather[site].south, on
        if learned.rest_ends and rests(learned.group.crop, on, south):
            begins = rest_end(on, learned.rest_ends, south)
        self.graft_columns.add(
            path=path,
            to_push=self.beliefs.push_row(learned, False, levels),
            to_ready=self.beliefs.ready_row(learned, levels),
            on=on,
            begins=begins + 1,
        )
        self.leads.append(Lead(learned, site, method, on, rows))

    # -- the whole -----------------------------------------------------------------------------

    def _task(self) -> stands.Task:
        lots, some, ready, grafts = (
            self.lot_columns,
            self.stand_columns,
            self.ready_columns,
            self.graft_columns,
        )
        stock = self._stock(ready)
        return stands.Task(
            first=self.first,
            draws=self.known.draws,
            seed=self.known.seed,
            paths=self.paths,
            push=self.beliefs.middles("push"),
            ready=self.beliefs.middles("ready"),
            rates=self.beliefs.rates(),
            lots=lots_of(lots),
            stands=stands_of(some),
            stock=stock,
            grafts=stands.Grafts(
                path=grafts.ints("path"),
                to_push=grafts.ints("to_push"),
                to_ready=grafts.ints("to_ready"),
                on=grafts.ints("on"),
                begins=grafts.ints("begins"),
            ),
        )

    def _stock(self, ready: Columns) -> stands.Stock:
        """Kins are complete by now: all that stands was gone through."""
        crops, of_kin = self._crops_of_kins()
        seed, draws = self.known.seed, self.known.draws
        unnoticed, deaths = np.zeros((2, len(self.kins), draws))
        for number, crop in crops.items():
            learned = of_kin.get(number)
            # Of a crop that nothing was learned of trees die too.
            on_the_way = self.beliefs.deaths_a_year(learned) if learned else deaths_believed(draws)
            unnoticed[number] = self.losses.unnoticed(crop, seed, draws)
            deaths[number] = self.losses.deaths(crop, on_the_way, seed)
        return stands.Stock(
            kin=[f"{cultivar} on {rootstock}" for cultivar, rootstock in self.kins],
            sizes=self.turning.sizes,
            grades=self.turning.grades,
            sites=self.sites,
            kin_losses=deaths + unnoticed,
            kin_unnoticed=unnoticed,
            size_shares=self.turning.size_shares(),
            grade_shares=self.turning.grade_shares(),
            ready_kin=ready.ints("kin"),
            ready_site=ready.ints("site"),
            ready_size=ready.ints("size"),
            ready_grade=ready.ints("grade"),
            ready_trees=ready.ints("trees"),
            ready_unseen=ready.floats("unseen"),
        )

    def _crops_of_kins(self) -> tuple[dict[int, str], dict[int, Learned]]:
        """The crop of each kin, and what was learned of it, if anything was."""
        crops: dict[int, str] = {}
        of_kin: dict[int, Learned] = {}
        for lot in self.known.standing.lot:
            number = self.kins.get(self._kin_key(lot))
            if number is not None:
                crops.setdefault(number, self.known.lots.crop[lot])
        for lot, learned in self.of_lot.items():
            number = self.kins.get(self._kin_key(lot))
            if number is not None:
                of_kin.setdefault(number, learned)
        return crops, of_kin
