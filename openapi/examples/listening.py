"""A receiver of webhooks, as small as one can be: it believes nothing that is not signed."""

import asyncio
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from graftlog_client import Message, NotGenuine, Receiver


class Post:
    """What was delivered and is genuine, each once; `url` is where it is sent."""

    def __init__(self, url: str) -> None:
        self.url = url
        self.receiver: Receiver | None = None
        self.arrived: asyncio.Queue[Message] = asyncio.Queue()
        self.turned_away = 0
        self._seen: set[str] = set()
        self._loop = asyncio.get_running_loop()

    def take(self, headers: dict[str, str], body: bytes) -> int:
        """The status to answer a delivery with."""
        # Until the secret is known nothing can be believed; the service tries again.
        if self.receiver is None:
            return 503
        try:
            event = self.receiver.verify(headers, body)
        except NotGenuine:
            self.turned_away += 1
            return 401
        # A delivery that was not seen to arrive comes again, with the same id.
        if event.id not in self._seen:
            self._seen.add(event.id)
            self._loop.call_soon_threadsafe(self.arrived.put_nowait, event)
        return 204


@contextmanager
def listening() -> Iterator[Post]:
    """A receiver on a free port of this machine, for as long as the block lasts."""

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
            self.send_response(post.take(dict(self.headers), body))
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, format: str, *args: object) -> None:
            """Nothing: the story is told elsewhere."""

    with ThreadingHTTPServer(("127.0.0.1", 0), Handler) as server:
        post = Post(f"http://127.0.0.1:{server.server_port}/graftlog")
        serving = threading.Thread(target=server.serve_forever, args=(0.05,))
        serving.start()
        try:
            yield post
        finally:
            server.shutdown()
            serving.join()
