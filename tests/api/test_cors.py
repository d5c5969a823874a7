"""Pages of other origins are told nothing, but for those listed (Fetch standard, section 3.3).

That nothing is told by default is in test_limits.
"""

from collections.abc import AsyncIterator
from pathlib import Path

import httpx
import pytest

from service.api.cors import EXPOSED
from service.application import http
from service.settings import Settings, SettingsError, read_settings
from tests.api.conftest import listening

SHOP = "https://shop.example"


@pytest.fixture
async def client() -> AsyncIterator[httpx.AsyncClient]:
    """Asks a service that lets two origins in; nothing here gets as far as a database."""
    origins = (SHOP, "http://localhost:5173")
    app = http(Settings(data_dir=Path("/nonexistent"), cors_origins=origins))
    app.state.services = None
    async with listening(app) as url, httpx.AsyncClient(base_url=url) as client:
        yield client


def told(answer: httpx.Response) -> dict[str, str]:
    return {
        name.removeprefix("access-control-"): value
        for name, value in answer.headers.items()
        if name.startswith("access-control-")
    }


async def test_a_listed_page_may_read_answers_and_refusals(client: httpx.AsyncClient) -> None:
    for path, status in (("/problems", 200), ("/v1/stock", 401), ("/nowhere", 404)):
        answer = await client.get(path, headers={"Origin": SHOP})
        assert answer.status_code == status
        assert told(answer) == {"allow-origin": SHOP, "expose-headers": ", ".join(EXPOSED)}
        assert "Origin" in answer.headers["vary"]


async def test_others_and_no_page_are_told_nothing(client: httpx.AsyncClient) -> None:
    for origin in ("https://shop.example.evil", "https://SHOP.example", "null", None):
        headers = {"Origin": origin} if origin else {}
        answer = await client.get("/problems", headers=headers)
        assert (answer.status_code, told(answer)) == (200, {})
        # What is kept for them is not for a listed page.
        assert "Origin" in answer.headers["vary"]
        asked = {**headers, "Access-Control-Request-Method": "POST"}
        assert told(await client.options("/v1/events", headers=asked)) == {}


async def test_a_page_asks_before_it_sends(client: httpx.AsyncClient) -> None:
    asked = {
        "Origin": SHOP,
        "Access-Control-Request-Method": "POST",
        "Access-Control-Request-Headers": "authorization,content-type,idempotency-key",
    }
    answer = await client.options("/v1/events", headers=asked)
    assert answer.status_code == 204
    said = told(answer)
    # Never with cookies, and never for every origin.
    assert set(said) == {"allow-origin", "allow-methods", "allow-headers", "max-age"}
    assert said["allow-origin"] == SHOP
    assert {"GET", "POST"} <= set(said["allow-methods"].split(", "))
    may_send = {name.lower() for name in said["allow-headers"].split(", ")}
    assert set(asked["Access-Control-Request-Headers"].split(",")) <= may_send
    assert answer.headers["vary"] == (
        "Origin, access-control-request-method, access-control-request-headers"
    )
    # OPTIONS by itself is no such question.
    plain = await client.options("/v1/events", headers={"Origin": SHOP})
    assert set(told(plain)) == {"allow-origin", "expose-headers"}


@pytest.mark.parametrize(
    ("given", "origins"),
    [
        ("https://shop.example", ("https://shop.example",)),
        (
            "https://Shop.Example:443, http://localhost:5173,http://[::1]:80,https://shop.example",
            ("https://shop.example", "http://localhost:5173", "http://[::1]"),
        ),
        ("", ()),
    ],
)
def test_origins_are_read_as_browsers_write_them(given: str, origins: tuple[str, ...]) -> None:
    assert read_settings({"GRAFTLOG_CORS_ORIGINS": given, "HOME": "/h"}).cors_origins == origins


@pytest.mark.parametrize(
    "given",
    ["*", "null", "shop.example", "https://shop.example/", "ftp://a", "https://a:70000", ","],
)
def test_what_is_no_origin_is_refused(given: str) -> None:
    with pytest.raises(SettingsError, match="GRAFTLOG_CORS_ORIGINS"):
        read_settings({"GRAFTLOG_CORS_ORIGINS": given, "HOME": "/h"})
