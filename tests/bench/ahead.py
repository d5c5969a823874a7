"""The years ahead of a large nursery, drawn: 10,000 live lots, 200 years of weather, five sites.

From what is believed of the crops to dates, supply and lead times, the drawing of the weather
included; in a process of its own, so that its memory is told too. Aim: 5 s on 2 cores, 500 MiB.
"""

import json
import resource
import subprocess
import sys
import time
from collections.abc import Iterable
from typing import Any

import numpy as np

from service.forecast.numerics.clocks import clock_of
from service.forecast.numerics.simulate import simulate
from service.forecast.numerics.stands import NONE, Grafts, Middles, Path, Rates, Shares, Stock, Task
from service.forecast.numerics.weather import ahead
from service.forecast.requirements import Thresholds
from service.forecast.shapes import SiteWeather
from tests.support import stands as small

LOTS, DRAWS, SITES, KINS, DAYS, YEARS = 10_000, 200, 5, 200, 1_100, 6
CROPS = {"citrus": Thresholds(13, 35), "mango": Thresholds(15, 32), "apple": Thresholds(4, 25)}
METHODS = 6
AIM_SECONDS, AIM_MIB = 5, 500


def measure() -> Iterable[tuple[str, str, str, list[str]]]:
    """What, figure, aim and the lines beneath."""
    ran = subprocess.run(
        [sys.executable, "-m", "tests.bench.ahead"], check=True, capture_output=True, text=True
    )
    got = json.loads(ran.stdout)
    yield (
        f"{LOTS:,} lots x {DRAWS} years at {SITES} sites, two threads",
        f"{got['seconds']:.1f} s",
        f"<= {AIM_SECONDS} s",
        [
            f"weather {got['weather']:.1f} s, simulation {got['simulation']:.1f} s "
            f"(one thread {got['one_thread']:.1f} s), {got['sets']:,} sets of stock",
            f"of processors: {got['processors']:.1f} s, which others' work does not lengthen much",
            f"as often as drawing as many normal numbers as there are days: {got['ratio']:.0f}",
        ],
    )
    yield "its memory", f"{got['mib']:.0f} MiB", f"<= {AIM_MIB} MiB", []


def _weather(rng: np.random.Generator, site: str, warm: float) -> SiteWeather:
    count = round(YEARS * 365.25)
    day = np.arange(count)
    spell = np.zeros(count)
    for step in range(1, count):
        spell[step] = 0.75 * spell[step - 1] + rng.normal(0, 1.4)
    mean = warm + 7 * np.cos(2 * np.pi * (day - 200) / 365.25) + spell
    return SiteWeather(
        site=site,
        today=small.TODAY,
        first=small.TODAY - count,
        low=(mean - 5).tolist(),
        high=(mean + 5).tolist(),
    )


def paths(seed: int = 1) -> list[Path]:
    """Site by site, crop by crop."""
    rng, found = np.random.default_rng(seed), []
    for site in range(SITES):
        weather = _weather(rng, f"S{site}", 17 + site)
        clocks = {crop: clock_of(weather, crop, way) for crop, way in CROPS.items()}
        coming = ahead(weather, clocks, DRAWS, DAYS, seed).paths
        found += [
            Path(today=small.TODAY, behind=clock.running, ahead=coming[crop])
            for crop, clock in clocks.items()
        ]
    return found


