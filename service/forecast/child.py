"""The process that a forecast is worked out in: `Known` comes in, `Foretold` goes out.

Numerics take seconds of a processor and much memory, so they have a process of their own that ends
with each forecast: what serves and what keeps the views never loads them, a crash or a hang harms
nothing else, and the memory goes back.

Run as `python -m service.forecast.child FUNCTION SECONDS`: the function as `module:name`, and after
how many seconds the system ends it, should nobody else.
"""

import importlib
import os
import signal
import sys

import msgspec

from service.forecast.shapes import Foretold, Known

# Those who wait for an answer of the service go before.
NICER = 5


def main(function: str, seconds: str) -> None:
    """Read `Known` from the standard input, write `Foretold` to the standard output."""
    # Whoever started this may be gone: then only the alarm ends a computation without end.
    signal.alarm(int(seconds))
    os.nice(NICER)
    answer = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    # A library that prints must not spoil the answer.
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())
    known = msgspec.msgpack.decode(sys.stdin.buffer.read(), type=Known)
    module, _, name = function.partition(":")
    foretold: Foretold = getattr(importlib.import_module(module), name)(known)
    with answer:
        answer.write(msgspec.msgpack.encode(foretold))


if __name__ == "__main__":
    main(*sys.argv[1:])
