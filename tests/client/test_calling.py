"""What is tried again, with which key, after how long; what is raised. No service is needed."""

import json
from collections.abc import Callable, Iterator

import httpx
import pytest
from graftlog_client import Client, NotChanged, Problem, problems, shapes
from graftlog_client.calling import pause_for

Answered = httpx.Response | Exception
RECORDED = {"position": 7, "verdicts": []}
LOOK = shapes.PlaceChecked(
    site="CORIN", occurred="2026-03-14", data=shapes.PlaceCheckedData(place="H2-T04")
)


def problem(status: int, slug: str, **members: object) -> httpx.Response:
    body = {"type": f"/problems/{slug}", "title": "No", "status": status} | members
    headers = {"Content-Type": "application/problem+json", "Retry-After": "3"}
    return httpx.Response(status, content=json.dumps(body), headers=headers)


class Service:
    """Answers what it was told to, in order; keeps what it was asked and how long was waited."""

    def __init__(self, *answers: Answered) -> None:
        self._answers: Iterator[Answered] = iter(answers)
        self.asked: list[httpx.Request] = []
        self.waited: list[float] = []

    def __call__(self, request: httpx.Request) -> httpx.Response:
        self.asked.append(request)
        answer = next(self._answers)
        if isinstance(answer, Exception):
            raise answer
        return answer

    async def sleep(self, seconds: float) -> None:
        self.waited.append(seconds)

    def client(self) -> Client:
        transport = httpx.MockTransport(self)
        return Client("http://svc", "k3y", transport=transport, sleep=self.sleep)


def ok(body: object, **headers: str) -> httpx.Response:
    return httpx.Response(200, json=body, headers=headers)


async def test_tries_of_one_recording_share_their_key_and_wait_as_told() -> None:
    service = Service(
        httpx.ReadError("cut"),
        problem(409, "idempotency-key-in-flight"),
        problem(503, "unavailable"),
        ok(RECORDED, **{"Idempotency-Replayed": "true"}),
    )
    async with service.client() as client:
        answer = await client.record_events(LOOK)
    assert answer.body.position == 7
    assert answer.replayed
    assert len({request.headers["idempotency-key"] for request in service.asked}) == 1
    assert len({request.content for request in service.asked}) == 1
    assert service.waited[0] < 1
    assert service.waited[1:] == [3.0, 3.0]
    assert service.asked[0].headers["authorization"] == "Bearer k3y"


async def test_two_recordings_have_two_keys_and_a_given_one_is_kept() -> None:
    service = Service(ok(RECORDED), ok(RECORDED), ok(RECORDED))
    async with service.client() as client:
        await client.record_events(LOOK)
        await client.record_events(LOOK)
        await client.record_events(LOOK, idempotency_key="mine-1")
    keys = [request.headers["idempotency-key"] for request in service.asked]
    assert len(set(keys)) == 3
    assert keys[2] == "mine-1"


async def test_a_change_without_a_key_is_sent_again_only_where_nothing_had_begun() -> None:
    body = shapes.SizeBody(label="2 litre")
    service = Service(
        httpx.ConnectError("away"), problem(429, "quota-exceeded"), problem(503, "unavailable")
    )
    async with service.client() as client:
        with pytest.raises(Problem) as raised:
            await client.put_size("C2", body, if_match='"4"')
    assert raised.value.status == 503
    assert len(service.asked) == 3
    cut = Service(httpx.ReadError("cut"))
    async with cut.client() as client:
        with pytest.raises(httpx.ReadError):
            await client.put_size("C2", body, if_match='"4"')


async def test_somebody_elses_request_with_the_key_is_no_reason_to_wait() -> None:
    service = Service(problem(409, "idempotency-key-in-flight"))
    async with service.client() as client:
        with pytest.raises(problems.IdempotencyKeyInFlight):
            await client.record_events(LOOK, idempotency_key="shared")


