"""Becomes a database program: gives up root's rights, ties its life to its parent's, then execs.

Run as a script in a process of its own, ``python -I -S launch.py UID GID PARENT SIGNAL CWD PROGRAM
ARGUMENT...``: code between fork and exec in a process that has threads can deadlock, and a fresh
interpreter cannot. The service imports it only for its path and exit codes.

Exit codes of its own: 125 the folder cannot be entered, 126 the program cannot be run.
"""

import os
import sys
from collections.abc import Callable

CANNOT_ENTER = 125
CANNOT_RUN = 126


def _tie(parent: int, number: int) -> Callable[[], None]:
    """A function that has the kernel send us signal ``number`` when our parent ends (Linux).

    Its library is loaded here, before rights are given up: the account may be unable to read
    the interpreter's own files.
    """
    if not sys.platform.startswith("linux"):
        return lambda: None
    import ctypes

    prctl = ctypes.CDLL(None, use_errno=True).prctl
    pr_set_pdeathsig = 1  # from linux/prctl.h

    def tie() -> None:
        prctl(pr_set_pdeathsig, number, 0, 0, 0)
        # The parent may have ended before the call above; then nobody would ever signal us.
        if os.getppid() != parent:
            os._exit(1)

    return tie


def main() -> None:
    """See the module."""
    uid, gid, parent, number = (int(word) for word in sys.argv[1:5])
    folder, program, *arguments = sys.argv[5:]
    os.umask(0o077)
    tie = _tie(parent, number)
    if os.geteuid() == 0:
        # Group first: after setuid it is no longer allowed. The signal is set after all of them,
        # because a change of credentials clears it.
        os.setgroups([])
        os.setgid(gid)
        os.setuid(uid)
    tie()
    try:
        os.chdir(folder)
    except OSError as error:
        sys.stderr.write(f"{error}\n")
        os._exit(CANNOT_ENTER)
    try:
        os.execv(program, [program, *arguments])
    except OSError as error:
        sys.stderr.write(f"{error}\n")
        os._exit(CANNOT_RUN)


if __name__ == "__main__":
    main()
