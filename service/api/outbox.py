"""What is on its way to somebody who may not read it yet: a little in memory, the rest on disk."""

import asyncio
from collections.abc import AsyncIterator
from tempfile import SpooledTemporaryFile

IN_MEMORY = 1024 * 1024
_PIECE = 64 * 1024


class Outbox:
    """A queue of bytes of any length. Who puts never waits; who takes gets pieces as they come.

    Once it holds more than `in_memory` bytes it lies in a file that has no name and goes with it.
    """

    def __init__(self, in_memory: int = IN_MEMORY) -> None:
        self._file = SpooledTemporaryFile(max_size=in_memory)  # noqa: SIM115
        self._written = self._taken = 0
        self._ended = False
        self._woken = asyncio.Event()

    def put(self, data: bytes) -> None:
        """Add to its end."""
        self._file.seek(self._written)
        self._file.write(data)
        self._written += len(data)
        self._woken.set()

    def end(self) -> None:
        """Nothing more comes."""
        self._ended = True
        self._woken.set()

    async def pieces(self) -> AsyncIterator[bytes]:
        """All that was put and will be, until its end."""
        while True:
            if self._taken < self._written:
                self._file.seek(self._taken)
                piece = self._file.read(_PIECE)
                self._taken += len(piece)
                if self._taken == self._written:
                    # A reader who keeps up never touches the disk.
                    self._file.seek(0)
                    self._file.truncate()
                    self._taken = self._written = 0
                yield piece
            elif self._ended:
                return
            else:
                self._woken.clear()
                await self._woken.wait()

    def close(self) -> None:
        """Let go of what was not taken."""
        self._file.close()
