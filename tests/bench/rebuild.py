"""How fast views are rebuilt at a million events, one after the other, each by the command."""

import asyncio
import os
import re
import subprocess
import sys
import time
from collections.abc import Iterable
from typing import NamedTuple

from service.jobs.every_view import every_view
from tests.bench.many import fill
from tests.bench.place import ROOT
from tests.support.database import TestServer

EVENTS = int(os.environ.get("GRAFTLOG_BENCH_EVENTS", "1000000"))
AIMS = {"additive": 100_000, "per_subject": 20_000}


class Run(NamedTuple):
    """One run of the command: events a second, and the most memory it held, in MiB."""

    seconds: float
    rate: float
    memory: float
    said: str


def rebuild(database_url: str, view: str) -> Run:
    """Run `graftlog rebuild VIEW` and see what it took."""
    command = [sys.executable, "-c", "from service.cli import main; main()", "rebuild", view]
    environment = os.environ | {"GRAFTLOG_DATABASE_URL": database_url}
    with subprocess.Popen(
        command, env=environment, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    ) as process:
        assert process.stdout is not None
        said = process.stdout.read().decode()
        _, status, usage = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
    assert process.returncode == 0, said
    told = re.search(r"([\d,]+) events in ([\d.]+) s", said)
    assert told is not None, said
    seconds = max(float(told[2]), 0.1)
    rate = int(told[1].replace(",", "")) / seconds
    return Run(seconds, rate, usage.ru_maxrss / 1024, said.strip().splitlines()[-1])


def measure(server: TestServer) -> Iterable[tuple[str, str, str, list[str]]]:
    """For each view: what was measured, the figure, its aim, and more lines."""
    url = server.dsn_of(asyncio.run(server.create()))
    begin = time.perf_counter()
    events = fill(url, EVENTS)
    print(f"    [{events:,} events were there after {time.perf_counter() - begin:.0f} s]")
    missed = []
    for view in every_view():
        first = rebuild(url, view.name)
        again = rebuild(url, view.name)
        aim = AIMS[view.kind]
        if again.rate < aim:
            missed.append(view.name)
        yield (
            f"rebuild of {view.name} ({view.kind}) at {events:,} events",
            f"{again.rate:,.0f}/s",
            f">= {aim:,}/s",
            [
                f"{again.seconds:.1f} s with comparing, at most {again.memory:.0f} MiB; into empty "
                f"tables {first.seconds:.1f} s ({first.rate:,.0f}/s), {first.memory:.0f} MiB",
            ],
        )
    load = f"{os.getloadavg()[0]:.1f} processes wanted the {os.cpu_count()} cores meanwhile"
    told = f"short of their aim: {', '.join(missed)}" if missed else "all reach their aim"
    yield ("views that miss the aim", str(len(missed)), "0", [told, load])
