"""A server that answers a device as the service would, or as bad networks and hotspots do."""

import asyncio
import json
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any, Literal
from urllib.parse import parse_qsl, urlsplit

from service.board import assets
from service.board.device import worker
from service.board.rendering import render
from service.wording.words import words_of

# down: the connection breaks; hotspot: a page of its own for everything; deaf: it records and the
# connection breaks before the answer; busy, failing: 503 and 500 for what is recorded.
Mood = Literal["up", "down", "hotspot", "deaf", "busy", "failing"]
SERVER_NOW = "2026-11-21T07:30:00Z"
FORM = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>Table T1</title>
<meta name="known-at" content="{now}"></head>
<body data-person="{person}"><main><h1>Table {code}</h1>
<form method="post" action="/table/T1/loss" data-entry data-title="Loss, T1">
<input type="hidden" name="csrf" value="csrf-{person}">
<input type="hidden" name="entry" value="00000000-0000-7000-8000-000000000001">
<input type="hidden" name="occurred" value="{now}" data-now>
<input type="hidden" name="again" value="{again}">
<label for="count">Count</label><input id="count" name="count" value="">
<label for="note">Note</label><input id="note" name="note" value="">
<button>Record</button></form>
<a data-keep href="/table/T2">T2</a> <a href="{path}/loss?lot=L1">Loss</a>
<p class="said" role="status">Told once.</p>
<form method="post" action="/sign-out" id="out"><button>Sign out</button></form>
</main>{device}</body></html>"""


@dataclass
class Stub:
    """What the server is like now, and what it has got. `ask`: runs before each POST is judged."""

    url: str = ""
    person: str | None = "ana"
    mood: Mood = "up"
    recorded: list[tuple[str, dict[str, str]]] = field(default_factory=list)
    posted: list[str] = field(default_factory=list)
    ask: Any = None
    answered: threading.Condition = field(default_factory=threading.Condition)

    def counts(self, person: str = "ana") -> list[str]:
        """The counts recorded under a name, in the order they came."""
        return [fields["count"] for who, fields in self.recorded if who == person]

    async def until(self, holds: Callable[[], bool]) -> None:
        """Wait until something holds after a form was answered."""

        def wait() -> None:
            with self.answered:
                assert self.answered.wait_for(holds, 8), self

        await asyncio.to_thread(wait)


@contextmanager
def stub_server() -> Iterator[Stub]:
    """The server, until the end of the block."""
    stub = Stub()

    class Handler(_Handler):
        of = stub

    class Server(ThreadingHTTPServer):
        daemon_threads = True
        # A page, its files and the worker's come all at once.
        request_queue_size = 64

    server = Server(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, args=(0.05,))
    thread.start()
    stub.url = f"http://127.0.0.1:{server.server_port}"
    try:
        yield stub
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


class _Handler(BaseHTTPRequestHandler):
    of: Stub

    def log_message(self, format: str, *args: Any) -> None:
        """Say nothing."""

    def do_GET(self) -> None:
        stub, path = self.of, urlsplit(self.path).path
        if stub.mood != "deaf" and self._broken():
            return
        if path == "/sw.js":
            self._send(worker(), "text/javascript")
        elif path.startswith("/static/"):
            name = path.rpartition("/")[2]
            body = assets.content(name)
            self._send(body or b"", assets.TYPES[name.rpartition(".")[2]], 200 if body else 404)
        elif path == "/device/who":
            told = {"person": stub.person, "csrf": f"csrf-{stub.person}"}
            self._send(json.dumps(told) if stub.person else _SIGNED_OUT, "application/json",
                       200 if stub.person else 401)  # fmt: skip
        else:
            self._page(path)

    def _page(self, path: str) -> None:
        words, person = words_of("en"), self.of.person or ""
        if path in ("/waiting", "/offline"):
            who = type("Person", (), {"reference": person}) if person else None
            context: dict[str, Any] = {"language": "en", "known_at": SERVER_NOW, "path": path,
                       "said": None, "seen_site": None, "ways": [], "person": who,
                       "visit": type("Visit", (), {"signed": None})}  # fmt: skip
            self._send(render(f"{path[1:]}.html", words, **context), "text/html")
            return
        again = dict(parse_qsl(urlsplit(self.path).query)).get("again", "")
        device = render("device.html", words).decode()
        html = FORM.format(
            now=SERVER_NOW, person=person, again=again, device=device, path=path, code=path[-2:]
        )
        self._send(html, "text/html; charset=utf-8")

    def do_POST(self) -> None:
        try:
            self._post()
        finally:
            with self.of.answered:
                self.of.answered.notify_all()

    def _post(self) -> None:
        stub, path = self.of, urlsplit(self.path).path
        length = int(self.headers.get("content-length", 0))
        fields = dict(parse_qsl(self.rfile.read(length).decode(), keep_blank_values=True))
        if path == "/sign-out":
            stub.person = None
            self._send("", "text/html", 303, {"Location": "/sign-in"})
            return
        stub.posted.append(fields["entry"])
        if stub.ask is not None:
            stub.ask(stub)
        if stub.mood != "deaf" and self._broken():
            return
        if stub.mood in ("busy", "failing"):
            status = 503 if stub.mood == "busy" else 500
            self._send('{"title": "not now"}', "application/problem+json", status)
            return
        # The token is of one person's session: another's cookie with it is refused.
        if stub.person is None or fields.pop("csrf", "") != f"csrf-{stub.person}":
            self._send(_SIGNED_OUT, "application/problem+json", 401)
            return
        said = self._judge(fields)
        if self._broken():
            return
        if "application/json" in self.headers.get("accept", ""):
            self._send(json.dumps(said), "application/json")
        else:
            self._send("<!doctype html><title>Said</title>" + said["words"], "text/html")

    def _judge(self, fields: dict[str, str]) -> dict[str, Any]:
        entry, known = fields["entry"], [one["entry"] for _, one in self.of.recorded]
        said: dict[str, Any] = {"entry": entry, "verdict": "accepted", "words": "Recorded."}
        if entry in known:
            return said | {"verdict": "known"}
        if fields["count"] == "999":
            error = {"kind": "below_zero", "words": "Only 24 stand there.",
                     "count_form": f"/table/T1?again={entry}"}  # fmt: skip
            return said | {"verdict": "refused", "words": "Refused.", "errors": [error]}
        assert self.of.person is not None, "checked"
        self.of.recorded.append((self.of.person, fields))
        return said

    def _broken(self) -> bool:
        mood = self.of.mood
        if mood == "hotspot":
            self._send("<!doctype html><title>Free Wi-Fi</title>Accept the terms", "text/html")
            return True
        if mood in ("down", "deaf"):
            self.close_connection = True
            self.connection.close()
            return True
        return False

    def _send(
        self, body: str | bytes, kind: str, status: int = 200, headers: dict[str, str] | None = None
    ) -> None:
        sent = body.encode() if isinstance(body, str) else body
        self.send_response(status)
        for name, value in ({"Content-Type": kind} | (headers or {})).items():
            self.send_header(name, value)
        self.send_header("Content-Length", str(len(sent)))
        self.end_headers()
        self.wfile.write(sent)


_SIGNED_OUT = '{"type": "/problems/signed-out", "title": "Nobody is signed in here"}'
