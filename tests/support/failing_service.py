"""`graftlog serve` in which one question fails, for tests of what is told of it and what is not."""

import asyncio
from typing import Any

# The application first: what starts with it asks the question by a name of its own.
from service import application, cli
from service.log import read


async def shut(connection: Any) -> int:
    """As if a question of ours were wrong."""
    await asyncio.sleep(0)
    raise RuntimeError("the books are shut")


if __name__ == "__main__":
    assert application
    read.head = shut
    cli.main(["serve", "--without-jobs"])