@pytest.mark.parametrize(
    ("told", "least", "most"),
    [
        ({"Retry-After": "7"}, 7, 7),
        ({"Retry-After": "9" * 400}, 30, 30),
        ({"Retry-After": "Wed, 21 Oct 2015 07:28:00 GMT"}, 0, 0),
        ({"Retry-After": "Fri, 21 Oct 2095 07:28:00 GMT"}, 30, 30),
        ({"Retry-After": "soon"}, 0.4, 0.8),
        ({"Retry-After": f"Fri, 31 Dec {'9' * 20} 23:59:59 GMT"}, 0.4, 0.8),
        ({}, 0.4, 0.8),
    ],
    ids=["seconds", "for ever", "past", "far", "nonsense", "no year", "unsaid"],
)
def test_how_long_to_wait(told: dict[str, str], least: float, most: float) -> None:
    # RFC 9110 section 10.2.3: seconds or an HTTP date. Unsaid: longer each time.
    assert least <= pause_for(httpx.Headers(told), 3) <= most


async def test_it_gives_up_in_the_end() -> None:
    service = Service(*(problem(503, "unavailable") for _ in range(9)))
    async with service.client() as client:
        with pytest.raises(Problem):
            await client.list_sizes()
    assert len(service.asked) == 5


REFUSED = problem(
    409,
    "refused",
    detail="Nothing was stored.",
    request_id="r-1",
    errors=[{"kind": "too_few", "detail": "12 are there", "numbers": {"there": 12}, "new": 1}],
    instead={"count": 12},
)


@pytest.mark.parametrize(
    ("answer", "raised", "kind"),
    [
        (lambda: REFUSED, problems.Refused, "refused"),
        (lambda: problem(418, "of-tomorrow"), Problem, "of-tomorrow"),
        (lambda: httpx.Response(404, text="<h1>a proxy's</h1>"), Problem, "about:blank"),
        (lambda: httpx.Response(302, headers={"Location": "http://else/"}), Problem, "about:blank"),
        (
            lambda: httpx.Response(400, text="{", headers={"Content-Type": "application/json"}),
            Problem,
            "about:blank",
        ),
    ],
)
async def test_a_problem_is_the_exception_of_its_kind(
    answer: Callable[[], httpx.Response], raised: type[Problem], kind: str
) -> None:
    service = Service(answer())
    async with service.client() as client:
        with pytest.raises(raised) as caught:
            await client.record_events(LOOK)
    assert type(caught.value) is raised
    assert caught.value.kind == kind


async def test_a_refusal_brings_its_numbers_and_what_it_says_beside() -> None:
    service = Service(REFUSED)
    async with service.client() as client:
        with pytest.raises(problems.Refused, match="12 are there") as caught:
            await client.record_events(LOOK)
    assert caught.value.errors[0].numbers == {"there": 12}
    assert caught.value.request_id == "r-1"
    assert caught.value.members["instead"] == {"count": 12}


async def test_what_one_has_already_is_said_and_not_read() -> None:
    service = Service(httpx.Response(304, headers={"ETag": '"4"'}))
    async with service.client() as client:
        answer = await client.get_size("C2", if_none_match='"4"')
    assert not answer.changed
    assert answer.etag == '"4"'
    with pytest.raises(NotChanged):
        _ = answer.body


async def test_words_stay_where_they_belong_in_an_address() -> None:
    empty = {"items": [], "next": None, "position": 1, "after": 1}
    service = Service(ok(empty), problem(404, "not-found"))
    async with service.client() as client:
        await client.list_events(
            limit=5, from_="2026-03-14T09:30:00+11:00", type=["trees.lost", "trees.moved"]
        )
        with pytest.raises(problems.NotFound):
            await client.get_contact("../sizes?x=1")
    assert dict(service.asked[0].url.params) == {
        "limit": "5",
        "from": "2026-03-14T09:30:00+11:00",
        "type": "trees.lost,trees.moved",
    }
    assert service.asked[1].url.raw_path == b"/v1/contacts/..%2Fsizes%3Fx%3D1"


async def test_a_page_of_elsewhere_does_not_get_the_key() -> None:
    page = {"items": [], "next": "http://else.example/v1/sizes?cursor=x", "position": 1}
    service = Service(ok(page))
    async with service.client() as client:
        with pytest.raises(ValueError, match="another service"):
            _ = [item async for item in client.each(await client.list_sizes())]
    assert len(service.asked) == 1
