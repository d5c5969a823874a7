"""Spend of a quota as fast as it goes, also as a process of its own.

``python -m tests.support.spending``: reads its task as a line of JSON, says ``ready``, begins at
the next line and prints the moments at which it was granted a token.
"""

import asyncio
import json
import sys
from pathlib import Path
from time import monotonic

from service.log.quota import Leases
from service.settings import Settings
from service.storage.pool import open_database


async def spend(leases: Leases, name: str, *, seconds: float) -> list[float]:
    """The moments at which a token was taken, as the quota itself saw them."""
    moments = []
    end = monotonic() + seconds
    while (now := monotonic()) < end:
        taken = await leases.take(name)
        if taken.granted:
            lease = leases._held[name].lease
            assert lease is not None
            moments.append(lease.spent_at)
        # A little slower than a loop, so that all processes have their turn.
        await asyncio.sleep(0 if taken.granted else min(0.002, end - now))
    return moments


async def main() -> None:
    task = json.loads(sys.stdin.readline())
    settings = Settings(
        data_dir=Path("/nonexistent"), database_url=task["url"], role_prefix=task["prefix"]
    )
    async with await open_database(settings) as database:
        leases = Leases(database.writer, task["quota"], window=task["window"], lasts=task["lasts"])
        print("ready", flush=True)
        sys.stdin.readline()
        moments = await spend(leases, "a", seconds=task["seconds"])
        await leases.close()
    print(json.dumps(moments))


if __name__ == "__main__":
    asyncio.run(main())
