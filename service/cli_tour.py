"""The demo's tour: some questions with their answers, and a graft of the reader's own to record."""

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import click
import httpx

Say = Callable[[str], Any]


async def print_tour(client: httpx.AsyncClient, base: str, key: str, say: Say) -> None:
    """Ask the running service, print what it answers and the curl line for each question."""
    say(f"\ngraftlog answers on {base}, and describes itself on {base}/docs")
    say("The administrator's key, for this shell (shown here only):\n")
    say(f"  export KEY={key}")
    await _stock(client, base, say)
    await _overdue(client, base, say)
    await _ready(client, base, say)
    await _promise(client, base, say)
    await _shop(client, base, say)
    lot = await _history(client, base, say)
    await _own_graft(client, base, say, lot)


async def _get(client: httpx.AsyncClient, path: str) -> Any:
    answer = await client.get(path)
    if answer.status_code != 200:
        raise click.ClickException(f"{path} answered {answer.status_code}: {answer.text[:1000]}")
    return answer.json()


def _title(say: Say, words: str, *curls: str) -> None:
    say("\n" + click.style(words, bold=True))
    for curl in curls:
        say(f"  {curl}")
    say("")


def _curl(base: str, path: str) -> str:
    return f"curl -s -H \"Authorization: Bearer $KEY\" '{base}{path}'"


def _table(say: Say, heads: list[str], rows: list[list[Any]]) -> None:
    """Columns as wide as they need to be; numbers to the right."""
    cells = [["" if cell is None else str(cell) for cell in row] for row in rows]
    widths = [
        max(len(head), *(len(row[i]) for row in cells)) if cells else len(head)
        for i, head in enumerate(heads)
    ]
    number = [all(row[i].lstrip("-").isdigit() for row in cells) for i in range(len(heads))]

    def line(row: list[str]) -> str:
        parts = [
            cell.rjust(width) if right else cell.ljust(width)
            for cell, width, right in zip(row, widths, number, strict=True)
        ]
        return "  " + "  ".join(parts).rstrip()

    say(line(heads))
    for row in cells:
        say(line(row))


async def _stock(client: httpx.AsyncClient, base: str, say: Say) -> None:
    path = "/v1/stock?group_by=site,stage"
    answer = await _get(client, path)
    _title(say, "What stands at each site", _curl(base, path))
    rows = [
        [row.get("site"), row["kind"], row.get("stage") or "", row["quantity"], row["commodity"]]
        for row in answer["rows"]
    ]
    _table(say, ["site", "what", "stage", "number", ""], rows)


async def _overdue(client: httpx.AsyncClient, base: str, say: Say) -> None:
    path = "/v1/checks?check=look&state=overdue&limit=5"
    answer = await _get(client, path)
    _title(say, "Tables that nobody has looked at, most overdue first", _curl(base, path))
    rows = [
        [
            row["site"],
            row["place"],
            row["trees"],
            row.get("last_done") or "nothing recorded",
            row["overdue_on"],
            row["days_overdue"],
        ]
        for row in sorted(answer["items"], key=lambda row: -row["days_overdue"])
    ]
    _table(say, ["site", "place", "trees", "last look", "overdue on", "days"], rows)


async def _ready(client: httpx.AsyncClient, base: str, say: Say) -> None:
    # Lots that were expected before today wait for somebody to grade their last trees.
    path = f"/v1/ready-dates?ready_from={datetime.now(UTC).date()}&limit=5"
    answer = await _get(client, path)
    words = "Lots that should be ready next (estimates, no promises): how sure, and why"
    _title(say, words, _curl(base, path))
    rows = [
        [
            row["lot"],
            row["site"],
            row.get("cultivar"),
            row["trees"],
            row["p20"],
            row["p50"],
            row["p80"],
        ]
        for row in answer["items"]
    ]
    heads = ["lot", "site", "cultivar", "trees", "2 in 10 by", "5 in 10 by", "8 in 10 sure by"]
    _table(say, heads, rows)
    for row in answer["items"][:1]:
        say(f"\n  {row['lot']}: {row['words']}")
        for reason in row["reasons"]:
            say(f"    {reason}")


async def _promise(client: httpx.AsyncClient, base: str, say: Say) -> None:
    """What may be promised of the item that grows most by then, and what a plan for it says."""
    day = datetime.now(UTC).date() + timedelta(days=90)
    counts = (await _get(client, f"/v1/ready-counts?by={day}&limit=1000"))["items"]
    items = [row for row in counts if row["site"] is None and row["grade"] is None]
    if not items:
        return
    most = max(items, key=lambda row: row["counts"][0]["expected"])
    item = {name: most[name] for name in ("cultivar", "rootstock", "size")}
    asked = "&".join(f"{name}={code}" for name, code in item.items())
    path = f"/v1/promises?{asked}&date={day}&quantity=100"
    _title(say, "How many can be promised for a day, and how sure that is", _curl(base, path))
    told = (await _get(client, path))["items"][0]
    say(f"  {told['words']}")
    for reason in told["reasons"]:
        say(f"    {reason}")
    body = {"plan": "trees", **item, "quantity": 200, "needed_by": str(day + timedelta(days=365))}
    answer = await client.post("/v1/plans", json=body)
    if answer.status_code != 200 or not answer.json()["options"]:
        return
    _title(
        say,
        "What to graft for 200 of them a year later",
        'curl -s -H "Authorization: Bearer $KEY" -H "Content-Type: application/json" \\',
        f"  '{base}/v1/plans' -d '{json.dumps(body)}'",
    )
    for option in answer.json()["options"][:2]:
        say(f"  {option['words']}")


