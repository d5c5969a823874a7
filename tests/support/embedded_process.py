"""A process that runs or shares an embedded server, for tests that kill it.

``python -m tests.support.embedded_process FOLDER [ACCOUNT]``: as root it becomes ACCOUNT first.
Says one JSON line when the server is ready, answers each line of its input, and stops at the end
of its input.
"""

import json
import os
import signal
import sys
from pathlib import Path

from service.storage.embedded import EmbeddedServer, EmbeddedServerError
from service.storage.embedded.binaries import find_binaries

UNREACHABLE = 77


def become(name: str) -> None:
    """Give up root for the account ``name``."""
    import pwd

    entry = pwd.getpwnam(name)
    # Python's own modules may be out of reach afterwards; this loads what is needed of them.
    find_binaries()
    os.setgroups([])
    os.setgid(entry.pw_gid)
    os.setuid(entry.pw_uid)
    if not os.access(sys.executable, os.X_OK):
        # An interpreter in root's own home: the account takes the system's.
        sys.executable = "/usr/bin/python3"
    if not os.access(sys.executable, os.X_OK) or not os.access(__file__, os.R_OK):
        sys.exit(UNREACHABLE)


def say(**words: object) -> None:
    """One JSON line."""
    print(json.dumps(words), flush=True)


def main() -> None:
    """See the module."""
    if len(sys.argv) > 2:
        become(sys.argv[2])
    try:
        server = EmbeddedServer.start(Path(sys.argv[1]))
    except EmbeddedServerError as error:
        say(error=str(error))
        sys.exit(1)
    say(dsn=server.dsn("postgres"), pid=server.pid, owned=server.owned)
    for line in sys.stdin:
        if line.strip() == "fork":
            child = os.fork()
            if child == 0:
                signal.pause()
            say(child=child)
    server.stop()


if __name__ == "__main__":
    main()
