"""Runs `graftlog` as a person would: a process of its own, with an environment of its own."""

import asyncio
import os
import signal
import sys
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from typing import NamedTuple


class Ended(NamedTuple):
    """How a command ended, and what it said."""

    code: int
    out: str
    err: str


def environment(settings: Mapping[str, str]) -> dict[str, str]:
    """The process's environment with these GRAFTLOG_ variables and no others."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("GRAFTLOG_")}
    return {**kept, **{f"GRAFTLOG_{name}": value for name, value in settings.items()}}


async def graftlog(*words: str, **settings: str) -> Ended:
    """Run a command to its end."""
    process = await _start(words, settings)
    out, err = await asyncio.wait_for(process.communicate(), 120)
    assert process.returncode is not None
    return Ended(process.returncode, out.decode(), err.decode())


class Running:
    """A command that stays up."""

    def __init__(self, process: asyncio.subprocess.Process) -> None:
        self.process = process
        self.out: list[str] = []

    async def line_with(self, text: str) -> str:
        """Read its output until a line holds the text."""
        assert self.process.stdout is not None
        while True:
            line = (await asyncio.wait_for(self.process.stdout.readline(), 120)).decode()
            self.out.append(line)
            if text in line:
                return line
            assert line, f"it ended without saying {text!r}: {''.join(self.out)[-3000:]}"

    async def rest(self) -> str:
        """All it said, once it has ended."""
        assert self.process.stdout is not None
        self.out.append((await self.process.stdout.read()).decode())
        return "".join(self.out)

    async def end(self, number: int) -> int:
        """Send a signal and answer its exit code; a signal it died of is negative."""
        self.process.send_signal(number)
        await asyncio.wait_for(self.process.wait(), 60)
        await self.rest()
        assert self.process.returncode is not None
        return self.process.returncode


@asynccontextmanager
async def running(*words: str, **settings: str) -> AsyncIterator[Running]:
    """Start a command that stays up; both of its outputs are read as one."""
    process = await _start(words, settings, together=True)
    try:
        yield Running(process)
    finally:
        if process.returncode is None:
            process.send_signal(signal.SIGTERM)
            await process.wait()


async def _start(
    words: tuple[str, ...], settings: Mapping[str, str], *, together: bool = False
) -> asyncio.subprocess.Process:
    return await asyncio.create_subprocess_exec(
        sys.executable,
        "-m",
        "service.cli",
        *words,
        env=environment(settings),
        stdin=asyncio.subprocess.DEVNULL,
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.STDOUT if together else asyncio.subprocess.PIPE,
    )
