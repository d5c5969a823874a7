"""How long answers take."""

import statistics
import time
from collections.abc import Sequence

from tests.bench.place import Place

FILLS_CACHES = 2


def milliseconds(place: Place, addresses: Sequence[str]) -> list[float]:
    """Of an answer to each address, one after the other, the first ones asked once before."""
    times = []
    for number, address in enumerate([*addresses[:FILLS_CACHES], *addresses]):
        begin = time.perf_counter()
        answer = place.client.get(f"/v1/{address}")
        took = 1000 * (time.perf_counter() - begin)
        assert answer.status_code == 200, answer.text
        if number >= FILLS_CACHES:
            times.append(took)
    return times


def figures(times: list[float]) -> tuple[float, float]:
    """The median and the 99th percentile."""
    return statistics.median(times), statistics.quantiles(times, n=100)[98]
