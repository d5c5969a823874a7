"""Events sent as lines, recorded as they come, and answered while they come."""

import asyncio
import json
import socket
import uuid
from collections.abc import AsyncIterator, Iterable
from contextlib import AsyncExitStack
from typing import Any

import msgspec
import pytest
from litestar import Litestar

from service.api import bulk
from service.api import lines as read
from service.api.bulk import AllJudged, LineVerdict
from service.api.entrance import InTime
from service.api.headers import names_type
from service.api.outbox import Outbox
from service.application import assemble, http
from service.clock import system_clock
from service.feed.following import Follower
from service.log.append import Appender
from service.log.keys import list_keys, revoke_key
from service.log.submission import Answer, Busy, OutcomeUnknown, Submission
from service.settings import Settings
from service.storage.pool import Database
from service.trade.verdicts import Remark
from tests.api.conftest import Client, MakeClient, listening
from tests.api.nursery import event, fill
from tests.api.test_problems import checked

LOOK = event("place.checked", {"place": "H2-T04"})
LOST = event("liners.discarded", {"lot": "L-1", "count": 500, "cause": "frost"})
IN_LINES = {"Content-Type": "application/x-ndjson", "Accept": "application/x-ndjson"}


class Moody(Appender):
    """The log's writer, with what it is to do first instead of writing."""

    moods: list[Exception | None]

    async def append(self, submission: Submission) -> Answer:
        if self.moods and (mood := self.moods.pop(0)) is not None:
            raise mood
        return await super().append(submission)


@pytest.fixture
async def appender(database: Database) -> AsyncIterator[Moody]:
    writer = Moody(database)
    writer.moods = []
    await writer.start()
    yield writer
    await writer.stop()


@pytest.fixture
def served(database: Database, settings: Settings, appender: Moody) -> Litestar:
    """A second process, as it were, to be served in another way."""
    app = http(settings)
    app.state.services = assemble(settings, database, appender, system_clock, Follower(database))
    return app


@pytest.fixture
async def admin(client_for: MakeClient) -> Client:
    client = await client_for("history")
    await fill(client)
    return client


def lines(events: Iterable[Any]) -> bytes:
    return b"".join(msgspec.json.encode(one) + b"\n" for one in events)


def ided(number: int) -> dict[str, Any]:
    return {**LOOK, "id": f"0190a5c4-7c00-7b3e-9a40-{number:012x}"}


class Told:
    """An answer in lines, each read as what is public says it is."""

    def __init__(self, text: bytes) -> None:
        self.verdicts: list[LineVerdict] = []
        self.end: AllJudged | None = None
        self.problem: dict[str, Any] | None = None
        for line in text.splitlines():
            assert self.end is None
            assert self.problem is None, "nothing comes after the end"
            found = json.loads(line)
            if "verdict" in found:
                self.verdicts.append(msgspec.convert(found, LineVerdict))
            elif "lines" in found:
                self.end = msgspec.convert(found, AllJudged)
            else:
                self.problem = found

    @property
    def became(self) -> list[tuple[int, str]]:
        return [(one.line, one.verdict) for one in self.verdicts]


async def send(client: Client, content: Any, query: str = "", **headers: str) -> Told:
    answer = await client.post(
        f"/v1/events?mode=each{query}", content=content, headers=IN_LINES | headers, timeout=60
    )
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "application/x-ndjson"
    return Told(answer.content)


async def head(client: Client) -> int:
    position: int = (await client.get("/v1/events?limit=1")).json()["position"]
    return position


async def test_each_line_has_its_verdict_in_their_order(admin: Client) -> None:
    broken = b'{"type": "place.checked", "site": \n'
    body = lines([LOOK]) + b"\n" + lines([LOST]) + broken + lines([ided(1), ided(1)])
    body += lines([{**ided(1), "actor": "p-08"}]) + b"\xff\n" + msgspec.json.encode(LOOK)
    before = await head(admin)
    told = await send(admin, body)
    assert told.became == [
        (1, "accepted"),
        (3, "refused"),
        (4, "malformed"),
        (5, "accepted"),
        (6, "known"),
        (7, "refused"),
        (8, "malformed"),
        (9, "accepted"),
    ]
    at = {one.line: one for one in told.verdicts}
    assert at[3].errors[0].kind == "below_zero"
    assert at[3].errors[0].pointer.startswith("#/data")
    assert at[7].errors[0].kind == "id_reused"
    assert at[5].position == at[6].position
    assert told.end == AllJudged(
        position=before + 3, lines=8, accepted=3, known=1, refused=2, malformed=2
    )
    kept = (await admin.get("/v1/to-put-right")).json()["items"]
    assert [one["reasons"][0]["kind"] for one in kept] == [
        "below_zero",
        "bad_value",
        "id_reused",
        "bad_value",
    ]
    assert kept[1]["raw"].encode() + b"\n" == broken