async def _shop(client: httpx.AsyncClient, base: str, say: Say) -> None:
    """What a shop may sell of one site, and until when it is so."""
    path = "/v1/availability?goods=trees&site=TARNA&limit=200"
    items = (await _get(client, path))["items"]
    best = sorted(items, key=lambda row: -row["available"])[:5]
    _title(say, "What a shop can have reserved at one site", _curl(base, path))
    rows = [[row["name"], row["available"], *_change(row)] for row in best]
    _table(say, ["item", "today", "then", "from"], rows)
    say("\n  An order's whole life, from that look to a tree that comes back:")
    say(f"  make example URL={base} KEY=$KEY")


def _change(row: dict[str, Any]) -> list[Any]:
    """The first other number, and the day it begins."""
    changes = row["changes"]
    return [changes[0]["available"], changes[0]["date"]] if changes else ["", ""]


async def _history(client: httpx.AsyncClient, base: str, say: Say) -> str | None:
    """The lot with the longest story: the one whose bag was put right."""
    voids = await _get(client, "/v1/events?type=event.voided&limit=200")
    lots = []
    for void in voids["items"]:
        told = await _get(client, f"/v1/events/{void['data']['event']}")
        if told["type"] == "trees.grafted":
            lots.append(told["data"]["lot"])
    if not lots:
        return None
    path = f"/v1/tree-lots/{lots[0]}"
    answer = await _get(client, path)
    words = f"The history of lot {lots[0]}, back to its source tree"
    _title(say, words, _curl(base, path), _curl(base, path + "/lineage"))
    lot = answer["lot"]
    say(f"  {lot['cultivar']} on {lot['rootstock']}, {lot['method']}, {lot['day']}")
    for step in (await _get(client, path + "/lineage"))["steps"][1:]:
        what, of = step["what"].replace("_", " "), ", ".join(step["parents"])
        day = f", {step['day']}" if step["day"] else ""
        say(f"  {'  ' * step['depth']}{what} {step['code']}{day}{f', of {of}' if of else ''}")
    say("")
    rows = [
        [event["occurred"][:10], event["type"], _said(event), _aside(event)]
        for event in answer["history"]
    ]
    _table(say, ["day", "event", "", ""], rows[:12])
    if len(rows) > 12:
        say(f"  ... and {len(rows) - 12} more")
    return str(lots[0])


def _said(event: dict[str, Any]) -> str:
    data = event["data"]
    names = ("count", "alive", "pushed", "waiting", "failed", "reason", "material", "work")
    return ", ".join(f"{name} {data[name]}" for name in names if data.get(name))


def _aside(event: dict[str, Any]) -> str:
    return f"voided by {event['voided_by']}" if event["voided_by"] else ""


async def _own_graft(client: httpx.AsyncClient, base: str, say: Say, lot: str | None) -> None:
    """A curl line that records a graft: the newest bag and liners of one site."""
    site, table = "CORIN", "C-T1"
    bags = await _get(client, f"/v1/budwood-lots?site={site}&on_hand=true&limit=200")
    liners = await _get(client, f"/v1/liner-lots?site={site}&on_hand=true&limit=200")
    wood = max(bags["items"], key=lambda one: one["day"] or "", default=None)
    stock = max(liners["items"], key=lambda one: one["on_hand"], default=None)
    if wood is None or stock is None:
        return
    bag = max(
        (await _get(client, f"/v1/budwood-lots/{wood['code']}"))["bags"],
        key=lambda one: one["left"],
    )
    standing = (await _get(client, f"/v1/liner-lots/{stock['code']}"))["places"]
    here = max((one for one in standing if one["site"] == site), key=lambda one: one["count"])
    count = min(4, bag["left"])
    event = {
        "type": "trees.grafted",
        "site": site,
        "occurred": "TODAY",
        "actor": "p-01",
        "data": {
            "from": [{"bag": bag["code"]}],
            "onto": {"liner_lot": stock["code"], "place": here["place"], "size": here["size"]},
            "method": "inverted_t_bud",
            "count": count,
            "place": table,
        },
    }
    body = json.dumps(event).replace('"TODAY"', "\"'$(date -u +%F)'\"")
    say("\n" + click.style("Record a graft of your own", bold=True))
    say("  Knives are sharp and bleach burns: gloves, eye protection, and your site's own rules.")
    say('  curl -s -H "Authorization: Bearer $KEY" -H "Content-Type: application/json" \\')
    say(f"    '{base}/v1/events' -d '{body}'")
    say("\n  Its verdict names the new lot and its place in the log. Then, with that lot's code:")
    say(f"  {_curl(base, '/v1/tree-lots/LOT')}")
