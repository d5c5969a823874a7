"""A Litestar handler that does nothing, on the server that the service runs on."""

import sys

import uvicorn
from litestar import Litestar, get, post


@post("/empty", status_code=200)
async def empty() -> dict[str, int]:
    return {}


@get("/empty")
async def nothing() -> dict[str, int]:
    return {}


if __name__ == "__main__":
    uvicorn.run(
        Litestar([empty, nothing], openapi_config=None, logging_config=None),
        port=int(sys.argv[1]),
        loop="auto",
        http="httptools",
        ws="none",
        log_config=None,
        access_log=False,
    )
