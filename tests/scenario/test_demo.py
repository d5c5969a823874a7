"""The demo from an empty folder: loaded, toured, written to, killed, taken up again, cleared."""

import contextlib
import os
import re
import shlex
import shutil
import signal
import socket
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click
import httpx
import msgspec
import pytest

from seed_scenario.truth import read
from service import cli_demo
from service.settings import Settings
from service.storage.pool import Database
from service.webhooks.sealing import Sealer
from tests.support.commands import Running, graftlog, running
from tests.support.database import folder_for_a_server

# The demo's own size is judged in test_generator, on books alone: that takes seconds.
SMALL = ("--lots", "30", "--years", "1")
KEY = "a-key-set-beforehand-0123456789-abcdef"
_COLOUR = re.compile(r"\x1b\[[0-9;]*m")


@pytest.fixture
def folder() -> Iterator[Path]:
    path = folder_for_a_server()
    yield path
    shutil.rmtree(path, ignore_errors=True)


def free_port() -> str:
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        return str(sock.getsockname()[1])


def curl_lines(demo: Running) -> list[str]:
    """The curl lines of the tour, each on one line."""
    text = _COLOUR.sub("", "".join(demo.out)).replace("\\\n", " ")
    return [line.strip() for line in text.splitlines() if line.strip().startswith("curl ")]


async def run_curl(line: str, key: str) -> httpx.Response:
    """What the line does, word by word as a shell would take it."""
    today = str(datetime.now(UTC).date())
    words = shlex.split(line.replace("$(date -u +%F)", today).replace("$KEY", key))
    headers: dict[str, str] = {}
    url = body = ""
    rest = iter(words[1:])
    for word in rest:
        if word == "-H":
            name, _, value = next(rest).partition(": ")
            headers[name] = value
        elif word == "-d":
            body = next(rest)
        elif word != "-s":
            url = word
    async with httpx.AsyncClient(headers=headers, trust_env=False) as client:
        return await (client.post(url, content=body) if body else client.get(url))


def server_pid(folder: Path) -> int:
    """The database server that runs on the demo's folder."""
    return int((folder / "demo/postgres/cluster/postmaster.pid").read_text().split("\n")[0])


async def test_the_demo_is_toured_killed_and_found_as_it_was(folder: Path) -> None:
    settings: dict[str, Any] = {"DATA_DIR": str(folder), "PORT": free_port(), "DEMO_KEY": KEY}
    async with running("demo", *SMALL, **settings) as demo:
        await demo.line_with("stays up until Ctrl-C")
        tour = _COLOUR.sub("", "".join(demo.out))
        assert f"export KEY={KEY}" in tour
        for site in ("CORIN", "TARNA", "ELDRA"):
            assert re.search(rf"^  {site} +trees +ready +\d+  plants$", tour, re.MULTILINE)
        assert re.search(r"^  CORIN +C-T6 +\d+  \d{4}-", tour, re.MULTILINE)
        assert re.search(r"source tree C[NVEM]-\d+", tour)
        lines = curl_lines(demo)
        for line in lines:
            if "/v1/events" not in line and "LOT" not in line:
                answer = await run_curl(line, KEY)
                assert answer.status_code == 200, f"{line}: {answer.text}"
        ready = (await run_curl(lines[2], KEY)).json()["items"]
        assert len(ready) == 5
        assert all(row["p50"] for row in ready)
        promise = (await run_curl(next(li for li in lines if "/v1/promises" in li), KEY)).json()
        assert promise["items"][0]["words"] in tour
        plan = (await run_curl(next(li for li in lines if "/v1/plans" in li), KEY)).json()
        assert plan["options"][0]["words"] in tour
        own = await run_curl(next(line for line in lines if "/v1/events' -d '" in line), KEY)
        assert own.status_code == 201, own.text
        lot = own.json()["verdicts"][0]["lot"]
        history = lines[-1].replace("LOT", lot)
        before = (await run_curl(history, KEY)).json()
        assert before["lot"]["on_hand"] == 4

        links = re.findall(r"in (English|Spanish): (http://\S+)/i/(\S+)$", tour, re.MULTILINE)
        assert [language for language, _, _ in links] == ["English", "Spanish"]
        _, base, token = links[1]
        async with httpx.AsyncClient(base_url=base, trust_env=False) as browser:
            signed_in = await browser.post(f"/i/{token}", data={"x": "1"})
            assert signed_in.status_code == 303
            assert "Inés Robledo" in (await browser.get("/me")).text

        assert read(folder / "demo/truth.json").lots == 30
        second = await graftlog("demo", **settings)
        assert "is in use by another program" in second.err
        cleared = await graftlog("demo", "--reset", **settings)
        assert cleared.code == 1
        assert "a demo runs on" in cleared.err
        # Everything at once, as when the power goes.
        os.kill(server_pid(folder), signal.SIGKILL)
        demo.process.kill()
        await demo.process.wait()

    async with running("demo", **settings) as demo:
        await demo.line_with("stays up until Ctrl-C")
        assert "Loading" not in "".join(demo.out)
        assert (await run_curl(history, KEY)).json() == before
        assert await demo.end(signal.SIGINT) == 0
        assert "Traceback" not in "".join(demo.out)
        with pytest.raises(ProcessLookupError):
            os.kill(demo.process.pid, 0)

    checked = await graftlog("selftest", DATA_DIR=str(folder / "demo"))
    assert checked.code == 0, checked.out
    cleared = await graftlog("demo", "--reset", **settings)
    assert cleared.code == 0
    assert not (folder / "demo").exists()
    assert "There is no demo data" in (await graftlog("demo", "--reset", **settings)).out


