"""Sends the story to a running service, as any client would, and checks every verdict."""

import asyncio
import contextlib
import os
import time
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import click
import httpx

from seed_scenario.generator import LOTS, SEED, YEARS, Scenario, scenario
from seed_scenario.telling import Request

Temperature = tuple[date, float, float]
"""A day with its minimum and maximum in degrees Celsius."""


class UnexpectedError(Exception):
    """The service said something else than the scenario expects; the message shows it."""


async def load(
    client: httpx.AsyncClient,
    year: Scenario,
    *,
    after: datetime | None = None,
    progress: Callable[[int], None] = lambda events: None,
) -> int:
    """Record the year and its weather; answers how many events got in.

    The client carries the address and a key of scope `history`. Requests recorded at or before
    `after` were sent earlier and are left out: that is how an interrupted load goes on. Calls
    `progress` with the number of events of each request. Raises UnexpectedError.
    """
    recorded, loggers = 0, _Loggers(year.temperatures)
    for request in year.requests:
        if after is None or request.recorded_at > after:
            recorded += await _send(client, request)
        progress(len(request.events))
        for site, days in loggers.read(request):
            # The last ones of an interrupted load are sent again, which changes nothing.
            if after is None or request.recorded_at >= after:
                await _weather(client, site, days, request.recorded_at)
    end = year.requests[-1].recorded_at
    for site, days in loggers.rest(end.date()):
        await _weather(client, site, days, end)
    return recorded


class _Loggers:
    """The sites' loggers: read out when a site is told of first, and once a week from then on."""

    def __init__(self, temperatures: dict[str, list[Temperature]]) -> None:
        self._temperatures = temperatures
        # of each site told of: how many of its days were read out
        self._read: dict[str, int] = {}

    def read(self, request: Request) -> Iterator[tuple[str, list[Temperature]]]:
        """What is read out on the day of a request: site and its days."""
        today = request.recorded_at.date()
        for event in request.events:
            entry = event["data"].get("entry", {})
            if entry.get("kind") == "site":
                self._read.setdefault(entry["code"], 0)
        for site, done in self._read.items():
            days = self._temperatures[site]
            over = (today - days[0][0]).days
            if not done or over - done >= 7:
                self._read[site] = min(max(over, 0), len(days))
                if days[done:over]:
                    yield site, days[done:over]

    def rest(self, last: date) -> Iterator[tuple[str, list[Temperature]]]:
        """The days up to `last` that were not read out yet."""
        for site, done in self._read.items():
            days = [one for one in self._temperatures[site][done:] if one[0] <= last]
            if days:
                yield site, days


def _instant(at: datetime) -> str:
    return at.isoformat().replace("+00:00", "Z")


async def _send(client: httpx.AsyncClient, request: Request) -> int:
    # One event goes alone and many as an array: the service takes both.
    alone = len(request.events) == 1 and request.mode == "all"
    answer = await client.post(
        "/v1/events",
        json=request.events[0] if alone else request.events,
        params={
            "mode": request.mode,
            "recorded_at": _instant(request.recorded_at),
            "recorded_by": request.recorded_by,
        },
    )
    if request.mode == "all" and request.refused:
        _expect_refusal(request, answer)
        return 0
    if answer.status_code not in (200, 201):
        raise _unexpected(request, answer, "it should have been recorded")
    verdicts = answer.json()["verdicts"]
    if len(verdicts) != len(request.events):
        raise _unexpected(request, answer, "each event should have its verdict")
    for index, verdict in enumerate(verdicts):
        wanted = request.refused.get(index)
        said = {error["kind"] for error in verdict.get("errors", ())}
        if verdict["verdict"] != ("refused" if wanted else "accepted") or (
            wanted and said != {wanted}
        ):
            raise _unexpected(request, answer, f"event {index} should be {wanted or 'accepted'}")
        missing = set(request.remarked.get(index, ())) - {
            remark["kind"] for remark in verdict.get("remarks", ())
        }
        if missing:
            raise _unexpected(request, answer, f"event {index} should be remarked: {missing}")
    return len(verdicts) - len(request.refused)


def _expect_refusal(request: Request, answer: httpx.Response) -> None:
    if answer.status_code != 409:
        raise _unexpected(request, answer, f"it should have been refused: {request.refused}")
    said = {error["kind"] for error in answer.json()["errors"]}
    if said != set(request.refused.values()):
        raise _unexpected(request, answer, f"it should be refused for {request.refused}")


