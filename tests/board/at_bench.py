"""Somebody at the bench without script: opens a form, fills it in, sends it."""

import asyncio
import re
from concurrent.futures import ThreadPoolExecutor
from html import unescape
from typing import Any

import asyncpg
import httpx

from service.log.incoming import new_id
from tests.board.served import Served

_INPUT = re.compile(r"<input\b([^>]*)>")
_ATTRIBUTE = re.compile(r'([a-z-]+)(?:="([^"]*)")?')


def hidden_of(html: str, action: str) -> dict[str, str]:
    """The hidden fields of the form with this action."""
    form = html.split(f'action="{action}"', 1)[1].split("</form>", 1)[0]
    fields = {}
    for tag in _INPUT.findall(form):
        found = dict(_ATTRIBUTE.findall(tag))
        if found.get("type") == "hidden":
            fields[unescape(found["name"])] = unescape(found.get("value", ""))
    return fields


class AtBench:
    """One person's device."""

    def __init__(self, demo: Served, who: str) -> None:
        self.demo, self.who = demo, who
        self.client = httpx.Client(
            base_url=demo.url, cookies={"graftlog_seat": demo.cookies[who]}, trust_env=False
        )

    def see(self, path: str, status: int = 200) -> str:
        """The page at `path`."""
        answer = self.client.get(path, headers={"Accept": "text/html"})
        assert answer.status_code == status, (path, answer.status_code, answer.text[-500:])
        return answer.text

    def fill(self, path: str, **fields: str) -> dict[str, str]:
        """The form at `path`, its hidden fields and what is typed. The form's entry is kept."""
        return hidden_of(self.see(path), path.partition("?")[0]) | fields

    def send(self, path: str, fields: dict[str, str], *, json: bool = False) -> httpx.Response:
        """Send a form, as a browser or as the device's queue does."""
        accept = "application/json" if json else "text/html"
        return self.client.post(
            path.partition("?")[0], data=fields, headers={"Accept": accept}, timeout=20
        )

    def tell(self, path: str, **fields: str) -> dict[str, Any]:
        """Fill a form in and send it as the device does; its answer."""
        answer = self.send(path, self.fill(path, **fields), json=True)
        assert answer.status_code == 200, answer.text
        said: dict[str, Any] = answer.json()
        return said

    def again(self, fields: dict[str, str]) -> dict[str, str]:
        """The same fields as another entry."""
        return fields | {"entry": new_id()}


def looked_up(demo: Served, question: str, *values: Any) -> Any:
    """One value out of the books, for a test without a loop of its own.

    In a thread, since the browser of other tests keeps a loop in this one.
    """
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(lambda: asyncio.run(asked(demo, question, *values))).result()


async def asked(demo: Served, question: str, *values: Any) -> Any:
    """One value out of the books."""
    assert demo.settings.database_url is not None
    connection = await asyncpg.connect(demo.settings.database_url)
    try:
        return await connection.fetchval(question, *values)
    finally:
        await connection.close()


BEHIND = (
    "SELECT EXISTS (SELECT FROM view_checkpoints v, log_head h "
    "WHERE v.live AND v.view = $1 AND v.position < h.position)"
)


def view_follows(demo: Served, view: str) -> None:
    """Wait until the view shows all that was recorded."""

    async def until_it_does() -> None:
        async with asyncio.timeout(20):
            while await asked(demo, BEHIND, view):
                await asyncio.sleep(0.02)

    with ThreadPoolExecutor(1) as thread:
        thread.submit(lambda: asyncio.run(until_it_does())).result()
