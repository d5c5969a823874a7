"""What is on its way out says so in every answer and in the description."""

from datetime import UTC, datetime
from pathlib import Path

import httpx
import pytest

from service.api import spec
from service.api.deprecation import Deprecated
from service.api.operation import Call, NoQuery, Reply, operation
from service.application import http
from service.settings import Settings
from tests.api.conftest import listening

# RFC 9745 section 2.1 has this date; RFC 8594 asks for an HTTP-date (RFC 9110 section 5.6.7).
SINCE = datetime(2023, 6, 30, 23, 59, 59, tzinfo=UTC)
SUNSET = datetime(2024, 6, 30, 23, 59, 59, tzinfo=UTC)


@operation(
    "GET",
    "/v1/sites",
    tag="Service",
    scope="",
    answer=dict,
    deprecated=Deprecated(SINCE, "ask /new.", sunset=SUNSET, link="/docs/old"),
)
async def get_old(call: Call[NoQuery]) -> Reply:
    """The old one."""
    return Reply({})


async def test_every_answer_says_since_when_and_until_when() -> None:
    app = http(Settings(data_dir=Path("/nonexistent")), handlers=[get_old])
    app.state.services = None
    async with listening(app) as url, httpx.AsyncClient(base_url=url) as client:
        answer = await client.get("/v1/sites")
    # No key: a refusal says it too.
    assert answer.status_code == 401
    assert answer.headers["deprecation"] == "@1688169599"
    assert answer.headers["sunset"] == "Sun, 30 Jun 2024 23:59:59 GMT"
    assert answer.headers["link"] == '</docs/old>; rel="deprecation"; type="text/html"'


def test_the_description_says_it() -> None:
    described = spec._operation(get_old.opt["operation"], {repr(dict): {}}, {"NoQuery": {}})
    assert described["deprecated"] is True
    assert described["description"].endswith(
        "Deprecated since 2023-06-30, ends after 2024-06-30: ask /new."
    )


@pytest.mark.parametrize(
    ("since", "sunset"),
    [
        (SUNSET, SINCE),
        (datetime(2023, 6, 30), None),
        (SINCE.replace(microsecond=1), None),
    ],
)
def test_what_no_header_can_say_is_refused(since: datetime, sunset: datetime | None) -> None:
    with pytest.raises(ValueError, match=r"give|before"):
        Deprecated(since, "", sunset=sunset)