async def _weather(
    client: httpx.AsyncClient, site: str, days: list[Temperature], recorded_at: datetime
) -> None:
    body = {
        "source": "invented logger, House 1",
        "days": [{"day": str(day), "min_c": low, "max_c": high} for day, low, high in days],
    }
    answer = await client.put(
        f"/v1/sites/{site}/temperatures",
        json=body,
        params={"recorded_at": _instant(recorded_at)},
    )
    if answer.status_code != 200:
        raise UnexpectedError(f"temperatures of {site}: {answer.status_code} {answer.text}")
    gaps = answer.json()["gaps"]
    if gaps:
        raise UnexpectedError(f"temperatures of {site} have gaps: {gaps}")


def _unexpected(request: Request, answer: httpx.Response, wanted: str) -> UnexpectedError:
    kinds = ", ".join(event["type"] for event in request.events[:5])
    return UnexpectedError(
        f"{request.site}, recorded {request.recorded_at} ({kinds}): {wanted}, but the service "
        f"answered {answer.status_code}: {answer.text[:3000]}"
    )


async def interrupted_at(client: httpx.AsyncClient, year: Scenario) -> datetime | None:
    """When the log last learned of anything of this story; None if it never did.

    Raises UnexpectedError when the log holds something else.
    """
    # A request got in whole or not at all, so one of its events speaks for all of it.
    marks = [
        (request.recorded_at, accepted[0])
        for request in year.requests
        if (accepted := _accepted(request))
    ]
    low, high = 0, len(marks)
    while low < high:
        middle = (low + high) // 2
        answer = await client.get(f"/v1/events/{marks[middle][1]}")
        if answer.status_code not in (200, 404):
            raise UnexpectedError(f"the log answered {answer.status_code}: {answer.text[:1000]}")
        low, high = (middle + 1, high) if answer.status_code == 200 else (low, middle)
    if low == 0 and (await client.get("/v1/events?limit=1")).json()["items"]:
        raise UnexpectedError(
            "the log holds other events than this story's: load it into an empty one, or give the "
            "same --last, --lots, --years and --random to go on"
        )
    return marks[low - 1][0] if low else None


def _accepted(request: Request) -> list[str]:
    """Ids of the events that should get in."""
    if request.mode == "all" and request.refused:
        return []
    return [one["id"] for n, one in enumerate(request.events) if n not in request.refused]


@contextlib.contextmanager
def progress_bar(events: int, label: str) -> Iterator[Callable[[int], None]]:
    """A bar that also shows how many events a second get in; yields what `load` calls."""
    begun, done = time.monotonic(), 0

    def rate(_: object) -> str:
        return f"{done / max(time.monotonic() - begun, 0.001):,.0f} events/s"

    with click.progressbar(length=events, label=label, item_show_func=rate) as bar:
        # the rate is shown beside the bar whenever it moves
        bar.current_item = done

        def told(count: int) -> None:
            nonlocal done
            done += count
            bar.update(count)

        yield told


@click.command()
@click.option("--url", default="http://127.0.0.1:8080", show_default=True, help="The service.")
@click.option("--last", type=click.DateTime(["%Y-%m-%d"]), help="Last day; default yesterday.")
@click.option("--lots", type=click.IntRange(30), default=LOTS, show_default=True)
@click.option("--years", type=click.FloatRange(1), default=YEARS, show_default=True)
@click.option("--random", "seed", type=int, default=SEED, show_default=True, help="Seed.")
@click.option(
    "--truth",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Also write the hidden truth to this file.",
)
def main(
    url: str, last: datetime | None, lots: int, years: float, seed: int, truth: Path | None
) -> None:
    """Load the invented nursery's story into an empty log, with a key of role `history`.

    The key is read from the environment variable GRAFTLOG_TEST_KEY. A load that was interrupted
    goes on when it is called with the same options again.
    """
    key = os.environ.get("GRAFTLOG_TEST_KEY", "")
    if not key:
        raise click.ClickException("GRAFTLOG_TEST_KEY should hold a key of role history")
    year = scenario(last.date() if last else yesterday(), seed, lots=lots, years=years)
    if truth is not None and year.truth is not None:
        year.truth.write(truth)

    async def run() -> int:
        headers = {"Authorization": f"Bearer {key}"}
        async with httpx.AsyncClient(base_url=url, headers=headers, timeout=60) as client:
            after = await interrupted_at(client, year)
            with progress_bar(year.events, f"{lots} lots in {years:g} years") as told:
                return await load(client, year, after=after, progress=told)

    try:
        recorded = asyncio.run(run())
    except (UnexpectedError, httpx.HTTPError) as error:
        raise click.ClickException(str(error)) from error
    click.echo(f"{recorded} events recorded")


def yesterday() -> date:
    """The last day that has ended everywhere west of the date line, and surely at each site."""
    return datetime.now(UTC).date() - timedelta(days=1)


if __name__ == "__main__":
    main()