async def test_the_verdicts_are_those_of_an_array(admin: Client) -> None:
    """All but the line's number and the place in the array is the same, remarks and codes too."""
    bags = [{"sticks": 2, "buds": 5, "place": "COOL-1"}]
    cut = event("budwood.cut", {"cultivar": "NAV", "source_tree": "NAV-3", "bags": bags})
    walk = {"lines": [{"lot": "L-1", "place": "H2-T04", "counted": 27}], "reason": "a walk"}
    events = [cut, event("stock.counted", walk), LOST, {"type": "nonsense"}]
    array = (await admin.post("/v1/events?mode=each&check=true", json=events)).json()
    for query in ("&check=true", ""):
        told = await send(admin, lines(events), query)
        assert told.end is not None
        for one, other in zip(told.verdicts, array["verdicts"], strict=True):
            assert one.verdict == other["verdict"]
            assert one.remarks == [msgspec.convert(r, Remark) for r in other["remarks"]]
            assert sorted(one.made) == sorted(other["made"])
            pointers = [fault.pointer for fault in one.errors]
            of_the_array = f"#/{one.line - 1}"
            assert pointers == [
                "#" + fault["pointer"].removeprefix(of_the_array) for fault in other["errors"]
            ]
    assert array["verdicts"][1]["remarks"]
    assert [one["verdict"] for one in array["verdicts"]] == [
        "accepted",
        "accepted",
        "refused",
        "malformed",
    ]


class Sender:
    """Somebody who writes a request as they please and reads the answer when they please."""

    def __init__(
        self, client: Client, *, receive_buffer: int | None = None, key: str | None = None
    ) -> None:
        self.client, self.receive_buffer, self.key = client, receive_buffer, key

    async def __aenter__(self) -> "Sender":
        url = self.client.base_url
        made = socket.socket()
        if self.receive_buffer is not None:
            made.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, self.receive_buffer)
        made.setblocking(False)
        await asyncio.get_running_loop().sock_connect(made, (url.host, url.port))
        self.reader, self.writer = await asyncio.open_connection(sock=made)
        head = {"Host": url.host, "Transfer-Encoding": "chunked", **IN_LINES}
        head["Authorization"] = self.client.headers["authorization"]
        head |= {"Idempotency-Key": self.key} if self.key else {}
        said = "".join(f"{name}: {value}\r\n" for name, value in head.items())
        self.writer.write(f"POST /v1/events?mode=each HTTP/1.1\r\n{said}\r\n".encode())
        return self

    async def __aexit__(self, *_: object) -> None:
        self.writer.close()

    async def send(self, data: bytes) -> None:
        self.writer.write(b"%x\r\n" % len(data) + data + b"\r\n")
        await self.writer.drain()

    async def end(self) -> None:
        self.writer.write(b"0\r\n\r\n")
        await self.writer.drain()

    async def head(self) -> bytes:
        return await self.reader.readuntil(b"\r\n\r\n")

    async def piece(self) -> bytes:
        """The next piece of the answer; empty at its end."""
        size = int(await self.reader.readline(), 16)
        return (await self.reader.readexactly(size + 2))[:-2]

    async def told(self) -> Told:
        pieces = []
        while piece := await self.piece():
            pieces.append(piece)
        return Told(b"".join(pieces))


async def test_who_pauses_is_told_before_the_request_ends(admin: Client) -> None:
    async with Sender(admin) as sender:
        for number in (1, 2):
            await sender.send(lines([LOOK]))
            if number == 1:
                assert (await sender.head()).startswith(b"HTTP/1.1 200 ")
            assert Told(await sender.piece()).became == [(number, "accepted")]
        # Half a line waits for its other half.
        await sender.send(lines([LOOK])[:20])
        await sender.send(lines([LOOK])[20:])
        assert Told(await sender.piece()).became == [(3, "accepted")]
        await sender.end()
        told = await sender.told()
        assert told.end is not None
        assert told.end.lines == 3


