"""Sends the invented year to a running service, as any client would, and checks every verdict."""

import asyncio
import os
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import click
import httpx

from seed_scenario.generator import Scenario, scenario
from seed_scenario.telling import Request


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
    recorded = 0
    for request in year.requests:
        if after is None or request.recorded_at > after:
            recorded += await _send(client, request)
        progress(len(request.events))
        entry = request.events[0]["data"].get("entry", {})
        if entry.get("kind") == "site":
            # Sent again it changes nothing, so an interrupted load need not remember it.
            await _weather(client, entry["code"], year.temperatures[entry["code"]])
    return recorded


async def _send(client: httpx.AsyncClient, request: Request) -> int:
    # One event goes alone and many as an array: the service takes both.
    alone = len(request.events) == 1 and request.mode == "all"
    answer = await client.post(
        "/v1/events",
        json=request.events[0] if alone else request.events,
        params={
            "mode": request.mode,
            "recorded_at": request.recorded_at.isoformat().replace("+00:00", "Z"),
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
    client: httpx.AsyncClient, site: str, days: list[tuple[date, float, float]]
) -> None:
    body = {
        "source": "invented logger, House 1",
        "days": [{"day": str(day), "min_c": low, "max_c": high} for day, low, high in days],
    }
    answer = await client.put(f"/v1/sites/{site}/temperatures", json=body)
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


@click.command()
@click.option("--url", default="http://127.0.0.1:8080", show_default=True, help="The service.")
@click.option("--last", type=click.DateTime(["%Y-%m-%d"]), help="Last day; default yesterday.")
def main(url: str, last: datetime | None) -> None:
    """Load the invented year into an empty log, with a key of role `history`.

    The key is read from the environment variable GRAFTLOG_TEST_KEY.
    """
    key = os.environ.get("GRAFTLOG_TEST_KEY", "")
    if not key:
        raise click.ClickException("GRAFTLOG_TEST_KEY should hold a key of role history")
    year = scenario(last.date() if last else yesterday())

    async def run(bar: Any) -> int:
        headers = {"Authorization": f"Bearer {key}"}
        async with httpx.AsyncClient(base_url=url, headers=headers, timeout=60) as client:
            return await load(client, year, progress=bar.update)

    try:
        with click.progressbar(length=year.events, label="A year of events") as bar:
            recorded = asyncio.run(run(bar))
    except (UnexpectedError, httpx.HTTPError) as error:
        raise click.ClickException(str(error)) from error
    click.echo(f"{recorded} events recorded")


def yesterday() -> date:
    """The last day that has ended everywhere west of the date line, and surely at each site."""
    return datetime.now(UTC).date() - timedelta(days=1)


if __name__ == "__main__":
    main()