def nursery(paths: list[Path], seed: int = 2) -> Task:
    """Lots of every age: a quarter are grafts of which half have no reading yet."""
    rng = np.random.default_rng(seed)
    kin = np.sort(rng.integers(0, KINS, LOTS))
    site = rng.integers(0, SITES, LOTS)
    waiting = rng.random(LOTS) < 0.25
    trees = rng.integers(20, 200, LOTS)
    row = kin % len(CROPS) * METHODS + rng.integers(0, METHODS, LOTS)
    known = np.where(rng.random(LOTS) < 0.5, 0.01, np.inf)
    kinds = {name: small.chances(LOTS, at) for at, name in enumerate(("take", "push", "survival"))}
    own = {"row": row, "y": np.full(LOTS, np.log(350.0)), "variance": known}
    return small.task(
        draws=DRAWS,
        paths=paths,
        push=_middles(rng, 350),
        ready=_middles(rng, 1900),
        rates=Rates(
            mean=rng.beta(90, 10, (4, DRAWS)), correlation=rng.uniform(0.03, 0.08, (4, DRAWS))
        ),
        lots=small.lots(
            LOTS,
            kin=kin,
            to_push=small.Own(**own),
            to_ready=small.Own(**(own | {"y": np.full(LOTS, np.log(1900.0))})),
            fit=small.chances(LOTS, 3),
            **kinds,
        ),
        stands=small.stands(
            trees.tolist(),
            path=site * len(CROPS) + kin % len(CROPS),
            site=site,
            unread=np.where(waiting & (rng.random(LOTS) < 0.5), trees, 0),
            waiting=waiting,
            from_push=~waiting,
            counted=np.where(waiting, rng.uniform(0, 300, LOTS), rng.uniform(0, 1800, LOTS)),
            push_seen=np.where(waiting, 150.0, 0.0),
            ready_seen=np.where(waiting, 0.0, 400.0),
            sizes=rng.integers(0, 3, LOTS),
            grades=rng.integers(0, 3, LOTS),
        ),
        stock=_stock(rng),
        grafts=_grafts(),
    )


def _middles(rng: np.random.Generator, middle: float) -> Middles:
    rows = (len(CROPS) * METHODS, DRAWS)
    return Middles(
        log_middle=np.log(middle) + rng.normal(0, 0.05, rows),
        spread=rng.uniform(0.1, 0.2, rows),
        lot_sd=rng.uniform(0.05, 0.1, rows),
        family=(["lognormal"] * (METHODS - 1) + ["weibull"]) * len(CROPS),
    )


def _stock(rng: np.random.Generator) -> Stock:
    ready = np.stack(
        [
            rng.integers(0, KINS, 2_000),
            rng.integers(0, SITES, 2_000),
            rng.integers(0, 3, 2_000),
            rng.integers(-1, 2, 2_000),
            rng.integers(1, 80, 2_000),
        ],
        axis=1,
    )
    return small.stock(
        ready.tolist(),
        DRAWS,
        kin=[f"C{kin % 40}/R{kin // 40}" for kin in range(KINS)],
        sizes=["P1", "P2", "P4"],
        grades=["1", "2"],
        sites=[f"S{site}" for site in range(SITES)],
        kin_losses=rng.uniform(0.02, 0.06, (KINS, DRAWS)),
        size_shares=Shares(
            kind=np.array([[0, 1], [1, 2], [1, NONE]]),
            share=np.array([[0.3, 0.7], [0.6, 0.4], [1.0, 0.0]]),
            correlation=np.full(3, 0.3),
        ),
        grade_shares=small.shares([0.8, 0.2], [0.7, 0.3], [0.9, 0.1], correlation=0.05),
    )


def _grafts() -> Grafts:
    path, row, week = (
        each.ravel()
        for each in np.meshgrid(
            np.arange(SITES * len(CROPS)), np.arange(METHODS), np.arange(52), indexing="ij"
        )
    )
    on = small.TODAY + 7 * week
    row = path % len(CROPS) * METHODS + row
    return Grafts(path=path, to_push=row, to_ready=row, on=on, begins=on + 1)


def _measured() -> dict[str, Any]:
    began, processors = time.perf_counter(), time.process_time()
    coming = paths()
    weather = time.perf_counter() - began
    task = nursery(coming)
    began = time.perf_counter()
    told = simulate(task)
    simulation = time.perf_counter() - began
    processors = time.process_time() - processors
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    began = time.perf_counter()
    simulate(task, threads=1)
    one_thread = time.perf_counter() - began
    began = time.perf_counter()
    for _ in range(7):
        np.random.default_rng(1).standard_normal((LOTS, DRAWS))
    normals = time.perf_counter() - began
    return {
        "seconds": weather + simulation,
        "weather": weather,
        "simulation": simulation,
        "one_thread": one_thread,
        "ratio": simulation / normals,
        "processors": processors,
        "sets": len(told.stock.kin),
        "mib": most,
    }


if __name__ == "__main__":
    print(json.dumps(_measured()))