async def test_an_interrupted_load_goes_on(folder: Path) -> None:
    settings: dict[str, Any] = {"DATA_DIR": str(folder), "PORT": free_port(), "DEMO_KEY": KEY}
    headers = {"Authorization": f"Bearer {KEY}"}
    url = f"http://127.0.0.1:{settings['PORT']}"
    async with running("demo", *SMALL, **settings) as demo:
        await demo.line_with("Loading an invented nursery")
        async with httpx.AsyncClient(base_url=url, headers=headers, trust_env=False) as client:
            position = 0
            while position < 300:
                assert demo.process.returncode is None, await demo.rest()
                with contextlib.suppress(httpx.TransportError):
                    answer = await client.get("/v1/events", params={"limit": 1})
                    position = answer.json()["position"]
        demo.process.kill()
        await demo.process.wait()
    async with running("demo", **settings) as demo:
        await demo.line_with("stays up until Ctrl-C")
        assert "Loading an invented nursery" in "".join(demo.out)
        assert await demo.end(signal.SIGTERM) == 0
    checked = await graftlog("selftest", DATA_DIR=str(folder / "demo"))
    assert checked.code == 0, checked.out


async def test_a_load_that_an_older_version_began_is_not_gone_on_with(
    database: Database, settings: Settings, tmp_path: Path
) -> None:
    """It would tell another story, and its books would be neither."""
    (tmp_path / "demo.json").write_text('{"last": "2026-01-01"}')
    await database.writer.execute("UPDATE log_head SET position = 7")
    here = msgspec.structs.replace(settings, data_dir=tmp_path)
    with pytest.raises(click.ClickException, match=r"older version .*`graftlog demo --reset`"):
        await cli_demo._load(here, database, "http://nowhere.invalid", cli_demo.Size(30, 1))


def test_its_key_for_secrets_is_its_owners_alone_and_stays(tmp_path: Path) -> None:
    bare = Settings(data_dir=tmp_path / "demo")
    first = cli_demo.with_secrets_key(bare)
    file = tmp_path / "demo" / "secrets.key"
    assert file.stat().st_mode & 0o777 == 0o600
    assert cli_demo.with_secrets_key(bare) == first
    # One that was cut off while it wrote it makes another.
    file.unlink()
    file.with_suffix(".part").write_text("half")
    assert len(Sealer(cli_demo.with_secrets_key(bare).secrets_key or ()).seal("x")) > 1