async def test_who_sends_all_before_reading_anything_is_not_waited_for(
    served: Litestar, admin: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    waited: list[int] = []
    all_judged = asyncio.Event()

    class Watched(Outbox):
        def put(self, data: bytes) -> None:
            super().put(data)
            waited.append(self._written - self._taken)

        def end(self) -> None:
            super().end()
            all_judged.set()

    monkeypatch.setattr(bulk, "Outbox", lambda: Watched(in_memory=1000))
    # The answer is more than lies in all buffers between the two.
    many = 3000
    async with (
        listening(served, send_buffer=4096) as url,
        Sender(Client(base_url=url, headers=admin.headers), receive_buffer=4096) as sender,
    ):
        for _ in range(many // 100):
            await sender.send(b"{}\n" * 100)
        await sender.end()
        await all_judged.wait()
        await sender.head()
        told = await sender.told()
    assert told.end is not None
    assert [one.line for one in told.verdicts] == list(range(1, many + 1))
    assert max(waited) > 150_000, "it did not come to that"


async def test_who_goes_away_left_whole_lines_and_sends_all_again_under_the_same_key(
    admin: Client, database: Database
) -> None:
    before = await head(admin)
    broken, events = b'{"type":\n', [{**LOOK, "actor": f"p-{n}"} for n in range(5)]
    async with Sender(admin, key="the-same") as sender:
        await sender.send(lines(events[:2]) + broken)
        await sender.head()
        # The next portion is on its way when the sender goes.
        await sender.send(lines(events[2:])[:-20])
    while await head(admin) < before + 4:
        await asyncio.sleep(0.01)
    whole = lines(events[:2]) + broken + lines(events[2:])
    again = await send(admin, whole, **{"Idempotency-Key": "the-same"})
    became = ["known", "known", "malformed", "known", "known", "accepted"]
    assert [one.verdict for one in again.verdicts] == became
    assert await head(admin) == before + 5
    kept = (await admin.get("/v1/to-put-right")).json()["items"]
    assert [(one["raw"], one["attempts"]) for one in kept] == [('{"type":', 2)]
    # Something else under the same key is no retry, and another key is another sending.
    other = await send(admin, lines([LOOK]), **{"Idempotency-Key": "the-same"})
    assert [fault.kind for fault in other.verdicts[0].errors] == ["id_reused"]
    fresh = await send(admin, lines(events), **{"Idempotency-Key": "another"})
    assert [one.verdict for one in fresh.verdicts] == ["accepted"] * 5
    ids = [one.id for one in fresh.verdicts]
    stored = await database.writer.fetch("SELECT id FROM events WHERE id = ANY($1::uuid[])", ids)
    # RFC 9562, 5.8: version 8, made as the service likes; 4.1: the variant.
    assert len({row["id"] for row in stored}) == 5
    assert {(row["id"].version, row["id"].variant) for row in stored} == {(8, uuid.RFC_4122)}


async def test_lines_are_judged_some_at_a_time(
    admin: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(read, "PORTION", 3)
    told = await send(admin, lines([LOST, ided(1), LOOK, LOOK, LOOK, LOOK, LOST]))
    assert [one.verdict for one in told.verdicts] == ["refused", *["accepted"] * 5, "refused"]
    # A void and what stands in its place belong together, on whichever side of a portion's end:
    # alone the void of what 12 trees were grafted on would be refused.
    stock = (await admin.get("/v1/events?type=liners.received")).json()["items"][0]
    void = event("event.voided", {"event": stock["id"], "reason": "a slip"})
    anew = event("liners.received", stock["data"], occurred="2026-03-01", replaces=stock["id"])
    assert (await send(admin, lines([LOOK, LOOK, void]))).verdicts[2].verdict == "refused"
    told = await send(admin, lines([LOOK, LOOK, void, anew, LOOK]))
    assert [one.verdict for one in told.verdicts] == ["accepted"] * 5


async def test_too_much_is_told_after_the_verdicts(
    admin: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = await head(admin)
    long = b'{"type": "' + b"x" * 1024 * 1024 + b'"}\n'
    for body in (lines([LOOK]) + long + lines([LOOK]), lines([LOOK]) + long.strip()):
        told = await send(admin, body)
        assert told.became == [(1, "accepted")]
        assert told.problem is not None
        assert {"type": "/problems/content-too-large", "line": 2}.items() <= told.problem.items()
    monkeypatch.setattr(read, "MOST_LINES", 3)
    told = await send(admin, lines([LOOK] * 3))
    assert (told.problem, len(told.verdicts)) == (None, 3)
    told = await send(admin, lines([LOOK] * 5))
    assert told.problem is not None
    assert {"status": 413, "limit": 3, "line": 4}.items() <= told.problem.items()
    assert len(told.verdicts) == 3
    assert await head(admin) == before + 8
    # Where nothing was judged yet the request itself is refused.
    answer = await admin.post("/v1/events?mode=each", content=long, headers=IN_LINES)
    checked(answer, 413, "content-too-large")


async def test_what_can_be_said_before_the_first_verdict_is_the_requests_own_problem(
    admin: Client, client_for: MakeClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def post(client: Client, query: str = "", content: bytes = lines([LOOK])) -> Any:
        address = f"/v1/events?mode=each{query}"
        return await client.post(address, content=content, headers=IN_LINES)

    checked(await post(admin, content=b"\n \n"), 422, "validation-error")
    checked(await post(admin, content=b""), 422, "validation-error")
    checked(await post(admin, "&check=true", lines([LOOK]) * 5001), 413, "content-too-large")
    checked(await post(admin, "&check=true", lines([ided(1)]) * 2), 422, "validation-error")
    recorder, auditor = await client_for("recorder"), await client_for("auditor")
    query = "&recorded_at=2026-11-01T00:00:00Z"
    checked(await post(recorder, query), 403, "insufficient-scope")
    told = await send(auditor, lines([LOOK]))
    assert [fault.kind for fault in told.verdicts[0].errors] == ["scope_missing"]
    past = await send(admin, lines([LOOK]), query)
    assert [fault.kind for fault in past.verdicts[0].errors] == ["out_of_order"]
    monkeypatch.setattr(bulk, "AT_ONCE", 0)
    busy = await post(admin)
    checked(busy, 503, "overloaded")
    assert busy.headers["retry-after"]
    # Who does not ask for lines gets what was always answered.
    plain = {"Content-Type": "application/x-ndjson"}
    old = await admin.post("/v1/events?mode=each", content=lines([LOOK]), headers=plain)
    assert old.json()["verdicts"][0]["verdict"] == "accepted"


async def test_the_writer_may_be_full_or_lose_its_database(admin: Client, appender: Moody) -> None:
    appender.moods = [Busy(), Busy(), None, OutcomeUnknown()]
    async with Sender(admin) as sender:
        await sender.send(lines([LOOK]))
        await sender.head()
        assert Told(await sender.piece()).became == [(1, "accepted")]
        await sender.send(lines([LOOK]))
        told = await sender.told()
    assert told.problem is not None
    assert {"type": "/problems/outcome-unknown", "line": 2}.items() <= told.problem.items()
    assert not told.verdicts


async def test_a_key_that_is_revoked_meanwhile_records_no_more(
    served: Litestar, admin: Client, database: Database
) -> None:
    async with (
        listening(served) as url,
        Sender(Client(base_url=url, headers=admin.headers)) as sender,
    ):
        await sender.send(lines([LOOK]))
        await sender.head()
        assert len(Told(await sender.piece()).verdicts) == 1
        async with database.writer.acquire() as connection:
            await revoke_key(connection, (await list_keys(connection))[0].key_id)
        served.state.services.keys.forget()
        await sender.send(lines([LOOK]))
        told = await sender.told()
    assert told.problem is not None
    assert {"status": 401, "line": 2}.items() <= told.problem.items()


async def test_who_stops_sending_is_not_waited_for(
    admin: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with Sender(admin) as sender:
        await sender.send(lines([LOOK, LOOK]))
        await sender.head()
        monkeypatch.setattr(InTime, "renew", lambda self: setattr(self, "_end", 0))
        assert len(Told(await sender.piece()).verdicts) == 2
        await sender.send(lines([LOOK]))
        told = await sender.told()
    assert told.problem is not None
    assert {"type": "/problems/request-timeout", "line": 4}.items() <= told.problem.items()


async def test_a_service_that_stops_says_how_far_it_came(served: Litestar, admin: Client) -> None:
    stack = AsyncExitStack()
    url = await stack.enter_async_context(listening(served))
    async with Sender(Client(base_url=url, headers=admin.headers)) as sender:
        await sender.send(lines([LOOK]))
        await sender.head()
        assert len(Told(await sender.piece()).verdicts) == 1
        stopping = asyncio.create_task(stack.aclose())
        told = await sender.told()
        await stopping
    assert told.problem is not None
    assert {"status": 503, "line": 2}.items() <= told.problem.items()


@pytest.mark.parametrize(
    ("accept", "wanted"),
    [
        ("application/x-ndjson", True),
        ("application/json;q=0.5, Application/X-NDJSON ; q=0.8", True),
        ("application/x-ndjson;q=0", False),
        ("application/x-ndjson; q=0.000, */*", False),
        ("*/*", False),
        ("application/json", False),
        ("", False),
        (None, False),
    ],
)
def test_lines_are_answered_to_who_names_them(accept: str | None, wanted: bool) -> None:
    """Accept as in RFC 9110 section 12.5.1; `*/*` gets JSON, as without it."""
    assert names_type(accept, "application/x-ndjson") == wanted
