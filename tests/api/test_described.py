"""The service answers as its public description says, over real HTTP and a filled nursery.

Schemathesis makes requests from the served document, well-formed and ill-formed, and holds every
answer to it with all its checks and ours (`described_checks.py`). The runs here are bounded for a
suite of tests; `make fuzz` sets ``GRAFTLOG_FUZZ`` and lets them run long, with more examples.
"""

import asyncio
import json
import os
import sys
from pathlib import Path
from typing import Any, NamedTuple

import httpx
import pytest

from service.api import limits
from service.jobs.every_view import every_view
from service.log.keys import create_key
from service.log.rights import SCOPES
from service.storage.pool import Database
from service.views.runner import Runner
from tests.api.nursery import CATALOGUE, STOCK, event
from tests.support import two_nurseries

ROOT = Path(__file__).parents[2]
CONFIG = Path(__file__).with_name("schemathesis.toml")
# Examples for each operation with `make fuzz`; 0 in the suite.
DEEP = int(os.environ.get("GRAFTLOG_FUZZ", "0"))
# With `make fuzz` other requests each time; a run that fails says its seed.
SEED = os.environ.get("GRAFTLOG_FUZZ_SEED") or (None if DEEP else "1")
# They take any event: four fifths of all ways to spoil a request are theirs.
ANY_EVENT = ("record_events", "correct_refused")


MORE: list[tuple[str, dict[str, Any]]] = [
    ("contacts/cust-0481", {"kind": "person", "name": "Ilse Brandt"}),
    ("people/cust-0481", {"role": "recorder"}),
    (
        "check-plans/LOOK-AGAIN",
        {
            "check": "look_again",
            "after": "grafted",
            "due_days": 9,
            "overdue_days": 12,
            "done_by": ["place.checked"],
            "source": "our own",
        },
    ),
    (
        "rules/CERTIFIED-YEARS",
        {
            "title": "Registration of source trees",
            "value": "7 years",
            "as_of": "2026-01-01",
            "source": "our own",
        },
    ),
]
ITEM = {"cultivar": "NAV", "rootstock": "CARR", "count": 1}
ORDERS = [
    event("grafting.ordered", {**ITEM, "work_order": "W-1", "needed_by": "2026-03-30"}),
    # What the two nurseries have is held, or spoken for.
    event(
        "trees.received",
        {
            **ITEM,
            "lot": "R-9",
            "supplier": "sup-1",
            "size": "P9",
            "grade": "first",
            "place": "AA-T1",
            "count": 9,
        },
        site="AA-SITE",
        occurred="2026-08-01",
    ),
    event(
        "reservation.made",
        {
            "reservation": "R-1",
            "customer": "cust-0481",
            "lines": [{**ITEM, "size": "P9", "grade": "first"}],
        },
        site="AA-SITE",
        occurred="2026-08-02",
    ),
]


class Served(NamedTuple):
    """A service with a nursery in it, and a key that may do everything there."""

    url: str
    key: str


@pytest.fixture(autouse=True)
def patient(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every operation is asked with a wrong key, more in a minute than one address may send."""
    monkeypatch.setattr(limits, "WRONG_KEYS", 10_000)


async def key_for(database: Database, *sites: str) -> str:
    """A key with every scope at `sites`; `*`: at all."""
    async with database.writer.acquire() as connection:
        name, scopes = f"all-{sites[0].strip('*')}", frozenset(SCOPES)
        made = await create_key(
            connection, name=name, role=None, scopes=scopes, sites=frozenset(sites)
        )
    return made.token


@pytest.fixture
async def served(database: Database, base_url: str) -> Served:
    """Two nurseries that have one of everything, and beside them what the examples name."""
    key = await key_for(database, "*")
    headers = {"Authorization": f"Bearer {key}"}
    async with httpx.AsyncClient(base_url=base_url, headers=headers, timeout=60) as client:
        await two_nurseries.fill(client, database)
        for path, body in (*CATALOGUE, *MORE):
            answer = await client.put(f"/v1/{path}", json=body)
            # Some stand in the two nurseries' catalogue already.
            assert answer.status_code in (201, 428), answer.text
        answer = await client.post("/v1/events", json=[*STOCK, *ORDERS])
        assert answer.status_code == 201, answer.text
    await Runner(database, every_view()).catch_up()
    return Served(base_url, key)


async def hold_to_its_description(served: Served, *options: str, config: Path = CONFIG) -> None:
    """Run Schemathesis with all checks; fails with what it says."""
    command = [str(Path(sys.executable).with_name("schemathesis")), "--config-file", str(config)]
    command += ["run", f"{served.url}/openapi.json", "--checks", "all", "--no-color"]
    command += ["--seed", SEED] if SEED else []
    running = await asyncio.create_subprocess_exec(
        *command,
        *options,
        cwd=ROOT,
        env={**os.environ, "GRAFTLOG_KEY": served.key, "PYTHONPATH": str(ROOT)},
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.STDOUT,
    )
    words, _ = await running.communicate()
    assert running.returncode == 0, words.decode()[-20_000:]


async def test_requests_as_the_description_allows_and_otherwise(served: Served) -> None:
    examples = str(DEEP or 5)
    await hold_to_its_description(served, "--phases", "examples,fuzzing", "-n", examples)


async def test_every_bound_of_every_parameter_and_field(served: Served) -> None:
    left = [word for name in ANY_EVENT for word in ("--exclude-operation-id", name)]
    # By one worker: several set Python's recursion limit in turn while another compiles, which 3.11
    # answers with a SystemError of its own.
    await hold_to_its_description(served, "--phases", "coverage", *([] if DEEP else left))


async def test_links_lead_on_and_never_to_another_site(
    served: Served, database: Database, tmp_path: Path
) -> None:
    people = {
        "auth": [
            {"name": site, "fixedHeaders": [{"name": "Authorization", "value": f"Bearer {key}"}]}
            for site in ("AA-SITE", "ZZ-SITE")
            for key in [await key_for(database, site)]
        ]
    }
    (tmp_path / "people.json").write_text(json.dumps(people))
    config = tmp_path / "schemathesis.toml"
    lines = [one for one in CONFIG.read_text().splitlines() if not one.startswith("headers")]
    lines += ["[auth.wfc]", f'path = "{tmp_path}/people.json"', 'peers = ["AA-SITE", "ZZ-SITE"]']
    config.write_text("\n".join(lines))
    async with database.writer.acquire() as connection:
        before = await connection.fetchval("SELECT position FROM log_head")
    # A contact that was erased is gone; a reservation is made, confirmed, changed, released.
    tags = ("--include-tag", "Contacts", "--include-tag", "Reservations")
    options = ["--phases", "stateful", "-n", str(DEEP or 30), *tags]
    await hold_to_its_description(served, *options, config=config)
    async with database.writer.acquire() as connection:
        rows = await connection.fetch(
            "SELECT DISTINCT type FROM events WHERE position > $1 AND type LIKE 'reservation.%'",
            before,
        )
    done = {row["type"] for row in rows}
    assert "reservation.made" in done
    # Links led on from there.
    assert len(done) > 1


@pytest.mark.skipif(not DEEP, reason="make fuzz")
@pytest.mark.parametrize("which", [(), ("--include-tag", "Catalogue")], ids=["all", "catalogue"])
async def test_one_operation_after_another(served: Served, which: tuple[str, ...]) -> None:
    # A walk goes where links lead it, not everywhere.
    options = ["--phases", "stateful", "-n", str(DEEP), "--exclude-checks", "EveryReadIsAnswered"]
    await hold_to_its_description(served, *options, *which)
